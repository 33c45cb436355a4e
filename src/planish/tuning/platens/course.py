"""One wafer polished on several platens in turn, with any settings, on the full model; and what each setting does to its end.

What an earlier platen's setting does to the films it leaves is carried on: read at the nodes of the next platen, and taken
through its steps as those take any change of what comes to them. Platens may have other zones; tables over all steps of all
platens are as wide as the widest head, and zero where there is no such zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from planish.predict.wafer.platens import check_one_wafer, films_left_out, platen_name
from planish.tuning.course import Amounts, Course, Run, Settings
from planish.tuning.influence import Answers, Bends, influence_on

if TYPE_CHECKING:
    from planish.setup.si import Rig

Array = NDArray[np.float64]
Entry = TypeVar("Entry", bound=np.generic)


class RowSettings(NamedTuple):
    """The settings of every platen, in turn."""

    platens: tuple[Settings, ...]

    @property
    def time(self) -> Array:
        """Of all steps of all platens [s]."""
        return np.concatenate([one.time for one in self.platens])


@dataclass(frozen=True, slots=True)
class RowRun:
    """A wafer polished on all platens.

    Attributes
    ----------
    settings
        Of all platens.
    runs
        One a platen.
    stack
        What is left of all films together after the last [m], at its nodes, (n_r,); a film that a later setup leaves out
        counts with what was left of it.
    """

    settings: RowSettings
    runs: tuple[Run, ...]
    stack: Array


class RowCourse:
    """Recipes of several setups on one wafer.

    Attributes
    ----------
    courses
        One a platen.
    counted
        The disc inside the edge exclusion, at the nodes of the last platen.

    ``kept`` are the amounts on which steps stop in every run, of each platen.
    """

    def __init__(self, rigs: Sequence[Rig], kept: Sequence[Amounts] | None = None) -> None:
        check_one_wafer(rigs)
        amounts = [None] * len(rigs) if kept is None else kept
        self.courses = tuple(Course(rig, kept=own) for rig, own in zip(rigs, amounts, strict=True))
        self.counted = self.courses[-1].counted
        self._out = [0] + [
            films_left_out(before, rig, platen_name(number, rig))
            for number, (before, rig) in enumerate(pairwise(rigs), 1)
        ]
        nodes = [course.radius for course in self.courses]
        self._onto = [None, *(_reading(one, other) for one, other in pairwise(nodes))]

    def run(self, settings: RowSettings, near: RowRun | None = None) -> RowRun:
        """Polish the wafer on all platens.

        Parameters
        ----------
        settings
            Of all platens.
        near
            A run with similar settings, whose solutions are started from.
        """
        runs: list[Run] = []
        over = np.zeros(self.courses[0].radius.size)
        for number, (course, own) in enumerate(zip(self.courses, settings.platens, strict=True)):
            coming = course.incoming
            if runs:
                films = self._at(number, runs[-1].left)
                over = self._at(number, over) + films[: self._out[number]].sum(axis=0)
                coming = films[self._out[number] :]
            runs.append(course.run(own, None if near is None else near.runs[number], coming))
        return RowRun(settings, tuple(runs), runs[-1].stack + over)

    def _at(self, number: int, values: Array) -> Array:
        """Return values (..., n_r) of the platen before at the nodes of a platen."""
        onto = self._onto[number]
        return values if onto is None else values @ onto.T

    def influence(self, run: RowRun, wanted: NDArray[np.bool_], *, bends: bool) -> Answers:
        """Return how what is left after the last platen answers to the settings of all.

        Parameters
        ----------
        run
            Where.
        wanted
            Which settings, (steps of all platens, widest head + 2): zones, ring, time.
        bends
            Whether second derivatives are wanted, each within its own step.

        Returns
        -------
        Answers
            ``first`` of the shape of ``wanted`` and (n_r,); what later platens make of ``second`` is left aside.
        """
        coming: Array | None = None
        over = np.zeros((self.courses[0].radius.size, 0))
        second: list[Bends] = []
        for number, (course, own, part) in enumerate(
            zip(self.courses, run.runs, self._parts(wanted), strict=True)
        ):
            if coming is not None:
                films = np.moveaxis(self._at(number, np.moveaxis(coming, 1, -1)), -1, 1)
                over = self._at(number, over.T).T + films[: self._out[number]].sum(axis=0)
                coming = films[self._out[number] :]
                second = [Bends(one.which, self._bent(number, one.second)) for one in second]
            answers, coming = influence_on(course, own, part, coming, bends=bends)
            second += answers.second
            over = np.hstack([over, np.zeros((over.shape[0], coming.shape[2] - over.shape[1]))])
        assert coming is not None  # there is a platen
        made = np.zeros((*wanted.shape, coming.shape[1]))
        # settings come in the order of their steps, and so do those that are wanted
        made[np.nonzero(wanted)] = (coming.sum(axis=0) + over).T
        return Answers(made, tuple(second))

    def _bent(self, number: int, second: Array) -> Array:
        onto = self._onto[number]
        return second if onto is None else np.tensordot(onto, second, axes=1)

    def _parts(self, wanted: NDArray[np.bool_]) -> list[NDArray[np.bool_]]:
        """Return which settings of each platen are wanted, as wide as its own head."""
        counts = [len(course.rig.steps) for course in self.courses]
        return [
            narrow(part, course.rig.head.zone_outer_radii.size)
            for course, part in zip(self.courses, np.split(wanted, np.cumsum(counts)[:-1]), strict=True)
        ]


def narrow(table: NDArray[Entry], zones: int) -> NDArray[Entry]:
    """Return a table (steps, widest head + 2, ...) as wide as a head of so many zones.

    Parameters
    ----------
    table
        Zones, ring, time.
    zones
        Of the head.
    """
    return np.concatenate([table[:, :zones], table[:, -2:]], axis=1)


def widened(table: NDArray[Entry], zones: int) -> NDArray[Entry]:
    """Return a table (steps, zones + 2, ...) as wide as a head of more zones, with zeros there.

    Parameters
    ----------
    table
        Zones, ring, time.
    zones
        Of the widest head.
    """
    more = zones + 2 - table.shape[1]
    none = np.zeros((table.shape[0], more, *table.shape[2:]), dtype=table.dtype)
    return np.concatenate([table[:, :-2], none, table[:, -2:]], axis=1)


def _reading(nodes: Array, at: Array) -> Array | None:
    """Return what reads a profile at other nodes, straight between its own; None for the same nodes."""
    if np.array_equal(nodes, at):
        return None
    return np.stack([np.interp(at, nodes, one) for one in np.eye(nodes.size)], axis=1)
