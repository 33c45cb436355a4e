"""Factors of control charts, from their definitions and not from a table.

c4(n) is the mean of the sample standard deviation of n normal values over their standard deviation,
sqrt(2/(n - 1)) Gamma(n/2)/Gamma((n - 1)/2); d2 = 2/sqrt(pi) is the mean of the range of two, and D4 = 1 + 3 d3/d2 with
d3^2 = 2 - 4/pi where the limit of that range stands, over its mean.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import gammaln

from planish.errors import DataError, refuse

MOST = 1_000_000
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
