r"""How sure is a test of equivalence to succeed, and how many wafers does it need?

Two one-sided t tests at level alpha (Schuirmann 1987) call a mean difference D within the margins L < D < U where

    (d - L)/(s sqrt(c/n)) >= t   and   (U - d)/(s sqrt(c/n)) >= t,   t = t_{1 - alpha, v},

with c = 1, v = n - 1 for one sample against a value and c = 2, v = 2 (n - 1) for two of n each. With x = s/sigma, where
v x^2 is chi-squared with v degrees of freedom, and e = sigma sqrt(c/n), the exact power is

    P = integral of max(0, Phi((U - D)/e - t x) - Phi((L - D)/e + t x)) f(x) dx,   x up to (U - L)/(2 t e).

The usual difference of two noncentral t probabilities is a lower bound of it, near it where the power is large.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

SOURCES = (
    "Two one-sided t tests of equivalence, Schuirmann 1987 (read as quoted in the help of an equivalence package)",
    "Exact power by integration over the chi distribution of s (read as quoted in the help of an equivalence package)",
)
Samples = Literal[1, 2]
MOST = 100_000
NODES = 400


@dataclass(frozen=True, slots=True)
class Need:
    """How many rows a sample needs, and the power with so many."""

    rows: int
    power: float


def equivalence_power(
    rows: int,
    sd: float,
    lower: float,
    upper: float,
    difference: float = 0.0,
    alpha: float = 0.05,
    samples: Samples = 2,
) -> float:
    """Return the exact power of a test of equivalence.

    Parameters
    ----------
    rows
        Of each sample, 2 or more.
    sd
        Standard deviation of one row.
    lower, upper
        Margins of the difference.
    difference
        True.
    alpha
        Level of each of the two tests.
    samples
        1 against a value, 2 against each other.

    Returns
    -------
    float
        Chance that the test shows equivalence.
    """
    degrees = samples * (rows - 1)
    return _power(degrees, sd * math.sqrt(samples / rows), lower - difference, upper - difference, alpha)


def _power(degrees: int, error: float, lower: float, upper: float, alpha: float) -> float:
    """Return the power for a standard error of the difference, margins about the true one."""
    from scipy.stats import chi, norm, t

    critical = float(t.ppf(1.0 - alpha, degrees))
    spread = 1.0 / math.sqrt(degrees)
    # Where s lies at all, and where the interval is narrow enough.
    low, high = (float(chi.ppf(q, degrees)) * spread for q in (1e-15, 1.0 - 1e-15))
    end = min(high, (upper - lower) / (2.0 * critical * error))
    if end <= low:
        low = 0.0
    nodes, weights = _nodes()
    x = low + 0.5 * (nodes + 1.0) * (end - low)
    inside = norm.cdf(upper / error - critical * x) - norm.cdf(lower / error + critical * x)
    density = chi.pdf(x / spread, degrees) / spread
    return float(min(max(0.5 * (end - low) * np.sum(weights * np.maximum(inside, 0.0) * density), 0.0), 1.0))


def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return nodes, weights


def equivalence_rows(
    sd: float,
    lower: float,
    upper: float,
    power: float = 0.9,
    difference: float = 0.0,
    alpha: float = 0.05,
    samples: Samples = 2,
) -> Need:
    """Return the fewest rows of each sample with which a test of equivalence has a power.

    Parameters
    ----------
    sd
        Standard deviation of one row, above 0.
    lower, upper
        Margins of the difference.
    power
        Wanted.
    difference
        True, within the margins.
    alpha
        Level of each of the two tests.
    samples
        1 against a value, 2 against each other.

    Returns
    -------
    Need
        Rows and power.

    Raises
    ------
    DataError
        For values that cannot be, and where a hundred thousand rows are too few.
    """
    check(alpha, power, lower, upper)
    if not 0 < sd < math.inf:
        raise DataError(refuse("standard deviation of a row", sd, "above 0"))
    if not lower < difference < upper:
        raise DataError(
            refuse(
                "true difference",
                difference,
                f"within the margins, {lower:g} to {upper:g}",
                "a part that differs by more is not equivalent, however many wafers are measured",
            )
        )

    def reached(rows: int) -> float:
        return equivalence_power(rows, sd, lower, upper, difference, alpha, samples)

    few, many = 1, 2
    while reached(many) < power:
        few, many = many, 2 * many
        if many > MOST:
            raise DataError(
                f"rows of a sample: more than {MOST} are needed: must be wider margins, less spread or less power"
            )
    while many - few > 1:
        middle = (few + many) // 2
        few, many = (few, middle) if reached(middle) >= power else (middle, many)
    return Need(many, reached(many))


def check(alpha: float, power: float, lower: float, upper: float) -> None:
    """Refuse a level, a power or margins that cannot be.

    Parameters
    ----------
    alpha, power
        Between 0 and 1.
    lower, upper
        Margins about 0.

    Raises
    ------
    DataError
        Naming which.
    """
    if not 1e-6 <= alpha <= 0.4:
        raise DataError(refuse("alpha", alpha, "from 1e-6 to 0.4", "0.05 is usual"))
    if not 0.01 <= power <= 0.9999:
        raise DataError(refuse("power of the test", power, "from 0.01 to 0.9999", "0.8 or 0.9 is usual"))
    if not (-math.inf < lower < 0 < upper < math.inf):
        raise DataError(refuse("margin", f"{lower:g} to {upper:g}", "from below 0 to above 0"))
