"""Outlines of drawn paths, as polygons."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError

_ROUND = 0.5  # database units by which a round end may miss the circle: finer than the grid it is drawn on


def path_polygons(
    points: NDArray[Any], width: float, pathtype: int, begin: float, end: float, place: str
) -> list[NDArray[np.float64]]:
    """Return the outline of a path [database units].

    Parameters
    ----------
    points
        Centre line, shape (n, 2).
    width
        Full width; not negative.
    pathtype
        0 flush ends, 1 round ends, 2 ends half a width longer, 4 ends longer by ``begin`` and ``end``.
    begin, end
        How much longer the ends of type 4 are.
    place
        For the refusal.

    Returns
    -------
    list[NDArray[np.float64]]
        None for a path without length or width. Right-angled paths come as one rectangle per straight
        piece, which overlap at the bends; others come mitred, and round where they end round.

    Raises
    ------
    DataError
        For a path type that the format does not know.
    """
    if pathtype not in (0, 1, 2, 4):
        raise DataError(f"{place}: a path of type {pathtype} (known are 0, 1, 2 and 4)")
    p = np.asarray(points, dtype=np.float64)
    keep = np.ones(len(p), dtype=bool)
    keep[1:] = np.any(p[1:] != p[:-1], axis=1)
    p = p[keep]
    if width <= 0:
        return []
    half = width / 2.0
    before, behind = {0: (0.0, 0.0), 1: (0.0, 0.0), 2: (half, half), 4: (begin, end)}[pathtype]
    step = np.diff(p, axis=0)
    if pathtype != 1 and len(p) > 1 and bool(((step[:, 0] == 0) | (step[:, 1] == 0)).all()):
        return _right_angled_path(p, step, half, before, behind)
    import gdstk

    ends: Any = "round" if pathtype == 1 else (before, behind)
    if len(p) < 2:
        if pathtype != 1:
            return []
        return [np.asarray(gdstk.ellipse(tuple(p[0]), half, tolerance=_ROUND).points)]
    path = gdstk.FlexPath(p, width, ends=ends, tolerance=_ROUND)
    return [np.asarray(q.points, dtype=np.float64) for q in path.to_polygons()]


def _right_angled_path(
    p: NDArray[np.float64], step: NDArray[np.float64], half: float, before: float, behind: float
) -> list[NDArray[np.float64]]:
    out = []
    for i, (a, b, d) in enumerate(zip(p[:-1], p[1:], step, strict=True)):
        along = np.sign(d)
        across = np.array([-along[1], along[0]]) * half
        # A bend is filled by both pieces reaching half a width past it; a straight
        # joint or a reversal needs nothing.
        first = before if i == 0 else half * _bends(step[i - 1], d)
        last = behind if i == len(step) - 1 else half * _bends(d, step[i + 1])
        s, e = a - along * first, b + along * last
        out.append(np.array([s - across, e - across, e + across, s + across]))
    return out


def _bends(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return 1.0 if a[0] * b[0] + a[1] * b[1] == 0.0 else 0.0
