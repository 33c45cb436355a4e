"""Run lengths by going forward: the shares of charts still silent after each sample, until what is left is nothing."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.hold.run_length.mean import Length, Mean

Array = NDArray[np.float64]
SAFE = 500.0  # exponents beyond which factors could overflow

MOST_SAMPLES = 200_000
LEFT = 1e-11  # of the run length: what the samples after the last may add
MOST_KEPT = 400  # shares handed out


@lru_cache(maxsize=16)
def legendre(count: int) -> tuple[Array, Array]:
    """Return nodes and weights of Gauss-Legendre quadrature on -1 to 1.

    Parameters
    ----------
    count
        Of the nodes.

    Returns
    -------
    tuple
        Nodes and weights, each (count,).
    """
    x, w = np.polynomial.legendre.leggauss(count)
    return x, w


class Survivors:
    """Collects the share of charts without an alarm after each sample, from 1 before the first.

    It is over when what all later samples can add is less than ``LEFT`` of the sum: once the mean leaves the target for good
    the share lost at each sample only grows, so the rest is at most a geometric series of the last ratio.
    """

    def __init__(self, mean: Mean) -> None:
        self.mean = mean
        self.shares = [1.0]
        self.total = 1.0
        self.rest = 0.0
        self.over = False

    def add(self, share: float) -> None:
        """Take the share still silent after the next sample.

        Parameters
        ----------
        share
            Of all charts.

        Raises
        ------
        DataError
            Where so many samples do not end the run.
        """
        last = self.shares[-1]
        self.shares.append(share)
        if share <= 0 or last <= 0:
            self.over = True
            return
        ratio = share / last
        self.total += share
        if self.mean.leaves(len(self.shares)) and ratio < 1:
            self.rest = share * ratio / (1 - ratio)
            self.over = self.rest < LEFT * self.total
        if len(self.shares) > MOST_SAMPLES:
            raise DataError(
                f"drift = {self.mean.drift!r}: charts still run after {MOST_SAMPLES} samples: must be faster (or ask for "
                "the run length without drift)"
            )

    def closed(self, rest: float) -> Length:
        """Return the run length.

        Parameters
        ----------
        rest
            What comes after the samples added: the last share is in it instead of in the sum.

        Returns
        -------
        Length
            Its error what may still have come.
        """
        total = self.total - self.shares[-1] + rest if rest else self.total
        step = max(1, -(-len(self.shares) // MOST_KEPT))
        return Length(
            total, self.rest, tuple(self.shares[::step]) if step == 1 else tuple(self.shares[:MOST_KEPT])
        )


class Steps:
    """Normal densities of steps ``to - state - mean`` for one mean after another: (to,) x (state,).

    exp(-(d - m)^2/2) = exp(-d^2/2) exp(d m - m^2/2) and d = to - state, so that a new mean takes two vectors and no new
    matrix of exponentials.
    """

    def __init__(self, to: Array, state: Array) -> None:
        self.to, self.state = to, state
        self.away = to[:, None] - state[None, :]
        self.still: Array = np.exp(-0.5 * self.away * self.away)
        self.span = float(max(np.max(np.abs(to)), np.max(np.abs(state)), np.max(np.abs(self.away))))

    def onto(self, mean: float, shares: Array) -> Array:
        """Return the density at ``to`` of what starts as shares of the states.

        Parameters
        ----------
        mean
            Of the step.
        shares
            Of each state.

        Returns
        -------
        array
            (to,), without the factor 1/sqrt(2 pi).
        """
        if abs(mean) * self.span > SAFE or mean * mean > SAFE:
            away = self.away - mean
            direct: Array = np.exp(-0.5 * away * away) @ shares
            return direct
        scaled: Array = self.still @ (shares * np.exp(-self.state * mean))
        scaled *= np.exp(self.to * mean - 0.5 * mean * mean)
        return scaled
