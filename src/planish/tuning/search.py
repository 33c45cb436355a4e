"""From quadratic programs to settings: solve, try on the full model, keep what is better, until nothing is gained.

What is left is nearly straight in doses (``tuning.doses``), but zones of several steps make up for one another: the most
even wafer lies on the floor of a long, narrow, bent valley. So a move is sought on what is left as it bends, its second
derivatives with it: a few programs on that, then one wafer on the full model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from planish.tuning.course import Course, Run
from planish.tuning.doses import Doses
from planish.tuning.frees import Frees
from planish.tuning.platens.course import RowCourse, RowRun
from planish.tuning.program import Asked, best_move, into_limits
from planish.tuning.several import Several, Side, influence, influence_and_bends

Array = NDArray[np.float64]
Polished: TypeAlias = Run | RowRun | Side
NM = 1e-9

TIMES, PRESSURES = "times", "pressures"  # what mends the mean
MET_NM = 0.05  # how far the mean may be from the target
_TIGHT_NM = 0.01  # and where the search stops
_MISS = 5.0  # nm of sigma that a nm of mean amiss counts for where times cannot mend it
_LEAST_NM = 1e-4  # of sigma: less is beyond rounding of the settings
_GAIN = 1e-3  # of sigma: the least that a further move must promise
_IDLE, _IDLE_MOVES = 2e-3, 2  # of sigma: so many moves in a row that each gain less end the search
_MOST = 30  # moves
_PROGRAMS, _PART = 3, 5e-3  # of a move on what is foreseen; less gain than this part ends them
_STRETCHES = 5  # of the times alike
_SHORTER = 8  # times by 0.7, where nothing is left at first
_REACH, _FAR, _NEAR = (
    1.0,
    6.0,
    0.02,
)  # how far doses may move at once, in their scales: at first, at most, at least
_ALIKE = 0.6  # how far doses move before it is worked out anew how answers bend
_DAMPING = 1e-3  # of the variance, on the square of a move


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search ended.

    ``run`` there, of one wafer or of several, on one platen or in turn on several; ``sigma`` and ``gap`` (mean left less wanted) [nm]; ``prices`` [nm per scaled unit of room] of the
    limits, ``tight`` which of them hold; ``programs`` solved, ``runs`` wafers polished.
    """

    run: Polished
    sigma: float
    gap: float
    prices: Array
    tight: NDArray[np.bool_]
    programs: int
    runs: int

    @property
    def settings(self) -> Any:
        """Of the run: those of a setup, or of every platen."""
        return self.run.settings


@dataclass(slots=True)
class _Place:
    """A run, its doses, what is left less wanted [nm] at the places that count, and how that answers to doses and bends."""

    doses: Array
    run: Polished
    away: Array
    slopes: Array = field(default_factory=lambda: np.zeros((0, 0)))
    bends: Array = field(default_factory=lambda: np.zeros((0, 0, 0)))
    longer: Array | None = (
        None  # what longer times, or more pressure, do to it, mean 1; None where they do nothing
    )


class Search:
    """Search for the settings that leave the most even wafer of a thickness.

    Attributes
    ----------
    course
        The full model, of one wafer or of several.
    freedom
        What may move.
    goal
        What shall be left [m], (n_r,); of several wafers one behind the other.
    """

    def __init__(self, course: Course | RowCourse | Several, freedom: Frees, goal: Array) -> None:
        self.course, self.freedom, self.goal = course, freedom, goal
        self._polished: Callable[[Any, Any], Polished] = course.run
        self._runs = self._programs = 0

    def _away(self, run: Polished) -> Array:
        """Return what is left less what is wanted [nm] at the places that count."""
        return np.asarray(self.course.counted.read @ (run.stack - self.goal)) / NM

    def measures(self, run: Polished) -> tuple[float, float]:
        """Return sigma and mean [nm] of what is left less what is wanted."""
        away = self._away(run)
        return self._sigma(away), self._mean(away)

    def _mean(self, away: Array) -> float:
        return float(self.course.counted.shares @ away)

    def _sigma(self, away: Array) -> float:
        shares = self.course.counted.shares
        return float(np.sqrt(shares @ (away - float(shares @ away)) ** 2))

    def _at(self, doses: Doses, at: Array, near: Polished) -> _Place:
        self._runs += 1
        run = self._polished(doses.unpack(at), near)
        return _Place(at, run, self._away(run))

    def start(self, begin: Polished) -> Polished | None:
        """Return the wafer of the setup's own pressures, times stretched alike to meet the target, within the limits.

        Parameters
        ----------
        begin
            With the setup's own settings.

        Returns
        -------
        Polished | None
            None where the limits leave no settings at all.
        """
        doses = Doses(self.freedom, begin.settings)
        own = doses.pack(begin.settings)
        at = into_limits(own, doses.matrix, doses.most)
        if at is None:
            return None
        place = _Place(own, begin, self._away(begin)) if at is own else self._at(doses, at, begin)
        return self._met(doses, self._left(doses, place)).run

    def _left(self, doses: Doses, place: _Place) -> _Place:
        """Return a place with all times shorter, where films are gone so far that times no longer tell in what is left."""
        for _ in range(_SHORTER if doses.times.size else 0):
            if self._mean(place.away) >= 0.0 or self._mean(self._stretch(doses, place)) < 0.0:
                break
            within = into_limits(doses.stretched(place.doses, -0.3), doses.matrix, doses.most)
            if within is None:
                break
            place = self._at(doses, within, place.run)
        return place

    def _met(self, doses: Doses, place: _Place, by: str = TIMES) -> _Place:
        """Return a place with its times, or pressures, stretched alike until the mean is met, or as near as limits let them."""
        for _ in range(_STRETCHES if by == PRESSURES or doses.times.size else 0):
            gap = self._mean(place.away)
            if abs(gap) < _TIGHT_NM:
                break
            slope = self._mean(self._stretch(doses, place, by))
            if not slope < 0.0:
                break
            share = float(np.clip(-gap / slope, -0.6, 1.5))
            if by == TIMES:
                other = doses.stretched(place.doses, share)
            else:
                other = place.doses + share * doses.pressed(place.doses)
            within = into_limits(other, doses.matrix, doses.most)
            if within is None:
                break
            tried = self._at(doses, within, place.run)
            if not self._told(tried.away) < self._told(place.away):
                break
            place = tried
        return place

    def _told(self, away: Array) -> float:
        return self._sigma(away) + _MISS * abs(self._mean(away))

    def _stretch(self, doses: Doses, place: _Place, by: str = TIMES) -> Array:
        """Return what stretching all times, or pressures, does to what is left [nm], per share."""
        if by == PRESSURES:
            first = influence(self.course, place.run, self.freedom.free)
            slopes = doses.slopes(place.doses, self.course.counted.read / NM, first)
            return np.asarray(slopes @ doses.pressed(place.doses))
        wanted = np.zeros_like(self.freedom.free)
        wanted[:, -1] = self.freedom.free[:, -1]
        by_time = influence(self.course, place.run, wanted)[:, -1]
        return np.asarray(self.course.counted.read @ (place.run.settings.time @ by_time)) / NM

    def _sloped(self, doses: Doses, place: _Place, bends: Array | None = None, *, mended: str) -> _Place:
        """Add to a place how it answers to doses, and how that bends, unless ``bends`` tells it from near by."""
        read, free = self.course.counted.read / NM, self.freedom.free
        if bends is None:
            found = influence_and_bends(self.course, place.run, free)
            first, place.bends = found.first, doses.bends(place.doses, read, found)
        else:
            first, place.bends = influence(self.course, place.run, free), bends
        place.slopes = doses.slopes(place.doses, read, first)
        if not mended:
            return place
        if mended == TIMES:
            longer = np.asarray(read @ (place.run.settings.time @ first[:, -1]))
        else:
            longer = place.slopes @ doses.pressed(place.doses)
        mean = self._mean(longer)
        if mean < 0.0:
            place.longer = longer / mean
        return place

    def _merit(self, away: Array, longer: Array | None) -> float:
        """Return sigma [nm] once times, or pressures, have mended the mean."""
        if longer is None:
            return self._told(away)
        return self._sigma(away - self._mean(away) * longer)

    def _foreseen(self, place: _Place, by: Array) -> Array:
        """Return what is left less wanted [nm] where a move is taken to lead."""
        return np.asarray(place.away + place.slopes @ by + 0.5 * (place.bends @ by) @ by)

    def _move(self, doses: Doses, place: _Place, reach: float) -> tuple[Array, Array, float]:
        """Return the best move as what is left is foreseen, the prices of limits, and the merit hoped for."""
        shares = self.course.counted.shares
        by, away = np.zeros(place.doses.size), place.away
        merit = self._merit(away, place.longer)
        damping = _DAMPING * max(self._sigma(away) ** 2, 1e-6)
        room = np.maximum(doses.most - doses.matrix @ place.doses, 0.0)
        prices, miss = np.zeros(room.size), 2.0 * _MISS * self._sigma(away) + 10.0
        for _ in range(_PROGRAMS):
            self._programs += 1
            slopes = place.slopes + place.bends @ by
            weighed = shares * (away - self._mean(away))
            if place.longer is not None:  # times, or pressures, mend the mean
                off = away - self._mean(away) * place.longer
                weighed = shares * (off - float(shares @ (off * place.longer)))
            gram = slopes.T @ (shares[:, None] * slopes)
            curve = _upward(gram + np.tensordot(weighed, place.bends, axes=1)) - gram
            move = best_move(
                Asked(
                    away=away,
                    shares=shares,
                    slopes=slopes,
                    bends=curve,
                    rows=doses.matrix,
                    room=np.maximum(room - doses.matrix @ by, 0.0),
                    lower=np.minimum(-reach - by, 0.0),
                    upper=np.maximum(reach - by, 0.0),
                    damping=damping,
                    miss=miss,
                )
            )
            prices, share = move.prices, 1.0
            while share > 0.1:
                other = by + share * move.by
                there = self._foreseen(place, other)
                if self._merit(there, place.longer) < merit:
                    break
                share *= 0.4
            else:
                break
            gained = merit - self._merit(there, place.longer)
            by, away = other, there
            merit -= gained
            if gained < _PART * merit:
                break
        return by, prices, merit

    def improve(self, run: Polished) -> Found:
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
        doses = Doses(self.freedom, run.settings)
        place = _Place(doses.pack(run.settings), run, self._away(run))
        ways = (TIMES, PRESSURES, "") if doses.times.size else (PRESSURES, "")
        prices = np.zeros(doses.most.size)
        for by in ways:
            if by != ways[0] and abs(self._mean(place.away)) <= _TIGHT_NM:
                break
            # where limits keep times from mending the mean pressures have to; where they cannot it is missed by the least
            if by == PRESSURES:
                place = self._met(doses, place, by)
            place, prices = self._descended(doses, place, mended=by)
            place = self._met(doses, place, by or TIMES)
        return self._ended(doses, run, place, prices)

    def _descended(self, doses: Doses, place: _Place, *, mended: str) -> tuple[_Place, Array]:
        """Return where moves lead, and the prices of limits there.

        With ``mended`` a place is as good as its sigma once these have mended the mean; else the mean counts too.
        """
        place = self._sloped(doses, place, mended=mended)
        reach, idle = _REACH, 0
        prices = np.zeros(doses.most.size)
        for _ in range(_MOST):
            now = self._merit(place.away, place.longer)
            by, prices, hoped = self._move(doses, place, reach)
            if now - hoped < max(_GAIN * now, _LEAST_NM):
                break
            tried = self._at(doses, place.doses + by, place.run)
            came = self._merit(tried.away, place.longer)
            kept = (now - came) / (now - hoped)
            if kept > 0.7:
                reach = min(2.0 * reach, _FAR)
            elif kept < 0.25:
                reach = max(0.35 * float(np.abs(by).max()), _NEAR)
            if came < now:
                near = float(np.abs(by).max()) < _ALIKE
                place = self._sloped(doses, tried, place.bends if near else None, mended=mended)
                idle = idle + 1 if now - came < max(_IDLE * now, _LEAST_NM) else 0
            elif reach <= _NEAR:
                break
            if idle == _IDLE_MOVES:
                break
        return place, prices

    def _ended(self, doses: Doses, begin: Polished, place: _Place, prices: Array) -> Found:
        if self._told(self._away(begin)) < self._told(place.away):
            place = _Place(doses.pack(begin.settings), begin, self._away(begin))
        sigma, gap = self.measures(place.run)
        unit = doses.prices(place.doses, prices) / max(2.0 * sigma, 1e-9)
        rows = self.freedom.rows
        room = rows.most - rows.matrix @ self.freedom.pack(place.run.settings)
        scale = np.abs(rows.matrix).max(axis=1)
        return Found(place.run, sigma, gap, unit, room < 1e-3 * scale, self._programs, self._runs)


def _upward(curve: Array) -> Array:
    """Return a curvature with the directions in which it falls turned upward, so that a program has one answer."""
    values, vectors = np.linalg.eigh(curve)
    return np.asarray((vectors * np.abs(values)) @ vectors.T)
