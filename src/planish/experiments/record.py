"""What an experiment is, and a row of it: measured, predicted, off by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from planish.setup.models import Setup

Kind = Literal["shape", "fitted", "predicted"]


def scenario() -> Setup:
    """Return the invented scenario of the first motion, on which experiments with whole polishers are computed."""
    from planish.setup.load import loads
    from planish.setup.motions.known import MOTIONS
    from planish.setup.new import new_setup

    return loads(new_setup(MOTIONS.names()[0]))


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

    def off_words(self) -> str:
        """Return it as it is shown, with its sign."""
        return f"{round(self.off_percent, 1) + 0.0:+.1f} %" if self.measured else "–"


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
        Computes the rows with what this version of planish is; none where it has nothing to say to the measurement.
    said
        What the comparison shows, and where planish cannot follow, and why.
    """

    name: str
    title: str
    source: str
    read: Literal["full text", "abstract", "at second hand"]
    rows: Callable[[], list[Row]]
    said: str


def nothing_to_say() -> list[Row]:
    """Return no rows: of a measurement that planish has no counterpart for."""
    return []
