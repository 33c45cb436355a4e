"""One phase of a chart: what is drawn in it and where it alarms."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
BEYOND = "beyond the limits"


@dataclass(frozen=True, slots=True, repr=False)
class Panel(Record):
    """One statistic over the points.

    Attributes
    ----------
    name
        What it is.
    series
        (lines, points); two lines for the sums of a CUSUM.
    centre, lower, upper
        (points,).
    met
        Names of rules, each with where it is met (points,).
    """

    name: str
    series: Array
    centre: Array
    lower: Array
    upper: Array
    met: tuple[tuple[str, Flags], ...] = ()


@dataclass(frozen=True, slots=True, repr=False)
class Part(Record):
    """One phase.

    Attributes
    ----------
    panels
        The first is the chart's own.
    z
        What is judged, in standard deviations from the centre (points,): for causes.
    centre, sigma
        Of the process, in the unit of the values.
    lower, upper
        Limits at its last point, as drawn in the first panel.
    taken_from
        Points that the limits were taken from; 0 where they were given.
    widened
        Limits that allow for their own estimation; None where that has no meaning.
    point_sigma
        Standard deviation of what ``z`` counts, in the unit of the values.
    """

    panels: tuple[Panel, ...]
    z: Array
    centre: float
    sigma: float
    lower: float
    upper: float
    taken_from: int
    widened: tuple[float, float] | None = None
    point_sigma: float = field(default=float("nan"))


def level(value: float, count: int) -> Array:
    """Return a line that stays where it is.

    Parameters
    ----------
    value, count
        Where, and for how many points.

    Returns
    -------
    array
        (points,).
    """
    return np.full(count, float(value))
