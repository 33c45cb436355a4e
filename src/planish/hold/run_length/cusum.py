r"""Run lengths of tabular CUSUM charts of normal samples.

Upwards s_t = max(0, s_(t-1) + x_t - k), x_t normal of mean mu_t and standard deviation 1; the chart alarms when s_t > h.
The average run length from the state u under a mean that stands solves

    A(u) = 1 + A(0) Phi(k - u - mu) + int_0^h phi(y - u + k - mu) A(y) dy,

by Nystroem's method on Gauss-Legendre nodes with the state 0 beside them. The two-sided chart joins one of each direction.
When one of them alarms the other stands at 0 as long as both never add up to more than h + 2k, so

    A = (A+(u) A-(0) + A-(v) A+(0) - A+(0) A-(0))/(A+(0) + A-(0)).

Under a mean that changes no such formula holds, but the same fact gives the recursion used here: with m+ and m- the laws of
the two sums on the charts still silent, a_t and b_t the shares that alarm upwards and downwards at sample t,

    m+_t = K+_t m+_(t-1) - b_t delta_0,    m-_t = K-_t m-_(t-1) - a_t delta_0,

where K keeps what stays at or below h; a_t and b_t are what K+ and K- lose.

Sources: Vance 1986 (the integral equation on Gauss-Legendre nodes), Lucas & Crosier 1982 (both sides, head starts) (read as
quoted in the help of the spc package); the recursion derived here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from planish.errors import DataError, refuse
from planish.hold.run_length.ewma import FINER, SQRT_2PI
from planish.hold.run_length.forward import Steps, Survivors, legendre
from planish.hold.run_length.mean import Length, Mean

Array = NDArray[np.float64]


def cusum_length(
    reference: float, limit: float, mean: Mean, head_start: float = 0.0, one_sided: bool = False
) -> Length:
    """Return the average run length of a tabular CUSUM chart.

    Parameters
    ----------
    reference
        k, half the shift that it is to find [standard deviations of one sample].
    limit
        h [standard deviations of one sample].
    mean
        What the mean does.
    head_start
        Where each sum starts, as a share of h.
    one_sided
        Whether only the sum upwards is kept.

    Returns
    -------
    Length
        With the difference from a grid 1.4 times coarser as its error.

    Raises
    ------
    DataError
        For values that no such chart has.
    """
    if not 0 <= reference <= 10:
        raise DataError(
            refuse("reference [sigma]", reference, "0 to 10", "half the shift to be found: 0.5 is usual")
        )
    if not 0 <= head_start < 1:
        raise DataError(
            refuse("head start", head_start, "a share of the limit from 0 to below 1", "0.5 is usual")
        )
    if not one_sided and 2 * head_start * limit > limit + 2 * reference:
        raise DataError(
            refuse(
                "head start",
                head_start,
                "smaller",
                "both sums together may start at the limit and twice the reference",
            )
        )
    count = 24 + int(4 * limit)
    solve = _moving if mean.drift else _standing
    coarse, fine = (
        solve(reference, limit, mean, head_start, one_sided, number) for number in (count, int(FINER * count))
    )
    return Length(fine.mean, abs(fine.mean - coarse.mean) + fine.error, fine.silent)


def _grid(limit: float, count: int) -> tuple[Array, Array]:
    """Return the states, 0 first and then the nodes, and the weights of the nodes."""
    x, w = legendre(count)
    half = 0.5 * limit
    return np.concatenate([[0.0], half * (x + 1)]), half * w


def _onward(states: Array, weights: Array, start: Array, reference: float, mean: float) -> Array:
    """Shares that go from each start (rows) to 0 and to each node (columns)."""
    away = states[None, 1:] - start[:, None] + reference - mean
    out = np.empty((start.size, states.size))
    out[:, 0] = ndtr(reference - mean - start)
    out[:, 1:] = np.exp(-0.5 * away * away) * (weights / SQRT_2PI)
    return out


def _from_states(
    reference: float, limit: float, mean: float, start: float, count: int
) -> tuple[float, float]:
    """Return the run lengths of the upward chart from 0 and from a start."""
    states, weights = _grid(limit, count)
    onward = _onward(states, weights, states, reference, mean)
    lengths = np.linalg.solve(np.eye(states.size) - onward, np.ones(states.size))
    first = _onward(states, weights, np.array([start]), reference, mean) @ lengths
    return float(lengths[0]), float(1 + first[0])


def _standing(
    reference: float, limit: float, mean: Mean, head_start: float, one_sided: bool, count: int
) -> Length:
    start = head_start * limit
    up0, up = _from_states(reference, limit, mean.shift, start, count)
    if one_sided:
        return Length(up, 0.0)
    down0, down = _from_states(reference, limit, -mean.shift, start, count)
    return Length((up * down0 + down * up0 - up0 * down0) / (up0 + down0), 0.0)


def _moving(
    reference: float, limit: float, mean: Mean, head_start: float, one_sided: bool, count: int
) -> Length:
    states, weights = _grid(limit, count)
    survivors = Survivors(mean)
    start = np.array([head_start * limit])
    up = _onward(states, weights, start, reference, mean.at(1))[0]
    down = _onward(states, weights, start, reference, -mean.at(1))[0]
    steps = Steps(states[1:] + reference, states)
    sample = 1
    while True:
        if one_sided:
            survivors.add(float(up.sum()))
        else:
            silent = survivors.shares[-1]
            above, below = silent - float(up.sum()), silent - float(down.sum())
            up[0] -= below
            down[0] -= above
            survivors.add(silent - above - below)
        if survivors.over:
            return survivors.closed(0.0)
        sample += 1
        at = mean.at(sample)
        up = _next(up, steps, states, weights, reference, at)
        if not one_sided:
            down = _next(down, steps, states, weights, reference, -at)


def _next(shares: Array, steps: Steps, states: Array, weights: Array, reference: float, mean: float) -> Array:
    """Return the shares of all states after one more sample."""
    out = np.empty_like(shares)
    out[0] = shares @ ndtr(reference - mean - states)
    out[1:] = steps.onto(mean, shares) * weights / SQRT_2PI
    return out
