r"""How likely is a change of known shape and unknown size? The closed form, for many shapes at once.

What was measured, whitened and in one column y (N,), is taken as

    y = V n + a m + e,   e ~ N(0, 1), n ~ N(0, 1), a ~ N(0, t^2)

with nuisances V (N, k) that change anyway and a shape m. With P = (1 + V V')^-1, A = m'P m and b = m'P y,

    ln [ p(y | m) / p(y | no change) ] = t^2 b^2 / (2 (1 + t^2 A)) - ln(1 + t^2 A) / 2

and a is normal about t^2 b / (1 + t^2 A) with the variance t^2 / (1 + t^2 A). A size that can only be above 0 has twice that
density there: its ratio gains ln 2 Phi(mean/sd). (Standard result of the normal linear model; the tests hold it against the
densities of scipy.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """What the data say of each shape (K,).

    Attributes
    ----------
    ratio
        Logarithm of its likelihood over that of no change, its size averaged over.
    mean, sd
        Of its size.
    strength
        A: the square of how many standard deviations a size of 1 moves the data.
    """

    ratio: Array
    mean: Array
    sd: Array
    strength: Array


class Nuisance:
    """What changes anyway, marginalised: P = (1 + V V')^-1 without forming it."""

    def __init__(self, columns: Array) -> None:
        from scipy.linalg import cho_factor

        self.columns = columns
        self.factor = cho_factor(np.eye(columns.shape[1]) + columns.T @ columns)

    def weighed(self, shapes: Array) -> Array:
        """Return P times columns.

        Parameters
        ----------
        shapes
            (N,) or (N, K).

        Returns
        -------
        Array
            Of the same shape.
        """
        from scipy.linalg import cho_solve

        return np.asarray(shapes - self.columns @ cho_solve(self.factor, self.columns.T @ shapes))

    def misfit(self, y: Array) -> float:
        """Return y'P y: chi-squared of N degrees of freedom where nothing else changed.

        Parameters
        ----------
        y
            (N,), whitened.
        """
        return float(y @ self.weighed(y))

    def angle(self, one: Array, other: Array) -> float:
        """Return the angle [rad], 0 to a right one, between two shapes as the data see them.

        Parameters
        ----------
        one, other
            (N,), whitened.
        """
        mine = self.weighed(one)
        size = float(one @ mine) * float(other @ self.weighed(other))
        return float(np.arccos(min(1.0, abs(float(other @ mine)) / np.sqrt(size)))) if size > 0 else 0.0


def weigh(
    y: Array, shapes: Array, spread: Array, one_sided: NDArray[np.bool_], nuisance: Nuisance
) -> Weighed:
    """Weigh shapes of change against no change.

    Parameters
    ----------
    y
        (N,), whitened.
    shapes
        (N, K), whitened: what a size of 1 does.
    spread
        (K,): standard deviation t of each size before the data.
    one_sided
        (K,): whether a size can only be above 0.
    nuisance
        What changes anyway.

    Returns
    -------
    Weighed
        Ratio and size of each.
    """
    from scipy.stats import norm

    seen = nuisance.weighed(shapes)
    strength = np.maximum(np.einsum("ij,ij->j", shapes, seen), 0.0)
    pull = seen.T @ y
    variance = spread**2 / (1.0 + spread**2 * strength)
    mean, sd = variance * pull, np.sqrt(variance)
    ratio = 0.5 * mean * pull - 0.5 * np.log1p(spread**2 * strength)
    far = mean / sd
    tail = norm.logcdf(far)
    ratio = np.where(one_sided, ratio + np.log(2.0) + tail, ratio)
    # mean and spread of what is left of the normal above 0
    hazard = np.exp(norm.logpdf(far) - tail)
    kept = np.maximum(1.0 - hazard * (far + hazard), 1e-6)
    return Weighed(
        ratio,
        np.where(one_sided, mean + sd * hazard, mean),
        np.where(one_sided, sd * np.sqrt(kept), sd),
        strength,
    )
