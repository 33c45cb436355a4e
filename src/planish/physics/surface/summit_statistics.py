"""Summit statistics of a measured pad: from a list of summit heights or from a profile.

Turns what a profiler or confocal microscope wrote (arrays of heights [m],
positions [m]) into the numbers and height tables that ``asperities`` takes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Tail length as the maximum-likelihood mean excess over a threshold: textbook exponential sample",
    "Summit density from profile peaks, density = 1.2 (peaks per length)^2 for isotropic Gaussian surfaces:"
    " Nayak 1971, J. Lubr. Technol. 93, 398 (from memory)",
)


def height_table(heights: ArrayLike, bins: int = 400) -> tuple[Array, Array]:
    """Return the bins of measured summit heights.

    Parameters
    ----------
    heights
        [m], (n,).
    bins
        How many.

    Returns
    -------
    tuple[Array, Array]
        Edges (bins+1,) [m] and probability (bins,).

    Raises
    ------
    DataError
        Where there are too few heights, or they are not finite or all the same.

    Notes
    -----
    A smoothed histogram would invent summits; this one only counts. Heights are taken from their mean, as
    the parametric distributions are from their body.
    """
    z = _heights(heights)
    z = z - z.mean()
    spread = float(z.max() - z.min())
    if not spread > 0:
        raise DataError(refuse("spread of the summit heights [m]", spread, "above 0"))
    edges = np.linspace(z.min() - 0.01 * spread, z.max() + 0.01 * spread, bins + 1)
    counts, _ = np.histogram(z, edges)
    return edges, counts / z.size


def _heights(heights: ArrayLike) -> Array:
    z = np.asarray(heights, dtype=np.float64).ravel()
    if z.size < 30:
        raise DataError(refuse("number of summit heights", z.size, "30 or more"))
    if not np.all(np.isfinite(z)):
        raise DataError("summit heights: hold values that are not numbers: remove them first")
    return z
