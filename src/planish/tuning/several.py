"""Several wafers polished with the same settings, side by side as if they were one.

What is left of each stands behind that of the one before. What is read of it is shifted so that every wafer has the mean
of all of them: its variance is then the mean over wafers of each one's variance about its own mean, which is what a
search makes least, and its mean is the mean over all wafers, which is to meet the target.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.tuning import influence as of_one
from planish.tuning.course import Course, Run
from planish.tuning.influence import Answers, Bends
from planish.tuning.platens.course import RowCourse, RowRun

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.predict.wafer.counted import Counted
    from planish.tuning.course import Settings
    from planish.tuning.platens.course import RowSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Side:
    """Wafers polished side by side: a run each."""

    runs: tuple[Run | RowRun, ...]

    @property
    def settings(self) -> Settings | RowSettings:
        """The same for all."""
        return self.runs[0].settings

    @property
    def stack(self) -> Array:
        """What is left of all films together [m], wafer after wafer, (wafers n_r,)."""
        return np.concatenate([run.stack for run in self.runs])


class Reading:
    """Takes profiles of several wafers, one behind the other, to their values at the places that count.

    Each wafer's values are shifted to the mean over all wafers.
    """

    def __init__(self, disc: Counted, wafers: int, factor: float = 1.0) -> None:
        self._disc, self._wafers, self._factor = disc, wafers, factor

    def __truediv__(self, by: float) -> Reading:
        return Reading(self._disc, self._wafers, self._factor / by)

    def __matmul__(self, profiles: Array) -> Array:
        """Return the values (wafers m, ...) of profiles (wafers n_r, ...)."""
        rest = profiles.shape[1:]
        each = profiles.reshape(self._wafers, -1, int(np.prod(rest, dtype=np.int64)))
        values = self._factor * (self._disc.read @ each)
        means = np.tensordot(self._disc.shares, values, axes=(0, 1))
        values = values - means[:, None, :] + means.mean(axis=0)
        return np.asarray(values.reshape(-1, *rest))


class Disc(NamedTuple):
    """What counts of several wafers: ``read`` takes profiles to values, ``shares`` of all area (wafers m,)."""

    read: Array | Reading
    shares: Array


class Several:
    """The recipe of a setup on several wafers.

    Attributes
    ----------
    courses
        One a wafer.
    counted
        The discs inside the edge exclusions.
    """

    def __init__(self, courses: Sequence[Course] | Sequence[RowCourse]) -> None:
        self.courses: tuple[Any, ...] = tuple(courses)  # all of one kind
        disc = courses[0].counted
        self.counted = Disc(
            Reading(disc, len(courses)), np.tile(disc.shares, len(courses)) / float(len(courses))
        )

    def run(self, settings: Settings | RowSettings, near: Side | None = None) -> Side:
        """Polish all wafers with the same settings.

        Parameters
        ----------
        settings
            For every step.
        near
            A run with similar settings, whose solutions are started from.
        """
        before = (None,) * len(self.courses) if near is None else near.runs
        return Side(
            tuple(course.run(settings, one) for course, one in zip(self.courses, before, strict=True))
        )


def influence(
    course: Course | RowCourse | Several, run: Run | RowRun | Side, wanted: NDArray[np.bool_]
) -> Array:
    """Return how the thickness left of one or several wafers, on one or several platens, answers to each setting.

    Parameters
    ----------
    course, run, wanted
        As for :func:`planish.tuning.influence.influence`.

    Returns
    -------
    Array
        (steps, zones + 2, wafers n_r).
    """
    return _answers(course, run, wanted, bends=False).first


def influence_and_bends(
    course: Course | RowCourse | Several, run: Run | RowRun | Side, wanted: NDArray[np.bool_]
) -> Answers:
    """Return how the thickness left of one or several wafers answers to each setting, and how these answers bend.

    Parameters
    ----------
    course, run, wanted
        As for :func:`planish.tuning.influence.influence_and_bends`.

    Returns
    -------
    Answers
        Over (wafers n_r).
    """
    return _answers(course, run, wanted, bends=True)


def _answers(
    course: Course | RowCourse | Several,
    run: Run | RowRun | Side,
    wanted: NDArray[np.bool_],
    *,
    bends: bool,
) -> Answers:
    if isinstance(course, RowCourse):
        assert isinstance(run, RowRun)
        return course.influence(run, wanted, bends=bends)
    if isinstance(course, Course):
        assert isinstance(run, Run)
        return of_one.influence_on(course, run, wanted, bends=bends)[0]
    assert isinstance(run, Side)
    pairs = zip(course.courses, run.runs, strict=True)
    made = [_answers(one, each, wanted, bends=bends) for one, each in pairs]
    steps = zip(*(one.second for one in made), strict=True)
    second = tuple(
        Bends(step[0].which, np.concatenate([each.second for each in step], axis=0)) for step in steps
    )
    return Answers(np.concatenate([one.first for one in made], axis=2), second)
