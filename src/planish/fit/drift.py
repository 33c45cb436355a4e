r"""A level that drifts, followed wafer by wafer from the rates measured so far.

State: level m and slopes b of a linear law; measurement y = m + x.b + noise
of standard deviation s; from wafer to wafer m takes a random step of variance
q s^2 while b stays. A Kalman filter gives, for each wafer, the best guess
from the wafers before it alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Durbin & Koopman, Time Series Analysis by State Space Methods, Oxford: local level with regressors "
    "(from memory)",
)

#: Drift strengths tried (step variance over noise variance).
STRENGTHS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
#: A measurement further off than this many standard deviations moves the state no further.
CLIP = 3.0


@dataclass(frozen=True, slots=True)
class Followed:
    """One pass of the filter.

    ``ahead`` (wafers,) is the guess for each wafer before it was measured;
    ``slopes`` and ``slope_errors`` are those after the last wafer, ``noise``
    the standard deviation of a measurement.
    """

    ahead: Array
    slopes: Array
    slope_errors: Array
    noise: float


def follow(y: Array, x: Array, strength: float, *, noise: float, slope_scale: float) -> Followed:
    """Run the filter over ``y`` (wafers,) with regressors ``x`` (wafers, terms).

    ``noise`` is a first guess of the measurement's standard deviation, used
    for clipping; ``slope_scale`` the standard deviation slopes may have
    before anything was measured. The first wafer starts the level.
    """
    n, p = x.shape
    state = np.zeros(p + 1)
    state[0] = y[0]
    cov = np.diag(np.r_[10.0, np.full(p, (slope_scale / noise) ** 2)])
    ahead, spread = np.empty(n), np.empty(n)
    for i in range(n):
        cov[0, 0] += strength
        z = np.r_[1.0, x[i]]
        gain = cov @ z
        f = float(z @ gain) + 1.0
        ahead[i], spread[i] = z @ state, f
        limit = CLIP * noise * np.sqrt(f)
        state = state + gain / f * float(np.clip(y[i] - ahead[i], -limit, limit))
        cov = cov - np.outer(gain, gain) / f
    scale = float(np.sqrt(np.mean((y - ahead)[1:] ** 2 / spread[1:]))) if n > 1 else noise
    return Followed(ahead, state[1:], scale * np.sqrt(np.clip(np.diag(cov)[1:], 0, None)), scale)


def choose_strength(y: Array, x: Array, *, noise: float, slope_scale: float, skip: int = 30) -> float:
    """Return the drift strength whose one-wafer-ahead guesses of ``y`` are best after ``skip`` wafers."""
    skip = min(skip, len(y) // 2)

    def error(strength: float) -> float:
        ahead = follow(y, x, strength, noise=noise, slope_scale=slope_scale).ahead
        return float(np.mean((y - ahead)[skip:] ** 2))

    return min(STRENGTHS, key=error)


def last_mean(y: Array, count: int = 3) -> Array:
    """Return for each wafer the mean of the ``count`` before it (fewer at the start; the first its own)."""
    total = np.concatenate([[0.0], np.cumsum(y)])
    i = np.arange(len(y))
    low = np.maximum(i - count, 0)
    out = (total[i] - total[low]) / np.maximum(i - low, 1)
    out[0] = y[0]
    return np.asarray(out, dtype=np.float64)
