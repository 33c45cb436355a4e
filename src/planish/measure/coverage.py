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

from planish.measure.coverage_quads import quad_meets, quad_window
from planish.measure.coverage_rects import cut_rect, rect_scratch, rect_window

SOURCES: tuple[str, ...] = (
    "area of a union of rectangles by slabs: V. Klee, Can the measure of a union of intervals be computed in"
    " less than O(n log n) steps?, Am. Math. Monthly 84 (1977) 284 (from memory)",
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
def count_entries(rects, nr, quads, nq, gx, gy, cx, cy, nx, ny, close_x, close_y, limit):  # type: ignore[no-untyped-def]
    """How often shapes meet cells: counts per cell for rects and quads, cells covered whole, and the total.

    Stops once the total passes ``limit``.
    """
    rect_counts = np.zeros(nx * ny + 1, np.int64)
    quad_counts = np.zeros(nx * ny + 1, np.int64)
    cover = np.zeros((ny + 1, nx + 1), np.int32)
    total = 0
    for r in range(nr):
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
                rect_counts[j * nx + i] += 1
            for i in range(b + 1 if hole else i1 + 1, i1 + 1):
                rect_counts[j * nx + i] += 1
            total += i1 + 1 - i0 - (b + 1 - a if hole else 0)
        if total > limit:
            return rect_counts, quad_counts, cover, total
    for q in range(nq):
        lo_x = min(min(quads[q, 0], quads[q, 2]), min(quads[q, 4], quads[q, 6]))
        hi_x = max(max(quads[q, 0], quads[q, 2]), max(quads[q, 4], quads[q, 6]))
        lo_y = min(min(quads[q, 1], quads[q, 3]), min(quads[q, 5], quads[q, 7]))
        hi_y = max(max(quads[q, 1], quads[q, 3]), max(quads[q, 5], quads[q, 7]))
        i0, i1, a, b = _reach(lo_x, hi_x, gx, cx, nx, close_x)
        j0, j1, c, d = _reach(lo_y, hi_y, gy, cy, ny, close_y)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                x = gx + i * cx
                y = gy + j * cy
                if quad_meets(quads, q, x, y, gx + (i + 1) * cx, gy + (j + 1) * cy):
                    quad_counts[j * nx + i] += 1
                    total += 1
        if total > limit:
            return rect_counts, quad_counts, cover, total
    for j in range(ny + 1):
        for i in range(1, nx + 1):
            cover[j, i] += cover[j, i - 1]
    for j in range(1, ny + 1):
        for i in range(nx + 1):
            cover[j, i] += cover[j - 1, i]
    return rect_counts, quad_counts, cover, total


@njit(cache=True, nogil=True)
def _fill_entries(rects, nr, quads, nq, gx, gy, cx, cy, nx, ny, close_x, close_y, rect_at, quad_at):  # type: ignore[no-untyped-def]
    """The shapes that meet each cell, in the order of count_entries; the starts are moved to the ends."""
    rect_items = np.empty(rect_at[nx * ny], np.int32)
    quad_items = np.empty(quad_at[nx * ny], np.int32)
    for r in range(nr):
        i0, i1, a, b = _reach(rects[r, 0], rects[r, 2], gx, cx, nx, close_x)
        j0, j1, c, d = _reach(rects[r, 1], rects[r, 3], gy, cy, ny, close_y)
        whole = a <= b and c <= d
        for j in range(j0, j1 + 1):
            hole = whole and j >= c and j <= d
            for i in range(i0, a if hole else i1 + 1):
                rect_items[rect_at[j * nx + i]] = r
                rect_at[j * nx + i] += 1
            for i in range(b + 1 if hole else i1 + 1, i1 + 1):
                rect_items[rect_at[j * nx + i]] = r
                rect_at[j * nx + i] += 1
    for q in range(nq):
        lo_x = min(min(quads[q, 0], quads[q, 2]), min(quads[q, 4], quads[q, 6]))
        hi_x = max(max(quads[q, 0], quads[q, 2]), max(quads[q, 4], quads[q, 6]))
        lo_y = min(min(quads[q, 1], quads[q, 3]), min(quads[q, 5], quads[q, 7]))
        hi_y = max(max(quads[q, 1], quads[q, 3]), max(quads[q, 5], quads[q, 7]))
        i0, i1, a, b = _reach(lo_x, hi_x, gx, cx, nx, close_x)
        j0, j1, c, d = _reach(lo_y, hi_y, gy, cy, ny, close_y)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                x = gx + i * cx
                y = gy + j * cy
                if quad_meets(quads, q, x, y, gx + (i + 1) * cx, gy + (j + 1) * cy):
                    at = quad_at[j * nx + i]
                    quad_items[at] = q
                    quad_at[j * nx + i] = at + 1
    return rect_items, quad_items


@njit(cache=True, nogil=True)
def cover_cells(  # type: ignore[no-untyped-def]
    rects, nr, quads, nq, gx, gy, cx, cy, nx, ny, close_x, close_y, rect_counts, quad_counts, cover
):
    """Area, edge projected on y, edge projected on x and edge length of the union in each cell.

    Parameters are those of :func:`count_entries` and its results; lengths in
    database units, four arrays of shape (ny, nx).
    """
    out = np.zeros((4, ny, nx))
    rect_at = np.zeros(nx * ny + 1, np.int64)
    quad_at = np.zeros(nx * ny + 1, np.int64)
    for c in range(nx * ny):
        rect_at[c + 1] = rect_at[c] + rect_counts[c]
        quad_at[c + 1] = quad_at[c] + quad_counts[c]
    rect_items, quad_items = _fill_entries(
        rects, nr, quads, nq, gx, gy, cx, cy, nx, ny, close_x, close_y, rect_at, quad_at
    )
    box = np.empty((256, 4))
    scratch = rect_scratch(64)
    mixed = np.empty((256, 8))
    for j in range(ny):
        y0 = gy + j * cy
        y1 = gy + (j + 1) * cy
        hy = np.nextafter(y1, np.inf) if close_y and j == ny - 1 else y1
        for i in range(nx):
            x0 = gx + i * cx
            x1 = gx + (i + 1) * cx
            hx = np.nextafter(x1, np.inf) if close_x and i == nx - 1 else x1
            if cover[j, i] > 0:
                out[0, j, i] = (x1 - x0) * (y1 - y0)
                continue
            c = j * nx + i
            k = rect_counts[c]
            m = quad_counts[c]
            if k + m == 0:
                continue
            first = rect_at[c] - k
            if m == 0:
                if k > box.shape[0]:
                    box = np.empty((2 * k, 4))
                if k > scratch[0].shape[0]:
                    scratch = rect_scratch(2 * k)
                for t in range(k):
                    r = rect_items[first + t]
                    cut_rect(rects[r, 0], rects[r, 1], rects[r, 2], rects[r, 3], x0, y0, x1, y1, box, t)
                area, ex, ey, box = rect_window(box, k, x0, y0, x1, y1, hx, hy, scratch)
                length = ex + ey
            else:
                if k + m > mixed.shape[0]:
                    mixed = np.empty((2 * (k + m), 8))
                for t in range(k):
                    a, b, e, f = rects[rect_items[first + t]]
                    mixed[t] = (a, b, e, b, e, f, a, f)
                for t in range(m):
                    mixed[k + t] = quads[quad_items[quad_at[c] - m + t]]
                area, ex, ey, length, mixed = quad_window(mixed, k + m, x0, y0, x1, y1, hx, hy)
            out[0, j, i] = area
            out[1, j, i] = ex
            out[2, j, i] = ey
            out[3, j, i] = length
    return out
