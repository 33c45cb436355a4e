"""How wide a band must be, from errors on wafers that the model did not know."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Papadopoulos, Gammerman & Vovk 2008: bands from errors in units of the expected spread (read as quoted in "
    "the nonconformity scorers of a conformal library)",
)

COVERAGE = 0.95  # of the band
#: From so many errors on, their own quantile is taken; below, a normal spread is estimated from them.
ENOUGH = 60
#: Before any error is known, the spread is taken as this times what the model says, as if from so many errors.
DOUBT, DOUBT_WEIGHT = 1.5, 10.0


def band_factor(scores: Array) -> float:
    """Return the half width of the band in units of the spread.

    Parameters
    ----------
    scores
        Errors of wafers not known, in units of their spread and without sign, (wafers,).

    Returns
    -------
    float
        [1].
    """
    place = min(int(np.ceil(COVERAGE * (len(scores) + 1))), len(scores))
    return float(np.sort(scores)[place - 1])


def cautious_factor(scores: Array) -> float:
    """Return the half width of the band in units of the spread, however few errors are known.

    Parameters
    ----------
    scores
        As for :func:`band_factor`, from none on.

    Returns
    -------
    float
        [1]: the errors' own quantile where they are ``ENOUGH``, else that of Student's t for their root mean square,
        to which ``DOUBT`` counts as ``DOUBT_WEIGHT`` errors more.
    """
    from scipy.stats import t

    if len(scores) >= ENOUGH:
        return band_factor(scores)
    many = len(scores) + DOUBT_WEIGHT
    size = np.sqrt((np.sum(scores**2) + DOUBT_WEIGHT * DOUBT**2) / many)
    return float(t.ppf(0.5 + COVERAGE / 2, many) * size)
