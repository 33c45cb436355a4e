"""How fast a pad may move before its liquid film is lost: where the branch of films turns back.

From a pad at rest, where summits carry all, the film changes steadily with the share of the speed, until either all
the speed is there or the branch turns: beyond, the liquid lifts the wafer off its summits or sucks it down too hard,
and no film near those before exists. Along the branch speed and film are found together, at a distance from the
film before (pseudo-arclength continuation: textbook), as the derivative by the film alone vanishes at the turn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.physics.slurry.film_balance import TOLERANCE, Balance

Array = NDArray[np.float64]
Made = Callable[[float], Balance]  # the balance at a share of the speed

_SLOWEST = 0.01  # of the speed: a film that ends before is none
_LITTLE = 1e-5  # of the speed: by how much it is changed to see what it does
_STRIDE, _AGAIN, _LEAST = (
    0.1,
    0.02,
    1e-4,
)  # along the branch: at first, from a film near the turn, and at least
_PASSES = 8  # of Newton's method, at most, for a film of the branch
_STRIDES = 200
_TURNED = 3e-3  # slope of the speed along the branch that counts as the turn
_SEARCHES = 12


class Limit(NamedTuple):
    """Where the search ended: ``y`` (rings, spokes) of the film, its share of the speed, the passes that it took."""

    y: Array
    part: float
    passes: int


@dataclass(frozen=True, slots=True)
class _Film:
    """A film of the branch, and the branch's direction there, of length 1: ``along`` of y, ``faster`` of the speed."""

    y: Array
    part: float
    along: Array
    faster: float
    passes: int


def film_limit(made: Made, rest: Array, near: tuple[Array, float] | None = None) -> Limit:
    """Return the fastest film, at the turn of the branch, or that at all the speed where the branch gets so far.

    Parameters
    ----------
    made
        Gives the balance at a share of the speed.
    rest
        y of the pad at rest (rings, spokes), where summits carry all.
    near
        y and share of the speed at the turn for a pad that differs a little: the search begins there.

    Returns
    -------
    Limit
        Share 1 where the branch gets there, 0 with ``rest`` where it ends before a hundredth of the speed.
    """
    if near is not None:
        found = _turn_near(made, *near)
        if found is not None:
            return found
    way = _directed(made, rest, 0.0)
    if way is None:
        return Limit(rest, 0.0, 0)
    now, stride, passes = _Film(rest, 0.0, *way, 0), _STRIDE, 0
    for _ in range(_STRIDES):
        then = _stepped(made, now, stride)
        if then is not None and then.part >= 1.0:
            whole = _at_speed(made, now.y + (then.y - now.y) * (1.0 - now.part) / (then.part - now.part), 1.0)
            if whole is not None:
                return Limit(whole.y, 1.0, passes + then.passes + whole.passes)
            then = None
        if then is None:
            stride *= 0.5
            if stride < _LEAST:
                break
            continue
        passes += then.passes
        if then.faster <= 0.0:
            found = _turn(made, now, then, passes)
            return found if found.part >= _SLOWEST else Limit(rest, 0.0, found.passes)
        now = then
        stride *= 1.5 if then.passes <= 4 else 1.0
    return Limit(now.y, now.part, passes) if now.part >= _SLOWEST else Limit(rest, 0.0, passes)


def _turn_near(made: Made, y: Array, part: float) -> Limit | None:
    """Return the turn near a film that was at the turn of another branch; None where it is not near."""
    if not 0.0 < part < 1.0:
        return None
    slopes = _directed(made, y, part)
    now = None if slopes is None else _corrected(made, _Film(y, part, *slopes, 0), 0.0)
    stride = _AGAIN
    for _ in range(_SEARCHES):
        if now is None or not 0.0 < now.part < 1.0:
            return None
        then = _stepped(made, now, stride)
        if then is not None and then.faster <= 0.0:
            found = _turn(made, now, then, now.passes + then.passes)
            return found if found.part < 1.0 else None
        now, stride = then, 2.0 * stride
    return None


def _turn(made: Made, before: _Film, after: _Film, passes: int) -> Limit:
    """Return the turn between two films of the branch, by false position on the slope of the speed (Illinois)."""
    low, high = (
        0.0,
        float((before.along * (after.y - before.y)).mean() + before.faster * (after.part - before.part)),
    )
    rising, falling, best = before.faster, after.faster, max(before, after, key=lambda film: film.part)
    for _ in range(_SEARCHES):
        middle = low + (high - low) * rising / (rising - falling)
        found = _stepped(made, before, middle)
        if found is None:
            break
        passes += found.passes
        best = max(best, found, key=lambda film: film.part)
        if abs(found.faster) < _TURNED:
            break
        if found.faster > 0.0:
            low, rising, falling = middle, found.faster, 0.5 * falling
        else:
            high, falling, rising = middle, found.faster, 0.5 * rising
    return Limit(best.y, min(best.part, 1.0), passes)


def _stepped(made: Made, film: _Film, stride: float) -> _Film | None:
    """Return the film of the branch a stride on, the way ``film`` points; None where there is none."""
    guess = _Film(film.y + stride * film.along, film.part + stride * film.faster, film.along, film.faster, 0)
    return _corrected(made, guess, stride)


def _corrected(made: Made, guess: _Film, stride: float) -> _Film | None:
    """Return the film of the branch in the plane through ``guess`` across the way it points."""
    y, part = guess.y, guess.part
    reach = 3.0 * max(stride, _STRIDE)  # further off it would be another part of the branch
    for step in range(1, _PASSES + 1):
        both = _changes(made, y, part)
        if both is None:
            return None
        alone, by_part = both
        across = float((guess.along * (y - guess.y)).mean()) + guess.faster * (part - guess.part)
        bottom = float((guess.along * by_part).mean()) + guess.faster
        faster = -(across + float((guess.along * alone).mean())) / bottom
        change = alone + faster * by_part
        most = max(float(np.abs(change).max()), abs(faster))
        if not most < reach:
            return None
        y, part = y + change, part + faster
        if most * most < 0.1 * TOLERANCE:
            length = sqrt(float((by_part * by_part).mean()) + 1.0)
            turned = float((guess.along * by_part).mean()) + guess.faster < 0.0
            way = -1.0 / length if turned else 1.0 / length
            return _Film(y, part, way * by_part, way, step)
    return None


def _at_speed(made: Made, y: Array, part: float) -> _Film | None:
    """Return the film at a share of the speed."""
    still = np.zeros_like(y)
    return _corrected(made, _Film(y, part, still, 1.0, 0), 1.0)


def _directed(made: Made, y: Array, part: float) -> tuple[Array, float] | None:
    """Return the way of the branch towards higher speed."""
    both = _changes(made, y, part)
    if both is None:
        return None
    length = sqrt(float((both[1] * both[1]).mean()) + 1.0)
    return both[1] / length, 1.0 / length


def _changes(made: Made, y: Array, part: float) -> tuple[Array, Array] | None:
    """Return Newton's change of y at this speed, and how y follows the speed; None where there is neither."""
    problem = made(part)
    residual, bands = problem.at(y)
    later, _ = made(part + _LITTLE).at(y)
    if not (np.isfinite(bands).all() and np.isfinite(later).all()):
        return None
    alone = problem.step(residual, bands.copy(order="F"))
    by_part = problem.step((later - residual) / _LITTLE, bands)
    if not (np.isfinite(alone).all() and np.isfinite(by_part).all()):
        return None
    return alone, by_part
