"""Factors of control charts, from their definitions and not from a table.

c4(n) is the mean of the sample standard deviation of n normal values over their standard deviation,
sqrt(2/(n - 1)) Gamma(n/2)/Gamma((n - 1)/2); d2(n) and d3(n) are mean and standard deviation of their range.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import gammaln, ndtr

from planish.errors import DataError, refuse

MOST = 1_000_000
MOST_RANGE = 100  # of values whose range is taken
D2_OF_TWO = float(2 / np.sqrt(np.pi))
D4_OF_TWO = float(1 + 3 * np.sqrt(np.pi / 2 - 1))


@lru_cache(maxsize=256)
def c4(count: int) -> float:
    """Return the mean of a sample standard deviation over the true one.

    Parameters
    ----------
    count
        Values, 2 or more.

    Returns
    -------
    float
        Below 1.

    Raises
    ------
    DataError
        For fewer.
    """
    if not 2 <= count <= MOST:
        raise DataError(refuse("values in a group", count, f"2 to {MOST}"))
    return float(np.sqrt(2 / (count - 1)) * np.exp(gammaln(count / 2) - gammaln((count - 1) / 2)))


@lru_cache(maxsize=128)
def range_factors(count: int) -> tuple[float, float]:
    """Return d2 and d3: mean and standard deviation of the range of normal values.

    Parameters
    ----------
    count
        Values, 2 to 100.

    Returns
    -------
    tuple
        d2 and d3 [standard deviations].

    Notes
    -----
    d2 = int 1 - (1 - Phi)^n - Phi^n; the mean square is twice the integral over x < y of
    1 - Phi(y)^n - (1 - Phi(x))^n + (Phi(y) - Phi(x))^n. Simpson's rule on -8.5 to 8.5.

    Raises
    ------
    DataError
        For another number of values.
    """
    if not 2 <= count <= MOST_RANGE:
        raise DataError(refuse("values in a group", count, f"2 to {MOST_RANGE}"))
    x, w = np.polynomial.legendre.leggauss(400)
    x, w = 8.5 * x, 8.5 * w
    below = ndtr(x)
    d2 = float(np.sum(w * (1 - (1 - below) ** count - below**count)))
    # For each y the inner integral over x from -8.5 to y, on nodes of its own.
    inner = 0.5 * (x[:, None] + 8.5) * (x[None, :] / 8.5 + 1) - 8.5
    weights = 0.5 * (x[:, None] + 8.5) * (w[None, :] / 8.5)
    low, high = ndtr(inner), below[:, None]
    square = 2 * np.sum(w[:, None] * weights * (1 - high**count - (1 - low) ** count + (high - low) ** count))
    return d2, float(np.sqrt(square - d2 * d2))


def spread_factors(count: int) -> tuple[float, float, float]:
    """Return A3, B3 and B4: limits of means and of standard deviations of groups, by their mean standard deviation.

    Parameters
    ----------
    count
        Values in a group.

    Returns
    -------
    tuple
        A3, B3 and B4.
    """
    factor = c4(count)
    wide = 3 * float(np.sqrt(1 - factor * factor)) / factor
    return 3 / (factor * float(np.sqrt(count))), max(0.0, 1 - wide), 1 + wide


@lru_cache(maxsize=256)
def moving_range_freedom(count: int) -> float:
    """Return the degrees of freedom that the mean moving range of single values is worth.

    Parameters
    ----------
    count
        Values.

    Returns
    -------
    float
        Of the standard deviation of as many degrees of freedom that has the same relative variance.

    Notes
    -----
    With m = count - 1 ranges, each of mean 2/sqrt(pi) and variance 2 - 4/pi, neighbours of covariance
    E|a||b| - 4/pi, E|a||b| = 2 (2/pi) (sqrt(1 - r^2) + r asin r) for two differences of correlation r = -1/2; others are
    independent.
    """
    ranges = count - 1
    mean = 2 / np.sqrt(np.pi)
    own = 2 - mean**2
    r = -0.5
    cross = 2 * (2 / np.pi) * (np.sqrt(1 - r * r) + r * np.arcsin(r)) - mean**2
    relative = (ranges * own + 2 * (ranges - 1) * cross) / (ranges * mean) ** 2
    return freedom_of(float(relative))


def freedom_of(relative: float) -> float:
    """Return the degrees of freedom of a standard deviation that scatters so much.

    Parameters
    ----------
    relative
        Its variance over the square of its mean.

    Returns
    -------
    float
        As (1 - c4^2)/c4^2 says, with c4 of that many degrees of freedom and one.
    """
    low, high = 1e-3, 1e9
    for _ in range(200):
        middle = float(np.sqrt(low * high))
        if _relative(middle) > relative:
            low = middle
        else:
            high = middle
    return float(np.sqrt(low * high))


def mean_of_chi(freedom: float) -> float:
    """Return c4 for any number of degrees of freedom.

    Parameters
    ----------
    freedom
        Above 0.

    Returns
    -------
    float
        Mean of the standard deviation over the true one.
    """
    return float(np.sqrt(2 / freedom) * np.exp(gammaln((freedom + 1) / 2) - gammaln(freedom / 2)))


def _relative(freedom: float) -> float:
    mean = mean_of_chi(freedom)
    return 1 / mean**2 - 1
