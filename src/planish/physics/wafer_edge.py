"""The wafer's edge in a few numbers: where the pressure dips and peaks, and by how much."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EdgeFigures:
    """The pressure near the wafer's edge as a few numbers.

    Ratios are to the mean pressure over the wafer inside ``within``; distances
    [m] are from the edge inward. ``trough`` and ``crest`` are the lowest and highest
    turning points, NaN where the profile has none. ``edge_ratio`` is that at the
    edge exclusion, ``outermost_ratio`` that at the last node.
    """

    trough_distance: float
    trough_ratio: float
    crest_distance: float
    crest_ratio: float
    edge_ratio: float
    outermost_ratio: float


def edge_figures(
    r: Array, p: Array, wafer_radius: float, *, within: float = 0.015, edge_exclusion: float = 0.003
) -> EdgeFigures:
    """Return trough, crest and edge ratios of a profile over increasing radii ``r`` [m].

    A turning point counts where it lies within ``within`` [m] of the edge and
    differs from the inner mean by more than 1e-3 of it; it is placed by the
    parabola through three nodes.

    Raises
    ------
    ModelError
        Where no node lies inside ``within``.
    """
    inner = r < wafer_radius - within
    if not np.any(inner):
        raise ModelError(refuse("edge width [m]", within, f"less than the wafer radius {wafer_radius:g}"))
    weight = (r * np.gradient(r))[inner]
    mean = float(np.sum(p[inner] * weight) / np.sum(weight))
    ratio = p / mean
    turns = []
    for i in range(1, r.size - 1):
        rising, falling = ratio[i] - ratio[i - 1], ratio[i] - ratio[i + 1]
        if r[i] >= wafer_radius - within and rising * falling > 0:
            turns.append((*_vertex(r[i - 1 : i + 2], ratio[i - 1 : i + 2]), rising > 0))
    low = min((t for t in turns if not t[2] and t[1] < 1 - 1e-3), key=lambda t: t[1], default=None)
    high = max((t for t in turns if t[2] and t[1] > 1 + 1e-3), key=lambda t: t[1], default=None)
    return EdgeFigures(
        trough_distance=wafer_radius - low[0] if low else math.nan,
        trough_ratio=low[1] if low else math.nan,
        crest_distance=wafer_radius - high[0] if high else math.nan,
        crest_ratio=high[1] if high else math.nan,
        edge_ratio=float(np.interp(wafer_radius - edge_exclusion, r, ratio)),
        outermost_ratio=float(ratio[-1]),
    )


def _vertex(x: Array, y: Array) -> tuple[float, float]:
    """Return where the parabola through three points turns, and its value there."""
    slope1, slope2 = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
    curve = (slope2 - slope1) / (x[2] - x[0])
    at = 0.5 * (x[0] + x[1]) - 0.5 * slope1 / curve
    return float(at), float(y[0] + (at - x[0]) * (slope1 + curve * (at - x[1])))
