"""Mean, spread and the two usual non-uniformities of a wafer, and of a lot.

Within-wafer non-uniformity is quoted in two ways that differ by a factor of
several; here each has its own name and they are always given together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Within-wafer non-uniformity as 100 s/mean and as 100 (max - min)/(2 mean): common practice, no source",
)


@dataclass(frozen=True, slots=True)
class WaferStatistics:
    """Figures of one wafer in the unit of its values.

    No site is weighted by the area it stands for, as is usual for gauges.

    Attributes
    ----------
    sites
        How many.
    mean
        Over the sites.
    sigma
        Sample standard deviation (divisor n - 1).
    minimum, maximum
        Over the sites.
    wiwnu_sigma_percent, wiwnu_range_percent
        The two non-uniformities [%].
    """

    sites: int
    mean: float
    sigma: float
    minimum: float
    maximum: float
    wiwnu_sigma_percent: float
    wiwnu_range_percent: float


def wafer_statistics(values: Array | Sequence[float]) -> WaferStatistics:
    """Return mean, sample standard deviation and both non-uniformities of site values.

    Parameters
    ----------
    values
        Of the sites, (sites,).

    Returns
    -------
    WaferStatistics
        In the unit of the values, and [%].

    Raises
    ------
    DataError
        If there are fewer than two sites, a value is not finite, or the mean
        is not above zero (a percentage of it would mean nothing).
    """
    v = np.asarray(values, dtype=np.float64)
    if v.ndim != 1 or v.size < 2:
        raise DataError(f"a wafer's non-uniformity needs two sites or more, not {v.size}")
    if not np.all(np.isfinite(v)):
        raise DataError("a wafer's statistics need finite values (leave out sites that were not measured)")
    mean = float(v.mean())
    if mean <= 0:
        raise DataError(
            f"the mean over the sites is {mean:.6g}: must be above zero for a non-uniformity in percent "
            "(are the files before and after the polish the wrong way round?)"
        )
    sigma, low, high = float(v.std(ddof=1)), float(v.min()), float(v.max())
    return WaferStatistics(
        v.size, mean, sigma, low, high, 100 * sigma / mean, 100 * (high - low) / (2 * mean)
    )
