"""What differs from wafer to wafer, drawn: the setup's spreads, which wafer comes in, how old pad and disk are.

Draws are numbered and laid out before anything is polished, so that they are the same for all settings that are
compared, and at any number of workers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.engine.execute import Cancel, Progress, run_all
from planish.errors import PlanishError
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.bands import Moved, drawn
from planish.tuning.course import Course
from planish.tuning.incoming import with_top
from planish.tuning.study.design import CUT

if TYPE_CHECKING:
    from planish.setup.models import Setup
    from planish.setup.si import Film, Rig
    from planish.tuning.course import Amounts, Run, Settings

Array = NDArray[np.float64]
SEARCHED, COUNTED = 0, 1
"""Two streams of one seed: draws to search with, and others to count on."""


class Draw(NamedTuple):
    """One draw: by how many standard deviations each spread is moved, which wafer comes in, how many were polished."""

    amounts: tuple[float, ...]
    wafer: int
    age: int


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws: ``amounts`` (d, spreads) in standard deviations, ``wafer`` (d,), ``age`` (d,) wafers on the pad, 0 for new."""

    amounts: Array
    wafer: NDArray[np.int_]
    age: NDArray[np.int_]

    def pieces(self) -> list[Draw]:
        """Return them one by one."""
        return [
            Draw(tuple(float(one) for one in row), int(wafer), int(age))
            for row, wafer, age in zip(self.amounts, self.wafer, self.age, strict=True)
        ]


def draws_of(count: int, spreads: int, wafers: int, ages: int, seed: int, stream: int) -> Draws:
    """Return draws.

    Parameters
    ----------
    count
        How many.
    spreads
        How many spreads are moved, each by a standard normal cut off at three, as in a study.
    wafers
        How many come in, each as likely as any other.
    ages
        How many wafers a pad polishes, each as likely as any other; 0 for a new pad.
    seed, stream
        Of chance; each stream of a seed draws its own.

    Returns
    -------
    Draws
        A longer list begins with a shorter one.
    """
    from scipy.stats import truncnorm

    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(stream,))))
    shares = rng.random((count, 2 + spreads))
    age = np.zeros(count, dtype=np.int_)
    if ages:
        age = 1 + np.minimum((shares[:, 1] * ages).astype(np.int_), ages - 1)
    wafer = np.minimum((shares[:, 0] * wafers).astype(np.int_), wafers - 1)
    return Draws(np.asarray(truncnorm.ppf(shares[:, 2:], -CUT, CUT), dtype=np.float64), wafer, age)


def paces(rig: Rig, wafers: int) -> Array:
    """Return by how much more is removed as pad and disk age, at each wafer node.

    Parameters
    ----------
    rig
        The setup with the settings, timed.
    wafers
        Of the lot, which is polished without chance.

    Returns
    -------
    Array
        Removed from each over what is removed from the first, (wafers, n_r).

    Raises
    ------
    ModelError
        Where the pad does not last.
    """
    removed = polish_lot(rig, wafers, variation=Variation.none()).records.removed
    return np.asarray(removed / np.maximum(removed[0], 1e-15))


@dataclass(frozen=True, slots=True)
class Polished:
    """Polishes draws on the full model with each of several settings.

    ``moved`` the spreads, ``tops`` the films that may come in on top, ``pace`` of each age, (ages, n_r); ``amounts`` on which
    steps stop, of each of ``settings``.
    """

    setup: Setup
    moved: tuple[Moved, ...]
    tops: tuple[Film, ...]
    pace: Array
    settings: tuple[Settings, ...]
    amounts: tuple[Amounts, ...]

    def course(self, draw: Draw) -> Course:
        """Return the recipe as one draw has it.

        Parameters
        ----------
        draw
            The draw.

        Raises
        ------
        PlanishError
            Where values so moved make no setup.
        """
        rig = drawn(self.setup, self.moved, draw.amounts)
        pace = self.pace[draw.age - 1] if draw.age else None
        return Course(with_top(rig, self.tops[draw.wafer]), pace)

    def left(self, draw: Draw) -> Array | str:
        """Return what is left of all films at the places that count [nm], (settings, m), or why there is no answer.

        Parameters
        ----------
        draw
            The draw.
        """
        try:
            course = self.course(draw)
            runs: list[Run] = []
            for settings, amounts in zip(self.settings, self.amounts, strict=True):
                runs.append(course.run(settings, runs[0] if runs else None, amounts=amounts))
        except PlanishError as error:
            return str(error)
        return np.stack([course.counted.read @ run.stack for run in runs]) / 1e-9


def slim(moved: Sequence[Moved]) -> tuple[Moved, ...]:
    """Return spreads without the setups that they lead to, which need not travel between processes."""
    return tuple(one._replace(up=None, down=None) for one in moved)


def polished(
    of: Polished,
    draws: Draws,
    *,
    workers: int | None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> list[Array | str]:
    """Return what is left of every draw.

    Parameters
    ----------
    of
        With which settings.
    draws
        The draws.
    workers
        Processes that share the work; the numbers are the same for any.
    progress
        Called with (draws done, draws in all).
    cancel
        Stops between two draws.

    Returns
    -------
    list[Array | str]
        In the order of the draws, each as :meth:`Polished.left` gives it.
    """
    return run_all(of.left, draws.pieces(), workers=workers, processes=True, progress=progress, cancel=cancel)
