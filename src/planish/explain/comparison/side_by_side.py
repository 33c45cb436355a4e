"""More than two setups side by side: each held against the first, figure by figure, and why it differs."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from planish.cost.per_wafer import cost_of
from planish.cost.sheet import SOURCES as COST_SOURCES
from planish.engine.record import counted, shortened
from planish.errors import SetupError, refuse
from planish.explain.comparison.attribution import OUTCOMES, SOURCES, Comparison, compare
from planish.predict.wafer.polish import polish
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.given import as_described, as_rig

if TYPE_CHECKING:
    from planish.cost.result import WaferCost
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

LETTERS = "ABCDEFGHIJKL"
_SIDE = re.compile(r"(A and B|A|B): ")  # before what a pair says of the wafer of one or both
#: What of a cost stands beside the figures of the wafer.
OF_COST = (
    "cost_per_wafer",
    "wafers_per_hour",
    "machine_time_s",
    "slurry_ml",
    "pad_life_wafers",
    "disk_life_wafers",
    "ring_life_wafers",
)


@dataclass(frozen=True, slots=True, repr=False)
class SideBySide(Result):
    """Setups by letters, A first.

    ``titles`` of all; ``pairs``: A against each of the others, in which the other is called B; ``costs`` of all, where
    they were asked for.
    """

    kind: ClassVar[str] = "side by side"

    titles: tuple[str, ...]
    outcomes: tuple[str, ...]
    pairs: tuple[Comparison, ...]
    costs: tuple[WaferCost, ...] = ()

    def _told(self) -> str:
        return f"{counted(len(self.titles), 'setup')} against {shortened(self.titles[0], 60)!r}"

    @property
    def letters(self) -> tuple[str, ...]:
        """What the setups are called."""
        return tuple(LETTERS[: len(self.titles)])

    @property
    def notes(self) -> tuple[str, ...]:
        """What was swapped together, what each setup's wafer and cost note, each with whose it is."""
        told: dict[str, list[str]] = {}  # note to whose it is, in the order of the setups
        for letter, pair in zip(self.letters[1:], self.pairs, strict=True):
            for note in pair.notes:
                side = _SIDE.match(note)
                if side is None:
                    told.setdefault(note, []).append(
                        letter if letter == "B" else f"{letter} (called B here) from A"
                    )
                    continue
                for one in side[1].split(" and "):
                    _add(told.setdefault(note[side.end() :], []), "A" if one == "A" else letter)
        for letter, cost in zip(self.letters, self.costs, strict=False):
            for note in cost.notes:
                _add(told.setdefault(f"cost: {note}", []), letter)
        lines = [f"{_listed(whose)}: {note}" for note, whose in told.items()]
        if self._mixed_money:
            lines.append("costs are in different money: their differences are not told")
        return tuple(lines)

    @property
    def _mixed_money(self) -> bool:
        return len({cost.currency for cost in self.costs}) > 1

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return [*SOURCES, *(COST_SOURCES if self.costs else ())]

    def values(self, figure: str) -> list[float | None]:
        """Return a figure of each setup; None where it has none."""
        if figure in OF_COST and self.costs:
            return [_number(cost.summary().get(figure)) for cost in self.costs]
        first = next((pair.a[figure] for pair in self.pairs if figure in pair.a), None)
        return [first, *(pair.b.get(figure) for pair in self.pairs)]

    def figures(self) -> list[str]:
        """Return the figures that there are, those asked about first."""
        told = [key for pair in self.pairs for key in pair.a]
        some = [key for key in OF_COST if any(key in cost.summary() for cost in self.costs)]
        return list(unique([*self.outcomes, *some, *told]))

    def _content(self) -> dict[str, Any]:
        """Return the figures side by side, and what each setup's difference from the first is made of."""
        return {
            "setups": [
                {"letter": letter, "title": title}
                for letter, title in zip(self.letters, self.titles, strict=True)
            ],
            "outcomes": list(self.outcomes),
            "figures": [self._row(figure) for figure in self.figures()],
            "pairs": [
                {
                    "letter": letter,
                    "differing": list(pair.differing),
                    "shares": pair.shares,
                    "unshared": pair.unshared,
                    "sentences": [pair.sentence(key, names=("A", letter)) for key in pair.outcomes],
                    "changes": pair.changes,
                }
                for letter, pair in zip(self.letters[1:], self.pairs, strict=True)
            ],
            "costs": self._cost_rows(),
            "model_runs": sum(pair.runs for pair in self.pairs),
        }

    def _cost_rows(self) -> list[dict[str, Any]]:
        """Return a row an item, with what it costs a wafer of each setup."""
        by_setup = [{item.name: item.cost for item in cost.items} for cost in self.costs]
        items = dict.fromkeys(name for costs in by_setup for name in costs)
        return [
            {
                "item": name,
                **{letter: costs.get(name) for letter, costs in zip(self.letters, by_setup, strict=True)},
            }
            for name in items
        ]

    def _row(self, figure: str) -> dict[str, Any]:
        values = self.values(figure)
        first = values[0]
        apart = figure == "cost_per_wafer" and self._mixed_money
        less = [None if first is None or value is None or apart else value - first for value in values[1:]]
        return {
            "figure": figure,
            **dict(zip(self.letters, values, strict=True)),
            **{f"{letter} less A": each for letter, each in zip(self.letters[1:], less, strict=True)},
        }


def compare_all(
    setups: Sequence[SetupLike],
    outcomes: Sequence[str] = OUTCOMES,
    *,
    cost_wafers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> SideBySide:
    """Hold setups against the first of them, and share out each difference among the choices that made it.

    Parameters
    ----------
    setups
        2 to 12: as loaded, as SI records, or the paths of their files.
    outcomes
        Keys of the wafer's summary to explain.
    cost_wafers
        Wafers of the lots that show what a wafer of each costs (:func:`planish.cost_of`); no costs unless given.
    progress
        Called with (setups done, setups in all).

    Returns
    -------
    SideBySide
        A pair for each setup but the first.

    Raises
    ------
    SetupError
        For fewer than two setups, more than twelve, or an outcome that is not a figure of the summary.
    """
    if isinstance(setups, str) or not isinstance(setups, Sequence) or not 2 <= len(setups) <= len(LETTERS):
        count = len(setups) if isinstance(setups, Sequence) and not isinstance(setups, str) else setups
        raise SetupError(refuse("setups to compare", count, f"a list of 2 to {len(LETTERS)}"))
    described = [as_described(one) for one in setups]
    pairs, costs = [], []
    for done, one in enumerate(described):
        if done:
            pairs.append(compare(described[0], one, outcomes, run=_told_of))
        if cost_wafers is not None:
            costs.append(cost_of(one, cost_wafers))
        if progress is not None:
            progress(done + 1, len(described))
    return SideBySide(
        titles=tuple(as_rig(one).title for one in described),
        outcomes=pairs[0].outcomes,
        pairs=tuple(pairs),
        costs=tuple(costs),
    )


def _told_of(rig: Rig) -> dict[str, object]:
    """Return all that is told of a wafer, its notes among it."""
    return polish(rig).document()


def _number(value: object) -> float | None:
    return value if isinstance(value, int | float) and not isinstance(value, bool) else None


def _add(whose: list[str], letter: str) -> None:
    if letter not in whose:
        whose.append(letter)


def _listed(letters: list[str]) -> str:
    return letters[0] if len(letters) == 1 else f"{', '.join(letters[:-1])} and {letters[-1]}"
