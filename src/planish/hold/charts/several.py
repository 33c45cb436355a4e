r"""Several columns judged together: Hotelling's T squared of single rows.

T^2 = (x - m)' S^-1 (x - m), m and S mean and covariance of the n rows that limits are taken from. These rows themselves
follow (n - 1)^2/n Beta(p/2, (n - p - 1)/2) (Tracy, Young & Mason 1992, read as quoted in a statistics package's
documentation); rows to come p (n + 1)(n - 1)/(n (n - p)) F(p, n - p) (NIST/SEMATECH e-Handbook, 6.5.4.3.4, itself). An alarm is told by what the
row adds in each column given the others: T^2 less the T^2 without that column.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, fdtri

from planish.errors import DataError, refuse
from planish.hold.charts.options import Options
from planish.hold.charts.part import BEYOND, Panel, Part

Array = NDArray[np.float64]
LEAST_EIGENVALUE = 1e-10  # of the correlations: below it columns say the same


def several(values: Array, names: Sequence[str], options: Options, what: str) -> tuple[Part, Array]:
    """Return one phase of a T squared chart.

    Parameters
    ----------
    values
        (rows, columns).
    names
        Of the columns.
    options
        Of the chart.
    what
        The phase, for refusals.

    Returns
    -------
    tuple
        The part, and what each row is off in each column given the others [standard deviations], (rows, columns).

    Raises
    ------
    DataError
        For too few rows, a column that does not scatter, and columns that say the same.
    """
    count, width = values.shape
    base = values[: options.baseline]
    rows = base.shape[0]
    if width < 2:
        raise DataError(refuse("value", list(names), "two columns or more for the chart 't2'"))
    if rows < width + 2:
        raise DataError(
            f"{what}: {rows} rows for {width} columns: must be at least {width + 2} to take limits from (take fewer columns)"
        )
    centre = base.mean(axis=0)
    spread = base.std(axis=0, ddof=1)
    for at, name in enumerate(names):
        if spread[at] <= 1e-13 * max(float(np.max(np.abs(base[:, at]))), 1e-300):
            raise DataError(
                f"{what}: column {name[:40]!r}: all values are the same: must scatter (leave it out)"
            )
    scaled = (values - centre) / spread
    correlation = np.corrcoef(base, rowvar=False)
    least, direction = (part[..., 0] for part in np.linalg.eigh(correlation))
    if least < LEAST_EIGENVALUE:
        alike = [name[:40] for name, part in zip(names, direction, strict=True) if abs(part) > 0.1]
        raise DataError(
            f"{what}: columns {', '.join(repr(name) for name in alike)} say the same: none may follow from the others "
            "(leave one out)"
        )
    precision = np.linalg.inv(correlation)
    onto = scaled @ precision
    statistic = np.einsum("ij,ij->i", onto, scaled)
    given_others = onto / np.sqrt(np.diag(precision))
    own = float((rows - 1) ** 2 / rows * betaincinv(width / 2, (rows - width - 1) / 2, 1 - options.alpha))
    factor = width * (rows + 1) * (rows - 1) / (rows * (rows - width))
    later = float(factor * fdtri(width, rows - width, 1 - options.alpha))
    upper = np.where(np.arange(count) < rows, own, later)
    ahead = rows - width
    expected = np.where(
        np.arange(count) < rows,
        width * (rows - 1) / rows,
        factor * ahead / (ahead - 2) if ahead > 2 else np.nan,
    )
    met = ((BEYOND, statistic > upper),)
    panel = Panel("T squared", statistic[None, :], expected, np.zeros(count), upper, met)
    middle = float(expected[-1])
    return Part((panel,), statistic, middle, float("nan"), 0.0, float(upper[-1]), rows), given_others
