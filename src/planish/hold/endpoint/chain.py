"""How often a cumulative sum calls though nothing happened, and how late it calls when something did.

A cumulative sum S' = max(0, S + z - k) of standardised values z calls above h. Its run length is worked out on a chain of
states of S (Brook & Evans). The baseline that standardises z is itself learned from m values, so z has an unknown mean
of variance 1/m and an unknown scale: the share of false calls is averaged over both.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse

SOURCES: tuple[str, ...] = (
    "Run length of a cumulative sum on a chain of states: Brook & Evans 1972, Biometrika 59, 539 (read as quoted in the "
    "surveillance documentation); averaged over the learned baseline: our own derivation",
)

Array = NDArray[np.float64]
STATES = 80
COARSE = 40  # where the run is averaged over the baseline
_MEANS, _SCALES = 9, 9  # nodes over the unknown mean and scale of the baseline
STEPS = 1500  # up to which the run is followed value by value
LEARNED = 300  # degrees of freedom of a scale that are counted; more would change nothing
LARGEST = 200.0  # of a threshold


def chain(threshold: float, k: float, shift: Array, scale: Array, states: int = STATES) -> Array:
    """Return the probabilities to go from state to state without a call.

    Parameters
    ----------
    threshold, k
        h and k, in standard deviations.
    shift, scale
        Mean and standard deviation of the values, (cases,).
    states
        Of the chain.

    Returns
    -------
    Array
        (cases, states, states), from row to column.
    """
    from scipy.special import ndtr

    width = 2.0 * threshold / (2 * states - 1)
    at = width * np.arange(states)
    upper = at[None, :] + 0.5 * width - at[:, None] + k
    steps = (upper[None] - shift[:, None, None]) / scale[:, None, None]
    below = ndtr(steps)
    found = np.diff(below, axis=2, prepend=0.0)
    found[:, :, 0] = below[:, :, 0]
    return np.asarray(found)


def mean_run(threshold: float, k: float, shift: float, states: int = STATES) -> float:
    """Return after how many values a sum that starts at 0 calls, on average.

    Parameters
    ----------
    threshold, k
        h and k, in standard deviations.
    shift
        Mean of the values; 0 where nothing happens.
    states
        Of the chain.

    Returns
    -------
    float
        The average run length.
    """
    moves = chain(threshold, k, np.array([shift]), np.ones(1), states)[0]
    return float(np.linalg.solve(np.eye(states) - moves, np.ones(states))[0])


def false_share(threshold: float, k: float, values: int, learned: int) -> float:
    """Return the share of traces on which a sum calls though nothing happens.

    Parameters
    ----------
    threshold, k
        h and k, in standard deviations of the learned baseline.
    values
        That are watched.
    learned
        Values from which mean and standard deviation were learned.

    Returns
    -------
    float
        0 to 1.
    """
    from scipy.special import roots_genlaguerre

    nodes, weights = np.polynomial.hermite_e.hermegauss(_MEANS)
    free = min(learned - 1, LEARNED)
    # (learned over true)^2 times the degrees of freedom is chi-squared: Gauss and Laguerre's nodes for it.
    halves, shares = roots_genlaguerre(_SCALES, 0.5 * free - 1.0)
    scales = np.sqrt(free / (2.0 * halves))
    shift = (nodes[:, None] * scales / np.sqrt(learned)).ravel()
    scale = np.broadcast_to(scales, (_MEANS, _SCALES)).ravel()
    moves = chain(threshold, k, shift, scale, COARSE)
    left = np.zeros((shift.size, 1, COARSE))
    left[:, 0, 0] = 1.0
    if values <= STEPS:
        for _ in range(values):
            left = left @ moves
    else:  # by squares of the chain
        rest = values
        while rest:
            if rest & 1:
                left = left @ moves
            rest >>= 1
            moves = moves @ moves if rest else moves
    share = np.outer(weights / weights.sum(), shares / shares.sum()).ravel()
    return float(1.0 - share @ left[:, 0].sum(axis=1))


@lru_cache(maxsize=256)
def threshold_for(k: float, values: int, learned: int, share: float) -> float:
    """Return the threshold at which a given share of traces has a false call.

    Parameters
    ----------
    k
        Of the sum, in standard deviations.
    values, learned
        As for :func:`false_share`.
    share
        That is allowed.

    Returns
    -------
    float
        h, in standard deviations.

    Raises
    ------
    ModelError
        Where no threshold keeps so low a share.
    """
    low, high = 0.25, 4.0
    below, above = 1.0, false_share(high, k, values, learned)
    while above > share:
        low, below = high, above
        high *= 1.5
        if high > LARGEST:
            raise ModelError(
                refuse(
                    "false alarms",
                    f"{100 * share:g} %",
                    "more, or a longer baseline",
                    "it is too short to tell so few",
                )
            )
        above = false_share(high, k, values, learned)
    # The logarithm of the share falls nearly in a line: the false position on it.
    for _ in range(40):
        if high - low < 5e-3 * high or above > 0.98 * share:
            break
        slope = (np.log(max(above, 1e-300)) - np.log(below)) / (high - low)
        guess = low + (np.log(0.99 * share) - np.log(below)) / slope
        middle = float(np.clip(guess, low + 0.02 * (high - low), high - 0.02 * (high - low)))
        found = false_share(middle, k, values, learned)
        if found > share:
            low, below = middle, found
        else:
            high, above = middle, found
    return high
