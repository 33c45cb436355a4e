"""What an experiment is, and a row of it: measured, predicted, off by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Kind = Literal["shape", "fitted", "predicted"]


@dataclass(frozen=True, slots=True)
class Row:
    """One number of a source beside that of planish.

    Attributes
    ----------
    what
        In words.
    measured, predicted
        In ``unit``.
    unit
        As text; "" for a plain number.
    kind
        "shape": nothing was fitted; "fitted": this row was fitted to; "predicted": others were, this was not.
    """

    what: str
    measured: float
    predicted: float
    unit: str
    kind: Kind

    @property
    def off(self) -> float:
        """Predicted less measured."""
        return self.predicted - self.measured

    @property
    def off_percent(self) -> float:
        """The same over the measured value [%]; NaN where that is 0."""
        return 100.0 * self.off / abs(self.measured) if self.measured else float("nan")


@dataclass(frozen=True, slots=True)
class Experiment:
    """A published experiment.

    Attributes
    ----------
    name
        Short, for the command line.
    title
        What was measured.
    source
        Where it is published.
    read
        How far the source was read: "full text", "abstract", or at second hand.
    rows
        Computes the rows with what this version of planish is.
    said
        What the comparison shows, and where planish cannot follow.
    """

    name: str
    title: str
    source: str
    read: Literal["full text", "abstract", "at second hand"]
    rows: Callable[[], list[Row]]
    said: str
