"""What is predicted of each setup that is tried: the answers that aims and limits need, and no others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.cost.per_wafer import cost_of_lot, lot_of_cost
from planish.errors import ModelError, PlanishError, SetupError, refuse
from planish.predict.die.polish import polish_die
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.polish import polish
from planish.results.plain import unique
from planish.tuning.tradeoffs.aims import Aim, Answer
from planish.tuning.tradeoffs.limits import Limit, in_order
from planish.tuning.tradeoffs.search import Outcome

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.models import Setup


class NeverThereError(SetupError):
    """A figure that is asked for and that no setup of this kind has."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """The summaries of a setup by answer, what they noted, and what they rest on."""

    summaries: dict[Answer, dict[str, Any]]
    notes: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Predictor:
    """Predicts a setup: ``wafers`` of a lot, ``maps`` and ``place`` of a die."""

    wafers: int
    maps: LayoutMaps | None = None
    place: str | float = "centre"

    def predicted(self, setup: Setup, answers: set[Answer]) -> Prediction:
        """Return the answers that are asked for.

        Parameters
        ----------
        setup
            As it is.
        answers
            Which.

        Raises
        ------
        PlanishError
            Where there is none.
        """
        found: dict[Answer, Any] = {}
        for answer in in_order(answers):
            if answer in ("wafer", "die") and "wafer" not in found:
                found["wafer"] = polish(setup)
            if answer == "first" and not answers & {"lot", "cost"}:
                found[answer] = polish_lot(setup, 1, variation=Variation.none())
            if answer in ("lot", "cost") and "lot" not in found:
                found["lot"] = lot_of_cost(setup, self.wafers)
            if answer == "cost":
                found[answer] = cost_of_lot(found["lot"], self.wafers)
            if answer == "die":
                found[answer] = self._die(setup, found["wafer"])
        if "first" in answers and "first" not in found:  # the lot's own first wafer
            found["first"] = found["lot"]
        return Prediction(
            {answer: _first(answer, found[answer].summary()) for answer in in_order(set(found))},
            tuple(unique([note for one in found.values() for note in one.notes])),
            tuple(unique([line for one in found.values() for line in one.sources()])),
        )

    def _die(self, setup: Setup, wafer: Any) -> Any:
        if self.maps is None:
            raise NeverThereError(
                "die: no layout given: must be given for what is left within a die (maps=, or --layout FILE or --pattern "
                "NAME)"
            )
        return polish_die(setup, self.maps, wafer=wafer, place=self.place)


def _first(answer: Answer, summary: dict[str, Any]) -> dict[str, Any]:
    """Return of the answer on the first wafer what is of that wafer alone."""
    if answer != "first":
        return summary
    return {key: value for key, value in summary.items() if key.startswith("first_")}


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of one setup: its aims' figures, by how much it is beyond limits, or why it has no answer."""

    figures: tuple[float, ...] | None
    beyond: float = 0.0
    refused: str = ""
    broken: tuple[str, ...] = ()

    def outcome(self, aims: tuple[Aim, ...]) -> Outcome:
        """Return it as the search sees it: lower is better."""
        if self.figures is None:
            return Outcome(None)
        return Outcome(
            tuple(aim.sign * value for aim, value in zip(aims, self.figures, strict=True)), self.beyond
        )


@dataclass(frozen=True, slots=True)
class Trial:
    """Tries changes of a setup: pickled once a batch."""

    setup: Setup
    predictor: Predictor
    aims: tuple[Aim, ...]
    limits: tuple[Limit, ...]

    @property
    def answers(self) -> set[Answer]:
        """Which are needed."""
        return {aim.answer for aim in self.aims} | {limit.answer for limit in self.limits}

    def seen(self, changes: dict[str, Any]) -> Seen:
        """Return what comes of the setup with these changes.

        Parameters
        ----------
        changes
            Path to value; none for the setup as it stands.
        """
        try:
            there = self.setup.replace(changes) if changes else self.setup
            return self.judged(self.predictor.predicted(there, self.answers))
        except PlanishError as error:
            return Seen(None, refused=str(error))

    def judged(self, found: Prediction) -> Seen:
        """Return a prediction as aims and limits see it.

        Parameters
        ----------
        found
            With the answers that are needed.

        Raises
        ------
        PlanishError
            Where a figure that is needed has no value.
        """
        figures = tuple(figure_value(one, found) for one in self.aims)
        beyond = [limit.beyond(figure_value(limit, found)) for limit in self.limits]
        broken = tuple(limit.told() for limit, over in zip(self.limits, beyond, strict=True) if over > 0)
        return Seen(figures, sum(beyond), broken=broken)


def figure_value(wanted: Aim | Limit, found: Prediction) -> float:
    """Return the value of an aim or a limit.

    Parameters
    ----------
    wanted
        Whose figure.
    found
        With the answer that it is of.

    Returns
    -------
    float
        In the figure's own unit.

    Raises
    ------
    NeverThereError
        For a figure that no setup of this kind has.
    ModelError
        Where it has no value in this one.
    """
    summary = found.summaries[wanted.answer]
    value = summary.get(wanted.figure)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if wanted.figure == "cost_per_wafer":
        raise NeverThereError(
            "cost_per_wafer: no price is given: must be one at least to be aimed at or limited (see the keys of [cost])"
        )
    if wanted.answer == "die" and wanted.figure not in summary:
        numbers = ", ".join(key for key, held in summary.items() if isinstance(held, float))
        raise NeverThereError(
            refuse("figure of the die", wanted.figure, f"one that this process has: {numbers}")
        )
    raise ModelError(f"{wanted.figure}: has no value here: must be a number to be aimed at or limited")
