"""Single values and their moving ranges.

Limits centre +- L mean moving range/d2, and 0 to D4 mean moving range for the ranges (NIST/SEMATECH e-Handbook, 6.3.2.2).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.hold.charts.estimate import from_single, widened
from planish.hold.charts.options import Options
from planish.hold.charts.part import BEYOND, Panel, Part, level
from planish.hold.constants import D2_OF_TWO, D4_OF_TWO

Array = NDArray[np.float64]
RANGES = "moving range above its limit"


def individuals(values: Array, options: Options, what: str) -> Part:
    """Return one phase of a chart of single values.

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
        Values and their moving ranges.

    Raises
    ------
    DataError
        Where no limits can be taken from the values.
    """
    found = from_single(values[: options.baseline], options.centre, options.sigma, what)
    wide = widened(found, options.limit)
    reach = (wide if options.widen else options.limit) * found.sigma
    z = (values - found.centre) / found.sigma
    count = values.size
    met = [(BEYOND, np.abs(values - found.centre) > reach)]
    met += [(rule.name, rule.found(z)) for rule in options.rules]
    lower, upper = found.centre - reach, found.centre + reach
    panels = [
        Panel(
            "value",
            values[None, :],
            level(found.centre, count),
            level(lower, count),
            level(upper, count),
            tuple(met),
        )
    ]
    ranges = np.abs(np.diff(values, prepend=np.nan))
    middle = D2_OF_TWO * found.sigma
    highest = D4_OF_TWO * middle
    panels.append(
        Panel(
            "moving range",
            ranges[None, :],
            level(middle, count),
            level(0.0, count),
            level(highest, count),
            ((RANGES, ranges > highest),),
        )
    )
    span = (found.centre - wide * found.sigma, found.centre + wide * found.sigma)
    return Part(
        tuple(panels),
        z,
        found.centre,
        found.sigma,
        lower,
        upper,
        found.points,
        span if found.points else None,
        found.sigma,
    )
