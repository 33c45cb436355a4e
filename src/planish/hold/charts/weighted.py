"""The exponentially weighted moving average of single values.

z_t = w x_t + (1 - w) z_(t-1) from the centre; limits centre +- L sigma sqrt(w/(2 - w)), or that times
sqrt(1 - (1 - w)^(2t)) while they settle (NIST/SEMATECH e-Handbook, 6.3.2.4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from planish.hold.charts.estimate import from_single, widened
from planish.hold.charts.options import Options
from planish.hold.charts.part import BEYOND, Panel, Part, level

Array = NDArray[np.float64]


def weighted(values: Array, options: Options, what: str) -> Part:
    """Return one phase of an EWMA chart.

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
        It starts at its centre.

    Raises
    ------
    DataError
        Where no limits can be taken from the values.
    """
    assert options.design is not None
    assert options.design.weight is not None
    weight = options.design.weight
    found = from_single(values[: options.baseline], options.centre, options.sigma, what)
    # On deviations from the centre, so that the filter starts at 0 and keeps their digits.
    average = found.centre + lfilter([weight], [1.0, weight - 1.0], values - found.centre)
    factor = float(np.sqrt(weight / (2 - weight)))
    wide = widened(found, options.limit, 1 / factor**2)
    reach = level((wide if options.widen else options.limit) * found.sigma * factor, values.size)
    if options.design.settling:
        reach *= np.sqrt(1 - (1 - weight) ** (2.0 * np.arange(1, values.size + 1)))
    lower, upper = found.centre - reach, found.centre + reach
    met = ((BEYOND, np.abs(average - found.centre) > reach),)
    span = (found.centre - wide * found.sigma * factor, found.centre + wide * found.sigma * factor)
    return Part(
        (Panel("EWMA", average[None, :], level(found.centre, values.size), lower, upper, met),),
        (values - found.centre) / found.sigma,
        found.centre,
        found.sigma,
        float(lower[-1]),
        float(upper[-1]),
        found.points,
        span if found.points else None,
        found.sigma,
    )
