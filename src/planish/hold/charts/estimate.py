"""Centre and spread of a process from the rows that limits are taken from, and how far their own doubt widens limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtrit

from planish.engine.record import counted
from planish.errors import DataError
from planish.hold.constants import D2_OF_TWO, mean_of_chi, moving_range_freedom

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """Centre and standard deviation; degrees of freedom of the latter, and points behind the former (0: known)."""

    centre: float
    sigma: float
    freedom: float
    points: int


def from_single(values: Array, centre: float | None, sigma: float | None, what: str) -> Estimate:
    """Return centre and spread of single values: their mean, and their mean moving range over d2.

    Parameters
    ----------
    values
        In their order (points,).
    centre, sigma
        Where they are known.
    what
        For the refusal.

    Returns
    -------
    Estimate
        Given values in the place of estimated ones.

    Raises
    ------
    DataError
        For too few values, and values that are all the same.
    """
    need = 1 if sigma is not None else 2
    if (centre is None and values.size < 2) or values.size < need:
        raise DataError(
            f"{what}: {counted(values.size, 'row')}: must be two or more to take limits from (or give centre and sigma)"
        )
    spread, freedom = sigma, np.inf
    if spread is None:
        spread = float(np.mean(np.abs(np.diff(values)))) / D2_OF_TWO
        freedom = moving_range_freedom(values.size)
        # Digits that cancel leave ranges of some units in the last place, which are no spread.
        if spread <= 1e-13 * max(float(np.max(np.abs(values))), 1e-300):
            raise DataError(
                f"{what}: all {values.size} values are the same: must scatter to take limits from (or give sigma)"
            )
    middle = float(np.mean(values)) if centre is None else centre
    return Estimate(middle, spread, float(freedom), 0 if centre is not None else int(values.size))


def widened(estimate: Estimate, limit: float, of_centre: float = 1.0) -> float:
    r"""Return where limits stand, in estimated standard deviations, that a point to come passes as rarely as it should.

    Parameters
    ----------
    estimate
        Centre and spread.
    limit
        In true standard deviations.
    of_centre
        Variance of the estimated centre times its number of points, over the variance of a point.

    Returns
    -------
    float
        t c4 sqrt(1 + of_centre/points), t the quantile of Student's distribution of the spread's degrees of freedom at
        the chance of ``limit``: exact for an independent chi-distributed spread, on the safe side for a mean moving range.
    """
    own = of_centre / estimate.points if estimate.points else 0.0
    if not np.isfinite(estimate.freedom):
        return float(limit * np.sqrt(1 + own))
    quantile = float(-stdtrit(estimate.freedom, ndtr(-limit)))
    return float(quantile * mean_of_chi(estimate.freedom) * np.sqrt(1 + own))
