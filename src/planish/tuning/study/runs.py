"""One run of a study: the setup as the run has it, predicted, told as a row of figures or as a refusal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.errors import PlanishError
from planish.predict.lot.run import polish_lot
from planish.predict.wafer.bands import Moved, drawn
from planish.predict.wafer.polish import polish

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.setup.si import Rig

RUN, ID, REFUSED, NOTED = "run", "id", "refused", "noted"
#: Columns of a row that are no figures.
TOLD = (RUN, ID, REFUSED, NOTED)
BETWEEN = " | "  # notes of one run

Move = dict[str, Any] | tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Predicted:
    """What each run predicts, and of what: pickled once a batch.

    ``wafers`` None for one wafer, else a lot with ``seed``; ``spread`` the spreads that moves without keys are of;
    ``usual`` the notes of the setup as it stands, which no run tells again.
    """

    setup: Setup
    wafers: int | None
    seed: int
    spread: tuple[Moved, ...] = ()
    usual: frozenset[str] = frozenset()

    def answer(self, move: Move) -> tuple[dict[str, Any], tuple[str, ...]]:
        """Return figures and notes of one run.

        Parameters
        ----------
        move
            What it changes.

        Raises
        ------
        PlanishError
            Where there is none.
        """
        there = self.setup.replace(move) if isinstance(move, dict) else drawn(self.setup, self.spread, move)
        found = self.predicted(there)
        return found.summary(), found.notes

    def predicted(self, setup: Setup | Rig) -> WaferResult | LotResult:
        """Return the prediction of one setup.

        Parameters
        ----------
        setup
            As it is.
        """
        return polish(setup) if self.wafers is None else polish_lot(setup, self.wafers, self.seed)

    def row(self, move: Move) -> dict[str, Any]:
        """Return one run as a row: its figures, or why there are none.

        Parameters
        ----------
        move
            What it changes.
        """
        try:
            figures, notes = self.answer(move)
        except PlanishError as error:
            return {REFUSED: str(error), NOTED: ""}
        own = BETWEEN.join(note for note in notes if note not in self.usual)
        return {REFUSED: "", NOTED: own, **figures}


def rows(piece: Sequence[tuple[int, str, Move]], *, of: Predicted) -> dict[str, list[Any]]:
    """Return a batch of runs as columns.

    Parameters
    ----------
    piece
        Number, id and move of each run.
    of
        What is predicted.

    Returns
    -------
    dict[str, list[Any]]
        Of one length; None where a run has no such figure.
    """
    made = [{RUN: run, ID: ident, **of.row(move)} for run, ident, move in piece]
    names = dict.fromkeys(name for row in made for name in row)
    return {name: [row.get(name) for row in made] for name in names}
