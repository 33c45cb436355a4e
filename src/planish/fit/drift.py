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

from planish.engine.record import Record

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Local level with regressors, after Durbin & Koopman, Time Series Analysis by State Space Methods, Oxford "
    "(read as quoted in notes on unobserved components)",
)

#: Drift strengths tried (step variance over noise variance).
STRENGTHS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
#: A measurement further off than this many standard deviations moves the state no further.
CLIP = 3.0


@dataclass(frozen=True, slots=True, repr=False)
class Followed(Record):
    """One pass of the filter.

    Attributes
    ----------
    ahead
        The guess for each wafer before it was measured, (wafers,).
    slopes, slope_errors
        After the last wafer.
    noise
        Standard deviation of a measurement.
    """

    ahead: Array
    slopes: Array
    slope_errors: Array
    noise: float


def follow(y: Array, x: Array, strength: float, *, noise: float, slope_scale: float) -> Followed:
    """Run the filter; the first wafer starts the level.

    Parameters
    ----------
    y
        Measured, (wafers,).
    x
        Regressors, (wafers, terms).
    strength
        Of the drift.
    noise
        First guess of the measurement's standard deviation, used for clipping.
    slope_scale
        Standard deviation slopes may have before anything was measured.

    Returns
    -------
    Followed
        Guesses ahead and slopes.
    """
    ahead, spread, state, cov = _filter(y, x, np.array([strength]), noise, slope_scale)
    return _summary(y, ahead[0], spread[0], state[0], cov[0], noise)


def choose_strength(y: Array, x: Array, *, noise: float, slope_scale: float, skip: int = 30) -> float:
    """Return the drift strength whose one-wafer-ahead guesses are best.

    Parameters
    ----------
    y, x, noise, slope_scale
        As for :func:`follow`.
    skip
        Wafers at the start that are not judged.

    Returns
    -------
    float
        For :func:`follow`.
    """
    skip = min(skip, len(y) // 2)
    ahead, *_ = _filter(y, x, np.array(STRENGTHS), noise, slope_scale)
    return STRENGTHS[int(np.argmin(np.mean((y - ahead)[:, skip:] ** 2, axis=1)))]


def _filter(
    y: Array, x: Array, strengths: Array, noise: float, slope_scale: float
) -> tuple[Array, Array, Array, Array]:
    """Run one filter for each strength side by side.

    Returns guesses and their spreads, both (strengths, wafers), and the last
    states and covariances (in units of the noise variance).
    """
    n, p = x.shape
    many = len(strengths)
    state = np.zeros((many, p + 1))
    state[:, 0] = y[0]
    cov = np.tile(np.diag(np.r_[10.0, np.full(p, (slope_scale / noise) ** 2)]), (many, 1, 1))
    ahead, spread = np.empty((many, n)), np.empty((many, n))
    rows = np.column_stack([np.ones(n), x])
    for i in range(n):
        cov[:, 0, 0] += strengths
        z = rows[i]
        gain = cov @ z
        f = gain @ z + 1.0
        guess = state @ z
        ahead[:, i], spread[:, i] = guess, f
        limit = CLIP * noise * np.sqrt(f)
        state += gain * (np.clip(y[i] - guess, -limit, limit) / f)[:, None]
        cov -= gain[:, :, None] * (gain / f[:, None])[:, None, :]
    return ahead, spread, state, cov


def _summary(y: Array, ahead: Array, spread: Array, state: Array, cov: Array, noise: float) -> Followed:
    n = len(y)
    scale = float(np.sqrt(np.mean((y - ahead)[1:] ** 2 / spread[1:]))) if n > 1 else noise
    return Followed(ahead, state[1:], scale * np.sqrt(np.clip(np.diag(cov)[1:], 0, None)), scale)


def last_mean(y: Array, count: int = 3) -> Array:
    """Return for each wafer the mean of those before it (fewer at the start; the first its own).

    Parameters
    ----------
    y
        Measured, (wafers,).
    count
        How many before it.

    Returns
    -------
    Array
        (wafers,).
    """
    total = np.concatenate([[0.0], np.cumsum(y)])
    i = np.arange(len(y))
    low = np.maximum(i - count, 0)
    out = (total[i] - total[low]) / np.maximum(i - low, 1)
    out[0] = y[0]
    return np.asarray(out, dtype=np.float64)
