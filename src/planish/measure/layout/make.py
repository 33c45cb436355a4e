"""Test layouts: patterns whose density, line width and space are known beforehand.

Invented patterns of our own, of the kinds that planarization is usually studied
with: blocks of different density, arrays over line width and space, and a row of
density steps.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.layout.gds_write import Rects, write_rects
from planish.measure.layout.maps import LayoutMaps
from planish.measure.layout.read import maps_from_rects

Kind = Literal["density-blocks", "line-space", "step-density"]
KINDS: tuple[Kind, ...] = ("density-blocks", "line-space", "step-density")

_UNIT = 1e-9
_DENSITIES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
_WIDTHS = (0.5e-6, 1e-6, 2e-6, 5e-6, 10e-6, 50e-6)
_MOST = 50_000_000


def make_rects(
    kind: Kind,
    *,
    size: float = 2e-3,
    pitch: float = 10e-6,
    densities: Sequence[float] = _DENSITIES,
    widths: Sequence[float] = _WIDTHS,
    spaces: Sequence[float] | None = None,
    blocks: int = 4,
    seed: int = 1,
) -> Rects:
    """Return the rectangles of a test layout that begins at (0, 0).

    Parameters
    ----------
    kind
        "density-blocks": ``blocks`` x ``blocks`` blocks of line gratings, their
        densities drawn from ``densities`` in an order fixed by ``seed``.
        "line-space": one block of lines for each width (rows) and space (columns).
        "step-density": a row of gratings, one for each of ``densities`` in the order given.
    size
        Side of the layout [m] ("step-density": its length; it is a quarter as high).
    pitch
        Pitch of the gratings [m], for the density kinds.
    densities
        Covered shares, above 0 and up to 1.
    widths, spaces
        [m], for "line-space"; spaces are the widths unless given.
    blocks
        Along a side, for "density-blocks".
    seed
        Fixes their order.

    Returns
    -------
    Rects
        (k, 4) [nm].

    Raises
    ------
    DataError
        For unknown kinds, values out of range, or blocks too small for one pitch.
    """
    if kind not in KINDS:
        raise DataError(refuse("layout kind", kind, "one of " + ", ".join(KINDS)))
    if not (0.0 < size <= 1.0):
        raise DataError(refuse("layout size [m]", size, "above 0 and up to 1"))
    if kind == "line-space":
        return _line_space(size, widths, widths if spaces is None else spaces)
    if not densities or not all(0.0 < d <= 1.0 for d in densities):
        raise DataError(refuse("layout densities", list(densities), "above 0 and up to 1, at least one"))
    if kind == "step-density":
        edges = _edges(size, len(densities))
        high = _nm(size / 4)
        parts = [
            _grating(int(a), 0, int(b), high, _nm(pitch), d)
            for a, b, d in zip(edges[:-1], edges[1:], densities, strict=True)
        ]
        return np.concatenate(parts)
    if blocks < 1:
        raise DataError(refuse("layout blocks", blocks, "1 or more"))
    rng = np.random.default_rng(seed)
    picks = rng.permutation(np.resize(np.asarray(densities, dtype=np.float64), blocks * blocks))
    edges = _edges(size, blocks)
    parts = [
        _grating(int(edges[i]), int(edges[j]), int(edges[i + 1]), int(edges[j + 1]), _nm(pitch), float(d))
        for (j, i), d in zip(np.ndindex(blocks, blocks), picks, strict=True)
    ]
    return np.concatenate(parts)


def make_layout(
    kind: Kind, path: str | os.PathLike[str], *, layer: tuple[int, int] = (1, 0), **options: Any
) -> Path:
    """Write a test layout as a GDSII file, whole or not at all.

    Parameters
    ----------
    kind
        Which layout.
    path
        Where to.
    layer
        (layer, datatype).
    **options
        As in :func:`make_rects`.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    DataError
        As :func:`make_rects`, or if the place cannot be written.
    """
    return write_rects(path, make_rects(kind, **options), layer=layer, name=kind.upper().replace("-", "_"))


def make_maps(kind: Kind, cell: float, *, layer: tuple[int, int] = (1, 0), **options: Any) -> LayoutMaps:
    """Return cell maps of a test layout, without a file.

    Parameters
    ----------
    kind
        Which layout.
    cell
        Side of a cell [m].
    layer
        (layer, datatype).
    **options
        As in :func:`make_rects`.

    Returns
    -------
    LayoutMaps
        Of the whole layout.

    Raises
    ------
    DataError
        As :func:`make_rects`, or for a cell that does not fit.
    """
    rects = make_rects(kind, **options)
    return maps_from_rects(rects, cell, unit=_UNIT, layer=layer, source=f"test layout {kind}")


def _nm(length: float) -> int:
    return round(length / _UNIT)


def _edges(size: float, parts: int) -> NDArray[np.int64]:
    return np.rint(np.linspace(0, _nm(size), parts + 1)).astype(np.int64)


def _grating(x0: int, y0: int, x1: int, y1: int, pitch: int, density: float) -> Rects:
    """Lines along y that fill a box; the last pitch is cut at the box."""
    if pitch < 2 or x1 - x0 < pitch:
        raise DataError(
            refuse("layout pitch [m]", pitch * _UNIT, f"2e-9 to the block's width {(x1 - x0) * _UNIT:g}")
        )
    if density >= 1.0:
        return np.array([[x0, y0, x1, y1]], dtype=np.int32)
    line = min(max(1, round(pitch * density)), pitch - 1)
    return _lines(x0, y0, x1, y1, line, pitch - line)


def _lines(x0: int, y0: int, x1: int, y1: int, line: int, space: int) -> Rects:
    left = np.arange(x0, x1, line + space, dtype=np.int64)
    if len(left) > _MOST:
        raise DataError(f"a test layout of more than {_MOST} lines")
    right = np.minimum(left + line, x1)
    n = len(left)
    return np.stack([left, np.full(n, y0), right, np.full(n, y1)], axis=1).astype(np.int32)


def _line_space(size: float, widths: Sequence[float], spaces: Sequence[float]) -> Rects:
    if not widths or not spaces or min(*widths, *spaces, 1.0) < 1e-9:
        raise DataError(
            refuse("layout widths and spaces [m]", [*widths, *spaces], "1e-9 or more, at least one")
        )
    xs, ys = _edges(size, len(spaces)), _edges(size, len(widths))
    parts = []
    for j, width in enumerate(widths):
        for i, space in enumerate(spaces):
            if xs[i + 1] - xs[i] < _nm(width) + _nm(space):
                raise DataError(
                    refuse(
                        "layout size [m]",
                        size,
                        f"large enough for a line of {width:g} and a space of {space:g}",
                    )
                )
            parts.append(
                _lines(int(xs[i]), int(ys[j]), int(xs[i + 1]), int(ys[j + 1]), _nm(width), _nm(space))
            )
    return np.concatenate(parts)
