"""Exact area and edge length of the union of shapes, cell by cell.

Coordinates are float64 in database units; those of right-angled layouts are
whole numbers, so their areas and lengths come out without rounding.

A window is half open: an edge of the union that lies on its left or lower side
belongs to it, one on its right or upper side to its neighbour. So windows may be
split anywhere and their results added. Only the last column and row of a map
are closed; ``hx`` and ``hy`` below are the first coordinate that no longer
belongs.

Rectangles are swept in slabs between their x coordinates. Everything else comes
as convex quadrilaterals and is swept in slabs between corners and crossings, in
which no two edges cross. A window with many shapes is split first, for a shape
that covers a whole part ends the work there.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.measure.coverage.quads import quad_meets, quad_window
from planish.measure.coverage.rects import cut_rect, rect_scratch, rect_window

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "area of a union of rectangles by slabs: V. Klee, Can the measure of a union of intervals be computed in"
    " less than O(n log n) steps?, Am. Math. Monthly 84 (1977) 284 (read as quoted in a lesson on intervals)",
    "splitting and sweeping windows: derivation of our own",
)


@njit(cache=True, nogil=True)
def _place_of(x, g0, c, n):  # type: ignore[no-untyped-def]
    """Index of the cell that holds x, with sides exactly at g0 + i * c."""
    i = np.int64(min(max(np.floor((x - g0) / c), -2.0), n + 2.0))
    while i > -2 and x < g0 + i * c:
        i -= 1
    while i < n + 2 and x >= g0 + (i + 1) * c:
        i += 1
    return i


@njit(cache=True, nogil=True)
def _reach(lo, hi, g0, c, n, closed):  # type: ignore[no-untyped-def]
    """Cells [first, last] that [lo, hi] meets and [inner, outer] that it covers with both borders."""
    i = _place_of(lo, g0, c, n)
    j = _place_of(hi, g0, c, n)
    inner = 0 if lo < g0 else i + 1
    end = g0 + n * c
    if hi > end or (hi == end and not closed):
        outer = n - 1
    else:
        outer = min(j - 1, n - 2 if closed else n - 1)
    if closed and lo == end:
        i = n - 1
    return max(i, 0), min(j, n - 1), inner, outer


@njit(cache=True, nogil=True)
def _count_rects(rects, n, grid, limit):  # type: ignore[no-untyped-def]
    """How many rectangles meet each cell without covering it, which cells are covered, and the total.

    Stops once the total passes ``limit``.
    """
    gx, gy, cx, cy, nx, ny, close_x, close_y = grid
    counts = np.zeros(nx * ny, np.int64)
    cover = np.zeros((ny + 1, nx + 1), np.int32)
    total = 0
    for r in range(n):
        i0, i1, a, b = _reach(rects[r, 0], rects[r, 2], gx, cx, nx, close_x)
        j0, j1, c, d = _reach(rects[r, 1], rects[r, 3], gy, cy, ny, close_y)
        whole = a <= b and c <= d
        if whole:
            cover[c, a] += 1
            cover[d + 1, a] -= 1
            cover[c, b + 1] -= 1
            cover[d + 1, b + 1] += 1
        for j in range(j0, j1 + 1):
            hole = whole and j >= c and j <= d
            for i in range(i0, a if hole else i1 + 1):
                counts[j * nx + i] += 1
            for i in range(b + 1 if hole else i1 + 1, i1 + 1):
                counts[j * nx + i] += 1
            total += i1 + 1 - i0 - (b + 1 - a if hole else 0)
        if total > limit:
            return counts, cover, total
    for j in range(ny + 1):
        for i in range(1, nx + 1):
            cover[j, i] += cover[j, i - 1]
    for j in range(1, ny + 1):
        for i in range(nx + 1):
            cover[j, i] += cover[j - 1, i]
    return counts, cover, total


@njit(cache=True, nogil=True)
def _list_rects(rects, n, grid, counts):  # type: ignore[no-untyped-def]
    """The rectangles that meet each cell, cell after cell, and where each cell's end."""
    gx, gy, cx, cy, nx, ny, close_x, close_y = grid
    ends = np.zeros(nx * ny, np.int64)
    at = 0
    for c in range(nx * ny):
        ends[c] = at
        at += counts[c]
    items = np.empty(at, np.int32)
    for r in range(n):
        i0, i1, a, b = _reach(rects[r, 0], rects[r, 2], gx, cx, nx, close_x)
        j0, j1, c, d = _reach(rects[r, 1], rects[r, 3], gy, cy, ny, close_y)
        whole = a <= b and c <= d
        for j in range(j0, j1 + 1):
            hole = whole and j >= c and j <= d
            for i in range(i0, a if hole else i1 + 1):
                items[ends[j * nx + i]] = r
                ends[j * nx + i] += 1
            for i in range(b + 1 if hole else i1 + 1, i1 + 1):
                items[ends[j * nx + i]] = r
                ends[j * nx + i] += 1
    return items, ends


@njit(cache=True, nogil=True)
def _quad_cells(quads, n, grid, counts, items, ends, limit):  # type: ignore[no-untyped-def]
    """Count the cells that quads meet; where ``items`` has room, list them as well."""
    gx, gy, cx, cy, nx, ny, close_x, close_y = grid
    listing = items.shape[0] > 0
    total = 0
    for q in range(n):
        lo_x = min(min(quads[q, 0], quads[q, 2]), min(quads[q, 4], quads[q, 6]))
        hi_x = max(max(quads[q, 0], quads[q, 2]), max(quads[q, 4], quads[q, 6]))
        lo_y = min(min(quads[q, 1], quads[q, 3]), min(quads[q, 5], quads[q, 7]))
        hi_y = max(max(quads[q, 1], quads[q, 3]), max(quads[q, 5], quads[q, 7]))
        i0, i1, _, _ = _reach(lo_x, hi_x, gx, cx, nx, close_x)
        j0, j1, _, _ = _reach(lo_y, hi_y, gy, cy, ny, close_y)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                x0, y0, x1, y1, _, _ = _window(grid, i, j)
                if quad_meets(quads, q, x0, y0, x1, y1):
                    cell = j * nx + i
                    if listing:
                        items[ends[cell]] = q
                        ends[cell] += 1
                    else:
                        counts[cell] += 1
                    total += 1
        if total > limit:
            return total
    return total


@njit(cache=True, nogil=True)
def _window(grid, i, j):  # type: ignore[no-untyped-def]
    """Cell (i, j) as a window (x0, y0, x1, y1, hx, hy)."""
    gx, gy, cx, cy, nx, ny, close_x, close_y = grid
    x1 = gx + (i + 1) * cx
    y1 = gy + (j + 1) * cy
    hx = np.nextafter(x1, np.inf) if close_x and i == nx - 1 else x1
    hy = np.nextafter(y1, np.inf) if close_y and j == ny - 1 else y1
    return gx + i * cx, gy + j * cy, x1, y1, hx, hy


@njit(cache=True, nogil=True)
def _rect_cells(rects, items, ends, counts, quad_counts, cover, grid, out, left):  # type: ignore[no-untyped-def]
    """Fill in the cells that are covered whole or that rectangles alone meet."""
    box = np.empty((256, 4))
    scratch = rect_scratch(64)
    nx, ny = grid[4], grid[5]
    for j in range(ny):
        for i in range(nx):
            x0, y0, x1, y1, hx, hy = _window(grid, i, j)
            c = j * nx + i
            if cover[j, i] > 0:
                out[0, j, i] = (x1 - x0) * (y1 - y0)
                continue
            k = counts[c]
            if k == 0 or quad_counts[c] > 0:
                continue
            if k > box.shape[0]:
                box = np.empty((2 * k, 4))
            if k > scratch[2].shape[0] // 2:
                scratch = rect_scratch(2 * k)
            first = ends[c] - k
            for t in range(k):
                r = items[first + t]
                cut_rect(rects[r, 0], rects[r, 1], rects[r, 2], rects[r, 3], x0, y0, x1, y1, box, t)
            area, ex, ey, box = rect_window(box, k, x0, y0, x1, y1, hx, hy, scratch, left)
            if left[0] < 0:
                return
            out[0, j, i] = area
            out[1, j, i] = ex
            out[2, j, i] = ey
            out[3, j, i] = ex + ey


@njit(cache=True, nogil=True)
def _mixed_cells(  # type: ignore[no-untyped-def]
    rects, items, ends, counts, quads, quad_items, quad_ends, quad_counts, cover, grid, out, left
):
    """Fill in the cells that quads meet, with the rectangles there."""
    mixed = np.empty((256, 8))
    nx, ny = grid[4], grid[5]
    for j in range(ny):
        for i in range(nx):
            x0, y0, x1, y1, hx, hy = _window(grid, i, j)
            cell = j * nx + i
            m = quad_counts[cell]
            if m == 0 or cover[j, i] > 0:
                continue
            k = counts[cell]
            if k + m > mixed.shape[0]:
                mixed = np.empty((2 * (k + m), 8))
            for t in range(k):
                r = items[ends[cell] - k + t]
                a, b, c, d = rects[r, 0], rects[r, 1], rects[r, 2], rects[r, 3]
                mixed[t, 0], mixed[t, 1], mixed[t, 2], mixed[t, 3] = a, b, c, b
                mixed[t, 4], mixed[t, 5], mixed[t, 6], mixed[t, 7] = c, d, a, d
            for t in range(m):
                q = quad_items[quad_ends[cell] - m + t]
                for e in range(8):
                    mixed[k + t, e] = quads[q, e]
            area, ex, ey, length, mixed = quad_window(mixed, k + m, x0, y0, x1, y1, hx, hy, left)
            if left[0] < 0:
                return
            out[0, j, i] = area
            out[1, j, i] = ex
            out[2, j, i] = ey
            out[3, j, i] = length


def cover_cells(
    rects: Array,
    n_rects: int,
    quads: Array,
    n_quads: int,
    grid: tuple[float, float, float, float, int, int],
    closed: tuple[bool, bool],
    limit: int,
    left: NDArray[np.int64] | None = None,
) -> Array | None:
    """Return area, edge projected on y, edge projected on x and edge length of the union in each cell.

    Parameters
    ----------
    rects, quads
        (x0, y0, x1, y1) and four corners (x, y) of convex quads [database units].
    n_rects, n_quads
        How many of them count.
    grid
        Lower left corner, cell width and height, columns and rows.
    closed
        Whether the last column, and row, keep what lies on their outer side.
    limit
        How often shapes may meet cells in all.
    left
        ``left[0]``, the steps that may still be taken, is counted down; below zero what is returned is
        void.

    Returns
    -------
    Array | None
        (4, ny, nx) [database units], or None if more than ``limit`` shapes meet more than one cell.

    Notes
    -----
    Rectangles and quads are compiled apart, so that a right-angled layout does not wait for what it does
    not need.
    """
    nx, ny = grid[4], grid[5]
    left = np.array([1 << 62]) if left is None else left
    cells = (*grid, *closed)
    counts, cover, total = _count_rects(rects, n_rects, cells, limit)
    quad_counts = np.zeros(nx * ny, np.int64)
    none = np.empty(0, np.int32)
    if n_quads:
        total += _quad_cells(quads, n_quads, cells, quad_counts, none, quad_counts, limit)
    if total > limit and nx * ny > 1:
        return None
    out = np.zeros((4, ny, nx))
    items, ends = _list_rects(rects, n_rects, cells, counts)
    _rect_cells(rects, items, ends, counts, quad_counts, cover, cells, out, left)
    if n_quads and quad_counts.any():
        quad_ends = np.cumsum(quad_counts) - quad_counts
        quad_items = np.empty(int(quad_counts.sum()), np.int32)
        _quad_cells(quads, n_quads, cells, quad_counts, quad_items, quad_ends, 1 << 62)
        _mixed_cells(
            rects, items, ends, counts, quads, quad_items, quad_ends, quad_counts, cover, cells, out, left
        )
    return out
