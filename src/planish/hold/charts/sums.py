"""The tabular CUSUM of single values, upwards and downwards.

C+_t = max(0, C+_(t-1) + x_t - centre - k sigma), C-_t likewise downwards; an alarm beyond h sigma
(NIST/SEMATECH e-Handbook, 6.3.2.3). The sums are not set back by an alarm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.hold.charts.estimate import from_single
from planish.hold.charts.options import Options
from planish.hold.charts.part import Panel, Part, level

Array = NDArray[np.float64]
ABOVE = "sum of rises beyond its limit"
BELOW = "sum of falls beyond its limit"


def sums(values: Array, options: Options, what: str) -> Part:
    """Return one phase of a CUSUM chart.

    Parameters
    ----------
    values
        (points,).
    options
        Of the chart.
    what
        The phase, for refusals.

    Returns
    -------
    Part
        The sums in the unit of the values, the one of falls drawn downwards.

    Raises
    ------
    DataError
        Where no limits can be taken from the values.
    """
    design = options.design
    assert design is not None
    assert design.reference is not None
    found = from_single(values[: options.baseline], options.centre, options.sigma, what)
    z = (values - found.centre) / found.sigma
    start = design.head_start * design.limit
    above, below = (cumulated(side * z, design.reference, start) for side in (1.0, -1.0))
    if design.one_sided:
        below = np.zeros_like(below)
    reach = design.limit * found.sigma
    met = ((ABOVE, above > design.limit), (BELOW, below > design.limit))
    lines = np.vstack([above, 0.0 - below]) * found.sigma
    count = values.size
    panel = Panel("cumulated sum", lines, level(0.0, count), level(-reach, count), level(reach, count), met)
    return Part((panel,), z, found.centre, found.sigma, -reach, reach, found.points, None, found.sigma)


def cumulated(z: Array, reference: float, start: float) -> Array:
    """Return s_t = max(0, s_(t-1) + z_t - reference).

    Parameters
    ----------
    z
        (points,).
    reference, start
        k, and s before the first point.

    Returns
    -------
    array
        (points,).
    """
    total = start + np.cumsum(z - reference)
    # s_t is the total less its lowest so far, where that has been below 0.
    lowest = np.minimum(0.0, np.minimum.accumulate(total))
    return np.asarray(total - lowest)
