"""From quadratic programs to settings: solve, try on the full model, keep what is better, until nothing is gained."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.tuning.course import Course, Run
from planish.tuning.limits import Freedom
from planish.tuning.program import Asked, best_move, into_limits

Array = NDArray[np.float64]
NM = 1e-9
MET_NM = 0.05  # how far the mean may be from the target
_TIGHT_NM = 0.01  # and where the search stops
_MISS = 5.0  # nm of sigma that a nm of mean amiss counts for
_GAIN = 1e-3  # of sigma: the least that a further step must promise
_LEAST_NM = 0.003  # and in nm: less is beyond any gauge
_IDLE = 0.004  # of sigma: two steps that gain less than this end the search
_MOST = 12  # steps
_STRETCHES = 4  # of the times, one after the other
_SECANTS = 6  # to the factor of a stretch
_CORRECTIONS = 2  # of a move that bent away
_REACH, _FAR = 1.5, 6.0  # how far settings may move at once, in their scales: at first, and at most
_DAMPING = 1e-3  # of the variance, on the square of a move
_WELL = 0.03  # of sigma: where the slopes foresaw what came, they are corrected, not worked out anew


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search ended.

    ``run`` there; ``sigma`` and ``gap`` (mean left less wanted) [nm]; ``prices`` [nm per scaled unit of room] of the
    limits, ``tight`` which of them hold; ``programs`` solved, ``runs`` wafers polished.
    """

    run: Run
    sigma: float
    gap: float
    prices: Array
    tight: NDArray[np.bool_]
    programs: int
    runs: int


class Search:
    """Search for the settings that leave the most even wafer of a thickness.

    Attributes
    ----------
    course
        The full model.
    freedom
        What may move.
    goal
        What shall be left [m], (n_r,).
    """

    def __init__(self, course: Course, freedom: Freedom, goal: Array) -> None:
        self.course, self.freedom, self.goal = course, freedom, goal
        self._runs = 0

    def _away(self, run: Run) -> Array:
        """Return what is left less what is wanted [nm] at the places that count."""
        return np.asarray(self.course.counted.read @ (run.stack - self.goal)) / NM

    def measures(self, run: Run) -> tuple[float, float]:
        """Return sigma and mean [nm] of what is left less what is wanted."""
        away, shares = self._away(run), self.course.counted.shares
        mean = float(shares @ away)
        return float(np.sqrt(shares @ (away - mean) ** 2)), mean

    def _merit(self, run: Run) -> float:
        return self._merit_of(self._away(run))

    def _merit_of(self, away: Array) -> float:
        shares = self.course.counted.shares
        mean = float(shares @ away)
        return float(np.sqrt(shares @ (away - mean) ** 2)) + _MISS * abs(mean)

    def _try(self, x: Array, near: Run) -> Run:
        self._runs += 1
        return self.course.run(self.freedom.unpack(x), near)

    def _bent(self, x: Array, by: Array) -> Array:
        """Return where a move leads, the pressures of each step changed for the time that it then has.

        What a zone removes goes about as its pressure times the time. Of (1 + a) for its pressure and (1 + b) for
        the time a straight move foresees 1 + a + b, which the pressure 1 + a / (1 + b) keeps.
        """
        other = x + by
        for pressures, time in self.freedom.by_step:
            other[pressures] = x[pressures] + by[pressures] / max(1.0 + by[time] / x[time], 0.4)
        within = into_limits(other, self.freedom.rows.matrix, self.freedom.rows.most)
        return x + by if within is None else within

    def _met(self, x: Array, run: Run) -> tuple[Array, Run]:
        """Return settings with their times stretched alike until the mean is met."""
        rows = self.freedom.rows
        for _ in range(_STRETCHES if self.freedom.times.size else 0):
            if abs(self.measures(run)[1]) < _TIGHT_NM:
                break
            within = into_limits(self._stretched(x, run), rows.matrix, rows.most)
            if within is None:
                break
            tried = self._try(within, run)
            if not self._merit(tried) < self._merit(run):
                break
            x, run = within, tried
        return x, run

    def _stretched(self, x: Array, run: Run) -> Array:
        """Return settings whose times meet the mean, slurry and contact being as they are: by secants on the heat alone."""
        weights, times = self.course.counted.weights, self.freedom.times

        def left(share: float) -> tuple[Array, float]:
            other = x.copy()
            other[times] *= share
            return other, float(weights @ self.course.at_times(run, self.freedom.unpack(other).time)) / NM

        gap = self.measures(run)[1]
        begin = left(1.0)[1]
        low, at_low, share = 1.0, gap, 1.0 + 0.1 * np.sign(gap)
        other = x
        for _ in range(_SECANTS):
            other, now = left(share)
            at = gap + now - begin
            if abs(at) < 0.1 * _TIGHT_NM or at == at_low:
                break
            low, at_low, share = (
                share,
                at,
                float(np.clip(share - at * (share - low) / (at - at_low), 0.2, 5.0)),
            )
            if share == low:
                break
        return other

    def start(self, begin: Run) -> Run | None:
        """Return the wafer of the setup's own pressures, times stretched alike to meet the target, within the limits.

        Parameters
        ----------
        begin
            With the setup's own settings.

        Returns
        -------
        Run | None
            None where the limits leave no settings at all.
        """
        rows = self.freedom.rows
        own = self.freedom.pack(begin.settings)
        x = into_limits(own, rows.matrix, rows.most)
        if x is None:
            return None
        run = begin if x is own else self._try(x, begin)
        return self._met(x, run)[1]

    def _slopes(self, run: Run) -> Array:
        """Return what each setting does to what is left [nm], at the places that count."""
        influence = self.course.influence(run, self.freedom.free)
        return np.asarray(self.course.counted.read @ self.freedom.columns(influence)) / NM

    def _asked(self, x: Array, away: Array, slopes: Array, reach: float) -> Asked:
        rows, shares = self.freedom.rows, self.course.counted.shares
        variance = float(shares @ (away - float(shares @ away)) ** 2)
        return Asked(
            away=away,
            shares=shares,
            slopes=slopes,
            rows=rows.matrix,
            room=np.maximum(rows.most - rows.matrix @ x, 0.0),
            reach=np.full(x.size, reach),
            damping=_DAMPING * max(variance, 0.01),
            miss=2.0 * _MISS * variance**0.5 + 10.0,
        )

    def _corrected(
        self, x: Array, run: Run, by: Array, slopes: Array, reach: float, now: float
    ) -> tuple[Array, Run]:
        """Return where a move leads; where that is worse than now, once more from there by the same slopes."""
        at, tried = self._met(*self._moved(x, by, run))
        for _ in range(_CORRECTIONS):
            if self._merit(tried) < now:
                break
            back = best_move(self._asked(at, self._away(tried), slopes, reach))
            next_at, again = self._met(*self._moved(at, back.by, tried))
            if not self._merit(again) < self._merit(tried):
                break
            at, tried = next_at, again
        return at, tried

    def _moved(self, x: Array, by: Array, near: Run) -> tuple[Array, Run]:
        other = self._bent(x, by)
        return other, self._try(other, near)

    def improve(self, run: Run) -> Found:
        """Return the most even wafer that steps from here lead to.

        Parameters
        ----------
        run
            Within the limits.

        Returns
        -------
        Found
            Never worse than ``run``.
        """
        freedom, rows = self.freedom, self.freedom.rows
        x, reach, idle, programs = freedom.pack(run.settings), _REACH, 0, 0
        slopes, exact = self._slopes(run), True
        prices = np.zeros(rows.most.size)
        while programs < _MOST:
            programs += 1
            away, now = self._away(run), self._merit(run)
            move = best_move(self._asked(x, away, slopes, reach))
            prices = move.prices
            hoped = self._merit_of(away + slopes @ move.by)
            if now - hoped < max(_GAIN * now, _LEAST_NM):
                break
            other, tried = self._corrected(x, run, move.by, slopes, reach, now)
            better = self._merit(tried)
            if better < now - 0.02 * (now - hoped):
                came, by = self._away(tried), other - x
                off = came - away - slopes @ by
                x, run = other, tried
                reach = min(2.0 * reach, _FAR) if now - better > 0.6 * (now - hoped) else reach
                idle = idle + 1 if now - better < max(_IDLE * now, _LEAST_NM) else 0
                if idle == 2:
                    break
                exact = False
                if float(np.sqrt(self.course.counted.shares @ off**2)) < _WELL * better:
                    slopes = slopes + np.outer(off, by) / float(by @ by)
                else:
                    slopes, exact = self._slopes(run), True
            elif exact:
                reach = 0.4 * min(reach, float(np.abs(move.by).max()))
                if reach < 0.01:
                    break
            else:
                slopes, exact = self._slopes(run), True
        sigma, gap = self.measures(run)
        unit = prices / max(2.0 * sigma, 1e-9)
        room = rows.most - rows.matrix @ x
        scale = np.abs(rows.matrix).max(axis=1)
        return Found(run, sigma, gap, unit, room < 1e-3 * scale, programs, self._runs)
