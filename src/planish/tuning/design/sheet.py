"""The sheet of an experiment: a row a run in random order, settings with their units, room for the results."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import csv_text
from planish.engine.files import write_asked
from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.results.result import Result
from planish.tuning.design.factors import Factor
from planish.tuning.tuned import CARE

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]
RESULT = "result"  # column to fill in, unless it is named
FORMAT = "1"  # of the notes above the table


@dataclass(frozen=True, slots=True)
class Run:
    """One run: its ``coded`` settings, and which ``kind`` of point it is."""

    coded: tuple[float, ...]
    kind: str


@dataclass(frozen=True, repr=False, eq=False)
class RunSheet(Result):
    """The runs of an experiment, in the order in which they are made.

    Attributes
    ----------
    setup
        In which all stays that does not vary.
    plan, model
        How the runs are laid out, and the polynomial that they are for.
    seed
        Of their order.
    factors
        What varies.
    runs
        In order.
    predicted
        Figure of the summary to what planish predicts, run by run.
    """

    kind: ClassVar[str] = "run sheet"

    setup: Setup
    plan: str
    model: str
    seed: int
    factors: tuple[Factor, ...]
    runs: tuple[Run, ...]
    predicted: dict[str, tuple[float | None, ...]]
    said: tuple[str, ...]
    rests_on: tuple[str, ...]

    def _told(self) -> str:
        return f"{self.plan}, {counted(len(self.runs), 'run')} over {', '.join(f.path for f in self.factors)}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What the plan cannot tell, what its order is for, and a word of care."""
        order = "runs are in random order, so that what drifts meanwhile is no effect of a key: keep to it"
        return (*self.said, order, CARE)

    def sources(self) -> list[str]:
        """Return what the plan rests on, one line each."""
        return list(self.rests_on)

    def settings(self, run: int) -> dict[str, object]:
        """Return the changes that make the setup of a run, from 0."""
        coded = self.runs[run].coded
        return {
            factor.path: factor.change(factor.setting(at))
            for factor, at in zip(self.factors, coded, strict=True)
        }

    def rows(self) -> list[dict[str, object]]:
        """Return a row a run: its number, its kind, each setting in its unit, what is predicted."""
        return [
            {
                "run": at + 1,
                "kind": run.kind,
                **{f.heading: f.setting(coded) for f, coded in zip(self.factors, run.coded, strict=True)},
                **{figure: values[at] for figure, values in self.predicted.items()},
            }
            for at, run in enumerate(self.runs)
        ]

    def _content(self) -> dict[str, Any]:
        """Return how it is laid out, its factors, and a row a run."""
        return {
            "plan": self.plan,
            "model": self.model,
            "runs": len(self.runs),
            "seed": self.seed,
            "setup": self.setup.title,
            "factors": [
                {"letter": f.letter, "path": f.path, "range": f.told, "unit": f.unit} for f in self.factors
            ],
            "sheet": self.rows(),
        }

    def as_csv(self, results: Sequence[str] = (RESULT,)) -> str:
        """Return the sheet as CSV with empty columns for results; `planish.fit_runs` reads it back when filled in.

        Parameters
        ----------
        results
            Their names, such as ``"rate [nm/min]"``.

        Returns
        -------
        str
            The whole file.

        Raises
        ------
        DataError
            For a name that another column has.
        """
        rows = self.rows()
        head = list(rows[0])
        for name in results:
            if not name.strip() or name.strip().casefold() in [column.casefold() for column in head]:
                raise DataError(refuse("result", name, "a name that no other column has"))
            head.append(name.strip())
        notes = [
            f"planish run sheet: {FORMAT}",
            f"setup: {self.setup.title}",
            f"setup digest: {self.setup.digest()}",
            f"plan: {self.plan.replace(',', '')}",
            f"model: {self.model}",
            f"seed: {self.seed}",
            *[f"factor {f.letter}: {f.heading} | {f.told}" for f in self.factors],
            *([f"predicted: {' | '.join(self.predicted)}"] if self.predicted else []),
            # a spreadsheet puts a line with commas into quotes when it saves it
            *[f"note {at}: {note.replace(',', ';')}" for at, note in enumerate(self.notes, start=1)],
        ]
        cells = ([*map(_cell, row.values()), *[""] * (len(head) - len(row))] for row in rows)
        return csv_text(head, cells, notes)

    def write(self, path: str | os.PathLike[str], results: Sequence[str] = (RESULT,)) -> Path:
        """Write the sheet to fill in, whole or not at all; returns the path.

        Parameters
        ----------
        path
            A CSV file.
        results
            Columns to fill in.

        Returns
        -------
        Path
            Where it is.

        Raises
        ------
        DataError
            Where it cannot be written, or for a name that another column has.
        """
        return write_asked(Path(path), self.as_csv(results))


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)
