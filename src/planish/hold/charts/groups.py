"""Means and standard deviations of groups.

Limits centre +- L sigma/sqrt(n) with sigma the mean of s/c4 over the groups, and c4 sigma +- 3 sigma sqrt(1 - c4^2) for the
standard deviations (NIST/SEMATECH e-Handbook, 6.3.2.1); groups of different sizes have limits of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.hold.charts.estimate import Estimate, widened
from planish.hold.charts.options import Options
from planish.hold.charts.part import BEYOND, Panel, Part, level
from planish.hold.constants import c4, freedom_of

Array = NDArray[np.float64]
SPREAD = "spread above its limit"
NARROW = "spread below its limit"


@dataclass(frozen=True, slots=True)
class Within:
    """Means, standard deviations, sizes and c4 of groups (groups,); the spread within, and its degrees of freedom."""

    means: Array
    spreads: Array
    sizes: NDArray[np.int64]
    factor: Array
    sigma: float
    freedom: float


def within_groups(
    values: Array,
    groups: NDArray[np.int64],
    called: list[str],
    what: str,
    baseline: int | None = None,
    known: float | None = None,
) -> Within:
    """Return the spread within groups: the mean of s/c4.

    Parameters
    ----------
    values, groups
        (rows,), and which group each is of, from 0.
    called, what
        Groups and rows, for refusals.
    baseline
        Groups that it is taken from, the first ones; all unless given.
    known
        The spread, where it is known.

    Returns
    -------
    Within
        With the groups' own figures.

    Raises
    ------
    DataError
        For a group of one row, and groups without any spread.
    """
    sizes = np.bincount(groups)
    if np.any(sizes < 2):
        alone = called[int(np.argmax(sizes < 2))]
        raise DataError(
            f"{what}: group {alone[:40]!r} has 1 row: must have two or more (take the chart individuals for single rows)"
        )
    means = np.bincount(groups, values) / sizes
    spreads = np.sqrt(np.bincount(groups, (values - means[groups]) ** 2) / (sizes - 1))
    factor = np.array([c4(int(size)) for size in sizes])
    if known is not None:
        return Within(means, spreads, sizes, factor, known, np.inf)
    base = slice(baseline)
    sigma = float(np.mean(spreads[base] / factor[base]))
    if sigma <= 1e-13 * max(float(np.max(np.abs(values))), 1e-300):
        raise DataError(f"{what}: no group scatters: must, to take limits from (or give sigma)")
    relative = float(np.sum((1 - factor[base] ** 2) / factor[base] ** 2)) / means[base].size ** 2
    return Within(means, spreads, sizes, factor, sigma, float(freedom_of(relative)))


def group_means(
    values: Array, groups: NDArray[np.int64], called: list[str], options: Options, what: str
) -> Part:
    """Return one phase of a chart of means and standard deviations of groups.

    Parameters
    ----------
    values
        (rows,).
    groups
        Which group each row is of, from 0 (rows,).
    called
        The groups, for refusals.
    options
        Of the chart; the baseline counts groups.
    what
        The phase, for refusals.

    Returns
    -------
    Part
        A point a group.

    Raises
    ------
    DataError
        For a group of one row, and groups without any spread.
    """
    spread = within_groups(values, groups, called, what, options.baseline, known=options.sigma)
    means, spreads, sizes, factor = spread.means, spread.spreads, spread.sizes, spread.factor
    sigma, freedom = spread.sigma, spread.freedom
    base = slice(options.baseline)
    points = int(means[base].size)
    centre = options.centre
    if centre is None:
        centre = float(np.sum(means[base] * sizes[base]) / np.sum(sizes[base]))
    else:
        points = 0
    wide = widened(Estimate(centre, sigma, float(freedom), points), options.limit)
    errors = sigma / np.sqrt(sizes)
    reach = (wide if options.widen else options.limit) * errors
    z = (means - centre) / errors
    met = [(BEYOND, np.abs(means - centre) > reach), *((rule.name, rule.found(z)) for rule in options.rules)]
    middle, width = factor * sigma, 3 * sigma * np.sqrt(1 - factor**2)
    low = np.maximum(0.0, middle - width)
    panels = (
        Panel("mean", means[None, :], level(centre, means.size), centre - reach, centre + reach, tuple(met)),
        Panel(
            "standard deviation",
            spreads[None, :],
            middle,
            low,
            middle + width,
            ((SPREAD, spreads > middle + width), (NARROW, spreads < low)),
        ),
    )
    last = float(errors[-1])
    span = (centre - wide * last, centre + wide * last)
    return Part(
        panels,
        z,
        centre,
        sigma,
        centre - float(reach[-1]),
        centre + float(reach[-1]),
        points,
        span if points else None,
        last,
    )
