r"""Run lengths of a two-sided EWMA chart of normal samples.

With w the weight, z_t = (1 - w) z_(t-1) + w x_t, x_t normal of mean mu_t and standard deviation 1, z_0 = 0; the chart
alarms when |z_t| > h_t, where h_t = L sqrt(w/(2 - w)) or, while the limits settle, that times sqrt(1 - (1 - w)^(2t)).
The average run length from the state u under a mean that stands is the solution of

    A(u) = 1 + 1/w int_(-h)^h phi((y - (1 - w) u)/w - mu) A(y) dy,

solved by Nystroem's method on Gauss-Legendre nodes, which converges faster than any power as the kernel is analytic. Under a
mean or limits that change, the density of z on the nodes goes forward sample by sample with the same quadrature, and the
run length is the sum of the shares still silent.

Sources: Crowder 1987 (the integral equation) and Knoth 2003 (kernels that change) (read as quoted in the help of the spc
package); the recursion derived here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.run_length.forward import Steps, Survivors, legendre
from planish.hold.run_length.mean import Length, Mean

Array = NDArray[np.float64]
LEAST_WEIGHT = 1e-3
SETTLED = 1e-14
FINER = 1.4
SQRT_2PI = float(np.sqrt(2 * np.pi))


def ewma_length(weight: float, limit: float, mean: Mean, settling: bool = False) -> Length:
    """Return the zero-state average run length of a two-sided EWMA chart.

    Parameters
    ----------
    weight
        Of the newest sample, in (0, 1].
    limit
        L: limits in standard deviations of the EWMA in the long run.
    mean
        What the mean does.
    settling
        Whether the limits start narrow, as the EWMA's own spread does, in place of standing from the first sample on.

    Returns
    -------
    Length
        With the difference from a grid 1.4 times coarser as its error.

    Raises
    ------
    DataError
        For a weight that there is not, or a drift so slow that too many samples are needed.
    """
    check_weight(weight)
    nodes = _nodes(weight, limit)
    solve = _standing if mean.drift == 0 and not settling else _moving
    coarse = solve(weight, limit, mean, settling, nodes)
    fine = solve(weight, limit, mean, settling, int(FINER * nodes))
    return Length(fine.mean, abs(fine.mean - coarse.mean) + fine.error, fine.silent)


def check_weight(weight: float) -> None:
    """Refuse a weight that no EWMA has.

    Parameters
    ----------
    weight
        Of the newest sample.

    Raises
    ------
    DataError
        Unless it is in (0, 1] and large enough to be solved for.
    """
    if not LEAST_WEIGHT <= weight <= 1:
        raise DataError(
            refuse(
                "weight", weight, f"above 0 and at most 1 (at least {LEAST_WEIGHT:g})", "0.05 to 0.3 is usual"
            )
        )


def half_width(weight: float, limit: float) -> float:
    """Return where the limits stand in the long run.

    Parameters
    ----------
    weight, limit
        As for :func:`ewma_length`.

    Returns
    -------
    float
        h = L sqrt(w/(2 - w)) [standard deviations of one sample].
    """
    return float(limit * np.sqrt(weight / (2 - weight)))


def _nodes(weight: float, limit: float) -> int:
    """So many that several stand within one width of the kernel."""
    return 24 + int(4 * half_width(weight, limit) / weight)


def _kernel(to: Array, state: Array, weight: float, mean: float) -> Array:
    """Density of the next EWMA at ``to`` (rows) from each state (columns)."""
    step = (to[:, None] - (1 - weight) * state[None, :]) / weight - mean
    kernel: Array = np.exp(-0.5 * step * step) / (weight * SQRT_2PI)
    return kernel


def _standing(weight: float, limit: float, mean: Mean, settling: bool, count: int) -> Length:
    lengths, h = _from_states(weight, limit, mean.shift, count)
    x, w = legendre(count)
    seen = _kernel(h * x, np.zeros(1), weight, mean.shift)[:, 0]
    return Length(float(1 + np.sum(h * w * seen * lengths)), 0.0)


def _from_states(weight: float, limit: float, mean: float, count: int) -> tuple[Array, float]:
    """Return A at the nodes, and h."""
    x, w = legendre(count)
    h = half_width(weight, limit)
    onward = _kernel(h * x, h * x, weight, mean).T * (h * w)[None, :]
    lengths = np.linalg.solve(np.eye(count) - onward, np.ones(count))
    return np.asarray(lengths, dtype=np.float64), h


def _moving(weight: float, limit: float, mean: Mean, settling: bool, count: int) -> Length:
    x, w = legendre(count)
    h = half_width(weight, limit)
    survivors = Survivors(mean)
    standing = Steps(h * x / weight, (1 - weight) * h * x / weight)
    half = h * float(np.sqrt(1 - (1 - weight) ** 2)) if settling else h
    density = _kernel(half * x, np.zeros(1), weight, mean.at(1))[:, 0]
    survivors.add(float(half * np.sum(w * density)))
    sample = 1
    while not survivors.over:
        sample += 1
        unsettled = (1 - weight) ** (2 * sample) if settling else 0.0
        before, half = half, h * float(np.sqrt(1 - unsettled))
        shares = before * w * density
        if before == half == h:
            density = standing.onto(mean.at(sample), shares) / (weight * SQRT_2PI)
        else:
            density = _kernel(half * x, before * x, weight, mean.at(sample)) @ shares
        survivors.add(float(half * np.sum(w * density)))
        if mean.drift == 0 and unsettled < SETTLED:
            # Both stand from here on: the rest is the run length from where the charts are.
            lengths, _ = _from_states(weight, limit, mean.shift, count)
            return survivors.closed(float(half * np.sum(w * density * lengths)))
    return survivors.closed(0.0)
