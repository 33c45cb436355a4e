"""Summit statistics of a measured pad: from a list of summit heights or from a profile.

Turns what a profiler or confocal microscope wrote (arrays of heights [m],
positions [m]) into the numbers and height tables that ``asperities`` takes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Tail length as the maximum-likelihood mean excess over a threshold: textbook exponential sample",
    "Summit density from profile peaks, density = 1.2 (peaks per length)^2 for isotropic Gaussian surfaces:"
    " Nayak 1971, J. Lubr. Technol. 93, 398 (from memory)",
)


@dataclass(frozen=True, slots=True)
class SummitStatistics:
    """What a measured height list says.

    ``mean`` and ``height_sd`` [m] of all summits; ``tail_length`` [m] and its
    standard error ``tail_length_se`` [m] from the ``tail_count`` summits above
    ``threshold`` [m].
    """

    count: int
    mean: float
    height_sd: float
    tail_length: float
    tail_length_se: float
    tail_count: int
    threshold: float


def summit_statistics(heights: ArrayLike, tail_share: float = 0.1) -> SummitStatistics:
    """Return the statistics of summit ``heights`` (n,) [m]; the top ``tail_share`` of them count as the tail.

    The mean excess over a threshold is the maximum-likelihood decay length of
    an exponential tail; its standard error is length/sqrt(count). Raises
    DataError below 30 summits or 10 in the tail: too few to tell.
    """
    z = _heights(heights)
    if not 0 < tail_share < 1:
        raise DataError(refuse("tail_share", tail_share, "between 0 and 1"))
    threshold = float(np.quantile(z, 1.0 - tail_share))
    excess = z[z > threshold] - threshold
    if excess.size < 10:
        raise DataError(
            refuse("summits in the tail", excess.size, "10 or more", "measure more, or raise tail_share")
        )
    length = float(excess.mean())
    return SummitStatistics(
        count=z.size,
        mean=float(z.mean()),
        height_sd=float(z.std(ddof=1)),
        tail_length=length,
        tail_length_se=length / float(np.sqrt(excess.size)),
        tail_count=int(excess.size),
        threshold=threshold,
    )


def height_table(heights: ArrayLike, bins: int = 400) -> tuple[Array, Array]:
    """Return (edges (bins+1,) [m], probability (bins,)) of measured summit ``heights`` (n,) [m].

    A smoothed histogram would invent summits; this one only counts. Heights
    are taken from their mean, as the parametric distributions are from their body.
    """
    z = _heights(heights)
    z = z - z.mean()
    spread = float(z.max() - z.min())
    if not spread > 0:
        raise DataError(refuse("spread of the summit heights [m]", spread, "above 0"))
    edges = np.linspace(z.min() - 0.01 * spread, z.max() + 0.01 * spread, bins + 1)
    counts, _ = np.histogram(z, edges)
    return edges, counts / z.size


def profile_summits(position: ArrayLike, height: ArrayLike) -> tuple[Array, float, float]:
    """Return (summit heights [m], summit density [1/m^2], mean tip radius [m]) of one measured profile.

    ``position`` [m] evenly spaced and increasing, ``height`` [m], both (n,). A
    summit is a point above both neighbours; its radius is 1/curvature from the
    three points. A profile meets a summit beside its top, so the heights are a
    little low and the radii a little off: a map is better where there is one.
    """
    x, z = np.asarray(position, dtype=np.float64), np.asarray(height, dtype=np.float64)
    if x.ndim != 1 or x.shape != z.shape or x.size < 5:
        raise DataError(refuse("profile shape", (x.shape, z.shape), "two equally long lists of 5 or more"))
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(z))):
        raise DataError("profile: holds values that are not numbers: remove or fill them first")
    step = np.diff(x)
    if np.any(step <= 0) or np.ptp(step) > 1e-3 * abs(step.mean()):
        raise DataError(
            refuse("profile positions", "uneven or falling", "evenly spaced and increasing", "resample it")
        )
    dx = float(step.mean())
    top = (z[1:-1] > z[:-2]) & (z[1:-1] > z[2:])
    if np.count_nonzero(top) < 3:
        raise DataError(
            refuse("summits in the profile", int(np.count_nonzero(top)), "3 or more", "measure a longer one")
        )
    curvature = -(z[:-2] - 2.0 * z[1:-1] + z[2:])[top] / dx**2
    per_length = np.count_nonzero(top) / float(x[-1] - x[0])
    return z[1:-1][top], 1.2 * per_length**2, float(1.0 / curvature.mean())


def _heights(heights: ArrayLike) -> Array:
    z = np.asarray(heights, dtype=np.float64).ravel()
    if z.size < 30:
        raise DataError(refuse("number of summit heights", z.size, "30 or more"))
    if not np.all(np.isfinite(z)):
        raise DataError("summit heights: hold values that are not numbers: remove them first")
    return z
