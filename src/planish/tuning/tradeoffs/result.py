"""What a choice is among: the front's points with their changes, its ends and knee, and the start beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.results.result import Result
from planish.results.units import stem, unit_of
from planish.setup.changes import change_lines
from planish.tuning.tradeoffs.aims import Aim
from planish.tuning.tradeoffs.front import beats

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.results.asked import Asked
    from planish.setup.models import Setup
    from planish.tuning.tradeoffs.knobs import Knob
    from planish.tuning.tradeoffs.limits import Limit
    from planish.tuning.tradeoffs.predicted import Seen


@dataclass(frozen=True, slots=True)
class Choice:
    """One point of the front.

    ``number`` from 1, by the first aim; ``changes`` of the start; ``figures`` of the aims, in their order; ``best`` the
    aims that it is the end of; ``off`` by which share a figure differs where the point is predicted again as printed.
    """

    number: int
    changes: dict[str, Any]
    figures: tuple[float, ...]
    best: tuple[str, ...]
    knee: bool
    off: float

    @property
    def where(self) -> str:
        """What it is on the front, in a few words; "" for a point between."""
        words = [f"best {name}" for name in self.best]
        if self.knee:
            words.append("knee")
        if not self.changes:
            words.append("as it stands")
        return ", ".join(words)


@dataclass(frozen=True, slots=True)
class Count:
    """How many setups were tried, of these refused and beyond limits; the front's points; refusals and limits by words."""

    runs: int
    refused: int
    beyond: int
    front: int
    refusals: tuple[tuple[str, int], ...]
    broken: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Start:
    """The setup that the choice starts from, what came of it as it stands, and whether it lies on the front."""

    setup: Setup
    seen: Seen
    on_front: bool


@dataclass(frozen=True, repr=False, eq=False)
class TradeOff(Result):
    """The front of several aims.

    Attributes
    ----------
    aims, limits, knobs
        As asked.
    start
        The setup as it stands.
    points
        Of the front, in the order of the first aim.
    count
        What was tried, and what came of it.
    wafers
        Of the lots; None where there were none.
    every
        Whether all setups there are were tried.
    """

    kind: ClassVar[str] = "trade-off"

    aims: tuple[Aim, ...]
    limits: tuple[Limit, ...]
    knobs: tuple[Knob, ...]
    start: Start
    points: tuple[Choice, ...]
    count: Count
    seed: int
    wafers: int | None
    every: bool
    said: tuple[str, ...]
    rests_on: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        names = ", ".join(aim.name for aim in self.aims)
        return f"{counted(len(self.points), 'point')} of the front of {names}, {counted(self.count.runs, 'setup')} tried"

    @property
    def knee(self) -> Choice | None:
        """The point farthest from the plane through the ends; None where the front does not bulge that way."""
        return next((point for point in self.points if point.knee), None)

    @property
    def ends(self) -> dict[str, Choice]:
        """The best point in each aim, by the aim's name."""
        return {name: point for point in self.points for name in point.best}

    def point(self, number: int) -> Choice:
        """Return a point of the front by its number.

        Parameters
        ----------
        number
            From 1.

        Raises
        ------
        DataError
            For one that there is not.
        """
        found = next((point for point in self.points if point.number == number), None)
        if found is None:
            raise DataError(refuse("point", number, f"1 to {len(self.points)}"))
        return found

    def setup(self, number: int) -> Setup:
        """Return the setup of a point.

        Parameters
        ----------
        number
            From 1.

        Raises
        ------
        DataError
            For one that there is not.
        """
        return self.start.setup.replace(self.point(number).changes)

    @property
    def beating(self) -> tuple[int, ...]:
        """The points shown that are as good as the setup as it stands in every aim and better in one."""
        return self._against(strictly=False)

    @property
    def beating_in_all(self) -> tuple[int, ...]:
        """The points shown that are better than the setup as it stands in every aim."""
        return self._against(strictly=True)

    def _against(self, *, strictly: bool) -> tuple[int, ...]:
        own = self.start.seen.figures
        if own is None:
            return ()
        start, found = self._signed(own), []
        for point in self.points:
            there = self._signed(point.figures)
            if bool(np.all(there < start)) if strictly else bool(beats(there, start)):
                found.append(point.number)
        return tuple(found)

    def _signed(self, figures: Sequence[float]) -> Any:
        return np.array([aim.sign * value for aim, value in zip(self.aims, figures, strict=True)])

    @property
    def notes(self) -> tuple[str, ...]:
        """What was tried, what refused and was beyond limits, what the figures are, and the usual caution."""
        count, lines = self.count, []
        if self.every:
            lines.append(f"all {count.runs} combinations were tried: within these lists the front is exact")
        else:
            lines.append(
                f"{counted(count.runs, 'setup')} tried by search (seed {self.seed}): more runs may find points that beat "
                "these"
            )
        lines.append("the setup as it stands is one of the candidates")
        for words, number in count.refusals[:5]:
            lines.append(f"{number} of {count.runs} refused: {words}")
        if len(count.refusals) > 5:
            rest = sum(number for _, number in count.refusals[5:])
            lines.append(f"{rest} of {count.runs} refused in other words")
        for words, number in count.broken:
            lines.append(f"{number} of {count.runs} beyond {words}")
        if count.front > len(self.points):
            lines.append(f"{len(self.points)} of the {count.front} points of the front are shown")
        lines.append("every point was predicted again on the full model from its changes as printed")
        return (*lines, *self.said)

    def sources(self) -> list[str]:
        """Return the sources of predictions and search, one line each."""
        return list(self.rests_on)

    def in_words(self) -> list[str]:
        """Return the ends, the knee and the start in sentences: what each gives, and gives up against the start."""
        lines = [
            f"{' and '.join(f'best {name}' for name in point.best)}: point {point.number}: {self._figures(point)}"
            for point in self.points
            if point.best
        ]
        knee = self.knee
        if knee is not None:
            lines.append(f"knee: point {knee.number}: {self._figures(knee)}")
        elif len(self.points) == 1:
            lines.append(
                "one setup is best in every aim"
                + (
                    f", of those within the limits ({'; '.join(limit.told() for limit in self.limits)}): "
                    f"{counted(self.count.beyond, 'setup')} beyond them {'was' if self.count.beyond == 1 else 'were'} left out"
                    if self.limits and self.count.beyond
                    else ": these aims do not stand against one another here"
                )
            )
        elif len({point.number for point in self.ends.values()}) < len(self.aims):
            lines.append("no knee: one point is best in several aims, so the ends span no line or plane")
        else:
            lines.append(
                "no knee: the front is straight between its ends, or bulges away from what is wanted"
            )
        lines.append(self._about_start())
        return lines

    def _figures(self, point: Choice) -> str:
        own = self.start.seen.figures
        if not point.changes:
            own = None  # is the start itself
        told = []
        for at, aim in enumerate(self.aims):
            words = f"{aim.name} {aim.told(point.figures[at])}"
            if own is not None:
                words += f" ({_change(aim, point.figures[at], own[at])})"
            told.append(words)
        return ", ".join(told) + (" (the setup as it stands)" if not point.changes else "")

    def _about_start(self) -> str:
        own = self.start.seen
        if own.figures is None:
            return f"the setup as it stands has no answer: {own.refused}"
        figures = ", ".join(
            f"{aim.name} {aim.told(value)}" for aim, value in zip(self.aims, own.figures, strict=True)
        )
        if own.beyond > 0:
            also = f", and beaten by {_points(self.beating)}" if self.beating else ""
            return f"the setup as it stands ({figures}) is beyond {', '.join(own.broken)}{also}"
        if self.start.on_front:
            return f"the setup as it stands ({figures}) lies on the front: none found beats it"
        everywhere = self.beating_in_all
        if everywhere:
            return f"the setup as it stands ({figures}) is beaten in every aim by {_points(everywhere)}"
        return f"the setup as it stands ({figures}) is beaten by {_points(self.beating)}: as good in every aim, better in one"

    def _content(self) -> dict[str, Any]:
        """Return the counts, and as tables the aims, the points with their changes, the start, what refused."""
        count = self.count
        return {
            "runs": count.runs,
            "runs_refused": count.refused,
            "runs_beyond_limits": count.beyond,
            "points": [self._row(point) for point in self.points],
            "points_of_front": count.front,
            "points_shown": len(self.points),
            "knee_point": None if self.knee is None else self.knee.number,
            "start_on_front": self.start.on_front,
            "start_beaten_by": len(self.beating),
            "every_combination": self.every,
            "seed": self.seed,
            "wafers": self.wafers,
            "largest_difference_relative": max(point.off for point in self.points),
            "aims": [
                {"aim": aim.name, "figure": aim.figure, "better": aim.better, "words": aim.words}
                for aim in self.aims
            ],
            "limits": [{"limit": limit.told(), "figure": limit.figure} for limit in self.limits],
            "knobs": [{"key": knob.path, "values": knob.told()} for knob in self.knobs],
            "start": self._start_row(),
            "in_words": self.in_words(),
            "refusals": [{"words": words, "runs": number} for words, number in count.refusals],
        }

    def _row(self, point: Choice) -> dict[str, Any]:
        figures = {aim.figure: value for aim, value in zip(self.aims, point.figures, strict=True)}
        own, changed = self.start.seen.figures, {}
        if own is not None:
            changed = {
                _changed_key(aim.figure): value - before
                for aim, value, before in zip(self.aims, point.figures, own, strict=True)
            }
        return {
            "point": point.number,
            "where": point.where,
            **figures,
            **changed,
            "changes": dict(point.changes),
            "set": change_lines(point.changes),
        }

    def _start_row(self) -> list[dict[str, Any]]:
        own = self.start.seen
        figures: Sequence[float | None] = own.figures or (None,) * len(self.aims)
        return [
            {
                "refused": own.refused,
                "beyond_limits": ", ".join(own.broken),
                **{aim.figure: value for aim, value in zip(self.aims, figures, strict=True)},
            }
        ]


def _changed_key(figure: str) -> str:
    """Return what the change of a figure is called: its unit stays at the end."""
    unit = unit_of(figure)
    return f"{stem(figure)}_change" if unit is None else f"{stem(figure)}_change_{unit.ending}"


def _change(aim: Aim, value: float, before: float) -> str:
    """Return how a value stands against the start's."""
    if value == before:
        return "as it stands"
    return f"{'better' if aim.sign * value < aim.sign * before else 'worse'} than {before:.4g}"


def _points(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"point {numbers[0]}"
    return f"points {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
