"""Which settings of several platens move and how far: the limits of each, and those on the time of all or of the longest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.tuning.influence import Bends
from planish.tuning.limits import ROUNDED_S, Freedom, Limit, Rows
from planish.tuning.platens.course import RowSettings, narrow, widened
from planish.units import show

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Clock:
    """How long platens may take [s]; None for no limit.

    ``most`` all together, ``longest`` any one, ``apart`` by how much two may differ; ``words`` what is said of the first, ``longest_words`` of the second.
    """

    most: float | None = None
    longest: float | None = None
    apart: float | None = None
    words: str = "--most-time:"
    longest_words: str = "--longest:"


class RowFreedom:
    """What moves on all platens.

    Attributes
    ----------
    each
        The freedom of each platen.
    free
        (steps of all platens, widest head + 2).
    scale
        Of the settings that move, (n,).
    rows
        What they keep to.
    notes
        What was taken for granted.
    times, by_step
        As for :class:`planish.tuning.limits.Freedom`, over all platens.
    """

    def __init__(self, each: Sequence[Freedom], start: RowSettings, clock: Clock) -> None:
        self.each = tuple(each)
        sizes = [one.scale.size for one in each]
        self._begin = [int(at) for at in np.cumsum([0, *sizes])]
        self._zones = max(one.free.shape[1] for one in each) - 2
        self._start = start
        self.free: NDArray[np.bool_] = np.concatenate([widened(one.free, self._zones) for one in each])
        self.scale: Array = np.concatenate([one.scale for one in each])
        self.notes = [f"platen {number}: {note}" for number, one in enumerate(each, 1) for note in one.notes]
        self.times: NDArray[np.int_] = np.concatenate(
            [one.times + begin for one, begin in zip(each, self._begin, strict=False)]
        )
        self.by_step: list[tuple[NDArray[np.int_], int]] = [
            (pressures + begin, time + begin)
            for one, begin in zip(each, self._begin, strict=False)
            for pressures, time in one.by_step
        ]
        if self.scale.size == 0:
            raise SetupError("keep: everything is kept: must leave a pressure or a time to tune")
        self.rows = self._rows(clock)

    def pack(self, settings: RowSettings) -> Array:
        """Return the settings that move in their scales, (n,)."""
        pairs = zip(self.each, settings.platens, strict=True)
        return np.concatenate([one.pack(own) for one, own in pairs])

    def unpack(self, x: Array) -> RowSettings:
        """Return all settings for those that move in their scales (n,)."""
        parts = np.split(x, self._begin[1:-1])
        return RowSettings(tuple(one.unpack(part) for one, part in zip(self.each, parts, strict=True)))

    def columns(self, influence: Array) -> Array:
        """Return the influence (steps, widest head + 2, n_r) as a matrix by what moves in its scale, (n_r, n)."""
        counts = np.cumsum([one.free.shape[0] for one in self.each])[:-1]
        return np.hstack(
            [
                one.columns(narrow(part, one.free.shape[1] - 2))
                for one, part in zip(self.each, np.split(influence, counts), strict=True)
            ]
        )

    def bends(self, second: Sequence[Bends]) -> Array:
        """Return second derivatives of each step as a matrix by what moves in its scale, (n_r, n, n)."""
        made = np.zeros((second[0].second.shape[0], self.scale.size, self.scale.size))
        first = 0
        for one, begin in zip(self.each, self._begin, strict=False):
            steps, own = one.free.shape[0], slice(begin, begin + one.scale.size)
            if one.scale.size:
                made[:, own, own] = one.bends(second[first : first + steps])
            first += steps
        return made

    def rounded(self, settings: RowSettings) -> RowSettings:
        """Return settings as they are written into setups."""
        pairs = zip(self.each, settings.platens, strict=True)
        return RowSettings(tuple(one.rounded(own) for one, own in pairs))

    def _rows(self, clock: Clock) -> Rows:
        blocks: list[Array] = []
        most: list[Array] = []
        limits: list[Limit] = []
        for one, begin in zip(self.each, self._begin, strict=False):
            block = np.zeros((one.rows.most.size, self.scale.size))
            block[:, begin : begin + one.scale.size] = one.rows.matrix
            blocks.append(block)
            most.append(one.rows.most)
            limits += one.rows.limits
        for row, bound, limit in self._timed(clock):
            blocks.append(row[None, :])
            most.append(np.array([bound]))
            limits.append(limit)
        return Rows(np.vstack(blocks), np.concatenate(most), tuple(limits))

    def _timed(self, clock: Clock) -> list[tuple[Array, float, Limit]]:
        """Return the limits on times of platens: row, what it may be at most, and words."""
        made: list[tuple[Array, float, Limit]] = []
        taken, kept = self._taken(), self._kept()

        def add(row: Array, bound: float, limit: Limit) -> None:
            moving = int(np.count_nonzero(row))
            bound -= ROUNDED_S * moving  # a hair less, so that rounded times keep it too
            if moving:
                made.append((row, bound, limit))
            elif bound < 0:
                told = show(limit.value - bound, "time")
                raise SetupError(refuse(limit.told, f"{told} is kept", "no more", "keep less, or allow more"))

        if clock.most is not None:
            limit = Limit("all platens", f"{clock.words} all steps together at most", clock.most, "time")
            add(taken.sum(axis=0), clock.most - float(kept.sum()), limit)
        if clock.longest is not None:
            words = f"{clock.longest_words} its steps together at most"
            for number, (row, gone) in enumerate(zip(taken, kept, strict=True), 1):
                add(row, clock.longest - gone, Limit(f"platen.{number}", words, clock.longest, "time"))
        if clock.apart is not None:
            for one in range(len(self.each)):
                for other in range(len(self.each)):
                    if one != other:
                        words = f"--balance: longer than platen.{other + 1} by at most"
                        limit = Limit(f"platen.{one + 1}", words, clock.apart, "time")
                        bound = clock.apart - (kept[one] - kept[other])
                        add(taken[one] - taken[other], bound, limit)
        return made

    def _taken(self) -> Array:
        """Return which settings that move make up the time of each platen, in their scales, (platens, n)."""
        made = np.zeros((len(self.each), self.scale.size))
        for number, (one, begin) in enumerate(zip(self.each, self._begin, strict=False)):
            made[number, begin + one.times] = one.scale[one.times]
        return made

    def _kept(self) -> Array:
        """Return the time of the steps of each platen that stay as they are [s]."""
        pairs = zip(self.each, self._start.platens, strict=True)
        return np.array([float(own.time[~one.free[:, -1]].sum()) for one, own in pairs])
