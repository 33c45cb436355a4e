"""The beginning of an optical trace: which thickness and rate, of all that may be, drew the samples so far?

For a constant rate the signal is b + a R(d0 - v t). For each d0 and v of a grid over what is known before, b and a follow
by linear least squares; the best valleys of the grid are then run down by Gauss and Newton in all four. The trace is
understood when no other valley is nearly as good.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from planish.hold.endpoint.view import SeenTable

Array = NDArray[np.float64]
PER_FRINGE = 16  # cells of the grid in a fringe: a valley is half a fringe wide
SAMPLES = 160  # that the grid looks at; more are thinned
SURE = 30.0  # by which the squares of the next valley must be worse, in squares of the noise
STEADY = 1.0 / 16.0  # of a fringe: the largest error of the thickness that counts as understood
NOISIER = 2.0  # times what neighbouring samples differ by: what is left beyond that is no noise
STRANGE = 0.05  # of the swing of the fringes: so much may be left whatever it is
MOST_CELLS = 20_000
COLOURS = 12  # that the grid looks at
MOST_NUMBERS = 60_000  # that a valley is run down with; more samples are thinned


@dataclass(frozen=True, slots=True)
class Known:
    """What is known before: ``start`` (least, most) thickness [m] at the first sample, ``rate`` (least, most) [m/s]."""

    start: tuple[float, float]
    rate: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Understood:
    """Where the trace is at its last sample: ``state`` d, v, b, a, its covariance, and the ``noise`` of a sample."""

    state: Array
    spread: Array
    noise: float


def understand(
    table: SeenTable, fringe: float, times: Array, samples: Array, known: Known
) -> Understood | None:
    """Return where a trace is, or nothing as long as that cannot be told.

    Parameters
    ----------
    table
        Reflected share over thickness.
    fringe
        The shortest [m].
    times, samples
        So far [s], (n,) and (n, colours).
    known
        What is known before.

    Returns
    -------
    Understood | None
        At the last sample.
    """
    t = times - times[0]
    last = t[-1]
    thin = slice(None, None, max(1, -(-samples.size // MOST_NUMBERS)))
    t, samples = t[thin], samples[thin]
    few, chosen = table.fewer(COLOURS)
    valleys = _valleys(few, fringe, t, samples[:, chosen], known)
    found = [one for one in (_down(table, t, samples, *start) for start in valleys) if one is not None]
    found = [one for one in found if _may_be(one, known, fringe)]
    if not found:
        return None
    found.sort(key=lambda one: one[1])
    best, squares, jacobian = found[0]
    free = samples.size - 4
    noise = float(np.sqrt(squares / free))
    floor = 1e-9 * float(np.ptp(samples))
    noise = max(noise, floor)
    swing = 0.5 * float(np.ptp(table.values, axis=0).max()) * best[3]
    if noise > max(NOISIER * _by_neighbours(samples), STRANGE * swing):
        return None
    end = best[0] - best[1] * last
    for other, theirs, _ in found[1:]:
        elsewhere = abs(other[0] - other[1] * last - end) > fringe / 8.0
        if elsewhere and theirs - squares < SURE * noise**2:
            return None
    try:
        spread = noise**2 * np.linalg.inv(jacobian.T @ jacobian)
    except np.linalg.LinAlgError:
        return None
    moved = np.eye(4)
    moved[0, 1] = -last
    spread = moved @ spread @ moved.T
    spread = 0.5 * (spread + spread.T)
    if not np.all(np.diag(spread) > 0) or np.sqrt(spread[0, 0]) > STEADY * fringe:
        return None
    return Understood(np.array([end, best[1], best[2], best[3]]), spread, noise)


def _by_neighbours(samples: Array) -> float:
    """Return the noise by what neighbouring samples differ by, whatever the film; at least that of a coarse reading."""
    apart = float(np.sqrt(0.5 * np.mean(np.diff(samples, axis=0) ** 2)))
    read = np.unique(samples)
    coarse = float(np.median(np.diff(read))) if 1 < read.size < 0.5 * samples.size else 0.0
    return max(apart, coarse / sqrt(12.0))


def _may_be(found: tuple[Array, float, Array], known: Known, fringe: float) -> bool:
    """Whether a valley lies within what is known, with room for its own error, and light comes back the right way."""
    d0, v, _, gain = found[0]
    room, loose = fringe / 16.0, 0.05 * known.rate[1]
    within = known.start[0] - room <= d0 <= known.start[1] + room
    return bool(gain > 0 and within and known.rate[0] - loose <= v <= known.rate[1] + loose)


def _valleys(
    table: SeenTable, fringe: float, t: Array, samples: Array, known: Known
) -> list[tuple[float, float]]:
    """Return the starts (d0, v) of the best valleys of the grid."""
    cell = fringe / PER_FRINGE
    depths = np.linspace(*known.start, max(int(np.ceil((known.start[1] - known.start[0]) / cell)), 1) + 1)
    reach = (known.rate[1] - known.rate[0]) * t[-1]
    rates = np.linspace(*known.rate, max(int(np.ceil(reach / cell)), 1) + 1)
    while depths.size * rates.size > MOST_CELLS:
        depths, rates = (one[:: 2 if one.size > 64 else 1] for one in (depths, rates))
    thin = slice(None, None, max(1, t.size // SAMPLES))
    some, at = samples[thin], t[thin]
    squares = np.empty((depths.size, rates.size))
    centred = some - some.mean()
    for i, d0 in enumerate(depths):
        seen, _ = table.look(np.maximum(d0 - rates[:, None] * at, 0.0))
        seen = seen - seen.mean(axis=(1, 2), keepdims=True)
        along, across = (seen * centred).sum(axis=(1, 2)), (seen * seen).sum(axis=(1, 2))
        squares[i] = (centred**2).sum() - np.maximum(along, 0.0) ** 2 / np.maximum(across, 1e-300)
    padded = np.pad(squares, 1, constant_values=np.inf)
    shifts = [(1, 0), (-1, 0), (0, 1), (0, -1)]
    lower = np.all([squares <= np.roll(padded, s, (0, 1))[1:-1, 1:-1] for s in shifts], axis=0)
    places = sorted(zip(*np.nonzero(lower), strict=True), key=lambda at: squares[at])[:8]
    return [(float(depths[i]), float(rates[j])) for i, j in places]


def _down(
    table: SeenTable, t: Array, samples: Array, d0: float, v: float
) -> tuple[Array, float, Array] | None:
    """Run down a valley by Gauss and Newton with halved steps: parameters, squares, Jacobian."""
    x = np.array([d0, v, 0.0, 1.0])
    seen, _ = table.look(np.maximum(d0 - v * t, 0.0))
    mean = seen.mean()
    along = float(((seen - mean) * samples).sum()) / max(float(((seen - mean) ** 2).sum()), 1e-300)
    x[2:] = samples.mean() - along * mean, along
    if along <= 0:
        return None
    squares, off, jacobian = _misfit(table, t, samples, x)
    for _ in range(20):
        scale = np.sqrt((jacobian**2).sum(axis=0)) + 1e-300
        move = np.linalg.lstsq(jacobian / scale, off, rcond=1e-10)[0] / scale
        for _ in range(8):
            trial = x + move
            theirs = _misfit(table, t, samples, trial)
            if theirs[0] < squares:
                break
            move = 0.5 * move
        else:
            break
        gained = squares - theirs[0]
        x, (squares, off, jacobian) = trial, theirs
        if gained < 1e-6 * squares:
            break
    return x, squares, jacobian


def _misfit(table: SeenTable, t: Array, samples: Array, x: Array) -> tuple[float, Array, Array]:
    seen, slope = table.look(np.maximum(x[0] - x[1] * t, 0.0))
    off = (samples - x[2] - x[3] * seen).ravel()
    steep = x[3] * slope
    jacobian = np.stack([steep, -t[:, None] * steep, np.ones_like(seen), seen], axis=-1).reshape(-1, 4)
    return float(off @ off), off, jacobian
