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

SOURCES: tuple[str, ...] = (
    "area of a union of rectangles by slabs: V. Klee, Can the measure of a union of intervals be computed in"
    " less than O(n log n) steps?, Am. Math. Monthly 84 (1977) 284 (from memory)",
    "splitting and sweeping windows: derivation of our own",
)

_RECT_WORK = 40_000  # slabs times rectangles up to which a window is swept whole
_QUAD_WORK = 20  # quadrilaterals up to which a window is swept whole
_COPIES = 400  # rectangles in one window from which it pays to look for copies
_DEPTH = 44
_SAME = 1e-6  # database units: two slanted edges closer than this touch


@njit(cache=True, nogil=True)
def _overlap(lo_a, hi_a, n_a, lo_b, hi_b, n_b, y0, y1):  # type: ignore[no-untyped-def]
    """Length in [y0, y1] that exactly one of two sorted interval lists covers."""
    total = 0.0
    for i in range(n_a):
        v = min(hi_a[i], y1) - max(lo_a[i], y0)
        if v > 0.0:
            total += v
    for i in range(n_b):
        v = min(hi_b[i], y1) - max(lo_b[i], y0)
        if v > 0.0:
            total += v
    i = 0
    j = 0
    while i < n_a and j < n_b:
        v = min(min(hi_a[i], hi_b[j]), y1) - max(max(lo_a[i], lo_b[j]), y0)
        if v > 0.0:
            total -= 2.0 * v
        if hi_a[i] < hi_b[j]:
            i += 1
        else:
            j += 1
    return total


@njit(cache=True, nogil=True)
def _sort_small(values, n):  # type: ignore[no-untyped-def]
    """Sort values[:n] in place and return how many differ (those come first)."""
    if n > 48:
        values[:n] = np.sort(values[:n])
    else:
        for i in range(1, n):
            v = values[i]
            j = i - 1
            while j >= 0 and values[j] > v:
                values[j + 1] = values[j]
                j -= 1
            values[j + 1] = v
    m = 1
    for i in range(1, n):
        if values[i] > values[m - 1]:
            values[m] = values[i]
            m += 1
    return m


@njit(cache=True, nogil=True)
def _order_small(keys, order, n):  # type: ignore[no-untyped-def]
    """order[:n] = indices that sort keys[:n]."""
    if n > 48:
        order[:n] = np.argsort(keys[:n], kind="mergesort")
        return
    for i in range(n):
        v = keys[i]
        j = i - 1
        while j >= 0 and keys[order[j]] > v:
            order[j + 1] = order[j]
            j -= 1
        order[j + 1] = i


@njit(cache=True, nogil=True)
def _scratch(size):  # type: ignore[no-untyped-def]
    """Working arrays for windows of up to ``size`` rectangles, made once and used for many."""
    return (
        np.empty(size, np.int64),
        np.empty(size),
        np.empty(2 * size),
        np.empty((7, size)),
        np.empty((4 * _DEPTH, 6)),
        np.empty((4 * _DEPTH, 3), np.int64),
    )


@njit(cache=True, nogil=True)
def _slabs(box, start, n, order, ends, xs):  # type: ignore[no-untyped-def]
    """Order n rectangles by their left side, sort their right sides; return how many x differ (in xs)."""
    if n > 48:
        order[:n] = np.argsort(box[start : start + n, 0])
        ends[:n] = np.sort(box[start : start + n, 2])
    else:
        for i in range(n):
            v = box[start + i, 0]
            j = i - 1
            while j >= 0 and box[start + order[j], 0] > v:
                order[j + 1] = order[j]
                j -= 1
            order[j + 1] = i
            v = box[start + i, 2]
            j = i - 1
            while j >= 0 and ends[j] > v:
                ends[j + 1] = ends[j]
                j -= 1
            ends[j + 1] = v
    m = 0
    i = 0
    j = 0
    while j < n:
        if i < n and box[start + order[i], 0] <= ends[j]:
            v = box[start + order[i], 0]
            i += 1
        else:
            v = ends[j]
            j += 1
        if m == 0 or v > xs[m - 1]:
            xs[m] = v
            m += 1
    return m


@njit(cache=True, nogil=True)
def _sweep_rects(box, start, n, order, xs, nxs, work, x0, y0, x1, y1, hx, hy):  # type: ignore[no-untyped-def]
    """Area, edge projected on y, edge projected on x of the union of n rectangles in one window.

    The rectangles that a slab meets are kept in order of their lower side.
    """
    old_lo, old_hi, new_lo, new_hi = work[0], work[1], work[2], work[3]
    at_lo, at_hi, at_end = work[4], work[5], work[6]
    n_old = 0
    n_at = 0
    after = 0
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    for s in range(nxs):
        xa = xs[s]
        t = 0
        for i in range(n_at):
            if at_end[i] > xa:
                if t < i:
                    at_lo[t], at_hi[t], at_end[t] = at_lo[i], at_hi[i], at_end[i]
                t += 1
        n_at = t
        while after < n and box[start + order[after], 0] == xa:
            r = start + order[after]
            lo = box[r, 1]
            i = n_at - 1
            while i >= 0 and at_lo[i] > lo:
                at_lo[i + 1], at_hi[i + 1], at_end[i + 1] = at_lo[i], at_hi[i], at_end[i]
                i -= 1
            at_lo[i + 1], at_hi[i + 1], at_end[i + 1] = lo, box[r, 3], box[r, 2]
            n_at += 1
            after += 1
        n_new = 0
        top = 0.0
        for i in range(n_at):
            if n_new > 0 and at_lo[i] <= top:
                if at_hi[i] > top:
                    top = at_hi[i]
                    new_hi[n_new - 1] = top
            else:
                top = at_hi[i]
                new_lo[n_new] = at_lo[i]
                new_hi[n_new] = top
                n_new += 1
        if n_new > 0:
            dx = min(xs[s + 1], x1) - max(xa, x0)
            if dx > 0.0:
                for t in range(n_new):
                    lo = new_lo[t]
                    hi = new_hi[t]
                    dy = min(hi, y1) - max(lo, y0)
                    if dy > 0.0:
                        area += dx * dy
                    if lo >= y0 and lo < hy:
                        edge_y += dx
                    if hi >= y0 and hi < hy:
                        edge_y += dx
        if xa >= x0 and xa < hx:
            edge_x += _overlap(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        old_lo, new_lo = new_lo, old_lo
        old_hi, new_hi = new_hi, old_hi
        n_old = n_new
    return area, edge_x, edge_y


@njit(cache=True, nogil=True)
def _cut_rect(a, b, c, d, x0, y0, x1, y1, out, at):  # type: ignore[no-untyped-def]
    """Write a rectangle cut to a window; sides beyond it move to one unit outside.

    The unit outside keeps what touches or crosses the border apart from what
    ends there, which is what tells an edge of the union from its inside.
    """
    out[at, 0] = a if a >= x0 else x0 - 1.0
    out[at, 1] = b if b >= y0 else y0 - 1.0
    out[at, 2] = c if c <= x1 else x1 + 1.0
    out[at, 3] = d if d <= y1 else y1 + 1.0


@njit(cache=True, nogil=True)
def _drop_copies(box, start, n):  # type: ignore[no-untyped-def]
    """Keep one of each rectangle among box[start : start + n]; return how many are left."""
    part = box[start : start + n]
    for side in range(4):
        part = part[np.argsort(part[:, side], kind="mergesort")]
    m = 0
    for r in range(n):
        new = r == 0
        for side in range(4):
            new = new or part[r, side] != part[r - 1, side]
        if new:
            box[start + m] = part[r]
            m += 1
    return m


@njit(cache=True, nogil=True)
def _rect_window(box, k, x0, y0, x1, y1, hx, hy, scratch):  # type: ignore[no-untyped-def]
    """Area and edges of the union of box[:k] in a window; parts of it are written behind, in a larger box."""
    order, ends, xs, work, stack, span = scratch
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3], stack[0, 4], stack[0, 5] = x0, y0, x1, y1, hx, hy
    span[0, 0], span[0, 1], span[0, 2] = 0, k, 0
    depth = 1
    while depth > 0:
        depth -= 1
        wx0, wy0, wx1, wy1 = stack[depth, 0], stack[depth, 1], stack[depth, 2], stack[depth, 3]
        whx, why = stack[depth, 4], stack[depth, 5]
        start, end, level = span[depth, 0], span[depth, 1], span[depth, 2]
        n = end - start
        if n == 0:
            continue
        covered = False
        for r in range(start, end):
            if box[r, 0] < wx0 and box[r, 1] < wy0 and box[r, 2] >= whx and box[r, 3] >= why:
                covered = True
                break
        if covered:
            area += (wx1 - wx0) * (wy1 - wy0)
            continue
        if n > _COPIES and level % 4 == 0:
            n = _drop_copies(box, start, n)
            end = start + n
        nxs = _slabs(box, start, n, order, ends, xs)
        if nxs * n <= _RECT_WORK or level >= _DEPTH or max(wx1 - wx0, wy1 - wy0) <= 1.0:
            a, ex, ey = _sweep_rects(box, start, n, order, xs, nxs, work, wx0, wy0, wx1, wy1, whx, why)
            area += a
            edge_x += ex
            edge_y += ey
            continue
        along_x = wx1 - wx0 >= wy1 - wy0
        low, high = (wx0, wx1) if along_x else (wy0, wy1)
        mid = 0.5 * (low + high)
        if high - low >= 2.0:
            mid = np.floor(mid)
        if end + 2 * n > box.shape[0]:
            grown = np.empty((2 * (end + 2 * n), 4))
            grown[:end] = box[:end]
            box = grown
        at = end
        for half in range(2):
            cx0, cx1, chx, cy0, cy1, chy = wx0, wx1, whx, wy0, wy1, why
            if along_x and half == 0:
                cx1, chx = mid, mid
            elif along_x:
                cx0 = mid
            elif half == 0:
                cy1, chy = mid, mid
            else:
                cy0 = mid
            first = at
            for r in range(start, end):
                if box[r, 0] < chx and box[r, 2] >= cx0 and box[r, 1] < chy and box[r, 3] >= cy0:
                    _cut_rect(box[r, 0], box[r, 1], box[r, 2], box[r, 3], cx0, cy0, cx1, cy1, box, at)
                    at += 1
            stack[depth, 0], stack[depth, 1], stack[depth, 2] = cx0, cy0, cx1
            stack[depth, 3], stack[depth, 4], stack[depth, 5] = cy1, chx, chy
            span[depth, 0], span[depth, 1], span[depth, 2] = first, at, level + 1
            depth += 1
    return area, edge_x, edge_y, box


@njit(cache=True, nogil=True)
def _edge_y(e, x):  # type: ignore[no-untyped-def]
    """y of edge e = (xl, yl, xr, yr, ...) at x, exact at its ends."""
    if x <= e[0]:
        return e[1]
    if x >= e[2]:
        return e[3]
    return e[1] + (e[3] - e[1]) * ((x - e[0]) / (e[2] - e[0]))


@njit(cache=True, nogil=True)
def _cover_of(edges, active, n, x, mid, order, winding, lo, hi, lo_edge, hi_edge):  # type: ignore[no-untyped-def]
    """Covered intervals of the active edges: sorted at x = mid, their ends given at x."""
    keys = np.empty(n)
    for t in range(n):
        keys[t] = _edge_y(edges[active[t]], mid)
    _order_small(keys, order, n)
    count = 0
    m = 0
    for t in range(n):
        winding[np.int64(edges[active[t], 5])] = 0
    for t in range(n):
        e = active[order[t]]
        p = np.int64(edges[e, 5])
        before = winding[p]
        after = before + np.int64(edges[e, 4])
        winding[p] = after
        was = count
        if before == 0 and after != 0:
            count += 1
        elif before != 0 and after == 0:
            count -= 1
        if was == 0 and count > 0:
            if m > 0 and keys[order[t]] - _edge_y(edges[hi_edge[m - 1]], mid) <= _SAME:
                m -= 1  # touches the interval below: one and the same
            else:
                lo_edge[m] = e
        elif was > 0 and count == 0:
            hi_edge[m] = e
            if keys[order[t]] - _edge_y(edges[lo_edge[m]], mid) > _SAME:
                m += 1
    for t in range(m):
        lo[t] = _edge_y(edges[lo_edge[t]], x)
        hi[t] = _edge_y(edges[hi_edge[t]], x)
    return m


@njit(cache=True, nogil=True)
def _sweep_quads(quad, k, x0, y0, x1, y1, hx, hy):  # type: ignore[no-untyped-def]
    """Area, projected edges and edge length of the union of convex quads in one window."""
    edges = np.empty((4 * k, 6))
    m = 0
    events = np.empty(64)
    ne = 0
    events[0] = x0
    events[1] = x1
    ne = 2
    for q in range(k):
        for c in range(4):
            ax, ay = quad[q, 2 * c], quad[q, 2 * c + 1]
            d = (c + 1) % 4
            bx, by = quad[q, 2 * d], quad[q, 2 * d + 1]
            if ne + 2 > events.shape[0]:
                events = np.concatenate((events, np.empty(events.shape[0])))
            if ax > x0 and ax < x1:
                events[ne] = ax
                ne += 1
            if ax == bx or max(ax, bx) < x0 or min(ax, bx) > x1:
                continue
            if ax < bx:
                edges[m] = (ax, ay, bx, by, 1.0, float(q))
            else:
                edges[m] = (bx, by, ax, ay, -1.0, float(q))
            m += 1
    for i in range(m):
        xl, yl, xr, yr = edges[i, 0], edges[i, 1], edges[i, 2], edges[i, 3]
        slope = (yr - yl) / (xr - xl)
        if slope != 0.0:
            for level in (y0, y1):
                if (yl - level) * (yr - level) < 0.0:
                    x = xl + (level - yl) / slope
                    if x > x0 and x < x1:
                        if ne + 2 > events.shape[0]:
                            events = np.concatenate((events, np.empty(events.shape[0])))
                        events[ne] = x
                        ne += 1
        for j in range(i):
            a = max(max(xl, edges[j, 0]), x0)
            b = min(min(xr, edges[j, 2]), x1)
            if a >= b:
                continue
            da = _edge_y(edges[i], a) - _edge_y(edges[j], a)
            db = _edge_y(edges[i], b) - _edge_y(edges[j], b)
            if da * db < 0.0:
                if ne + 2 > events.shape[0]:
                    events = np.concatenate((events, np.empty(events.shape[0])))
                events[ne] = a + (b - a) * (da / (da - db))
                ne += 1
    ne = _sort_small(events, ne)
    active = np.empty(m, np.int64)
    order = np.empty(m, np.int64)
    winding = np.zeros(k, np.int64)
    work = np.empty((4, m + 1))
    sides = np.empty((4, m + 1), np.int64)
    old_lo, old_hi, new_lo, new_hi = work[0], work[1], work[2], work[3]
    lo_edge, hi_edge = sides[0], sides[1]
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    length = 0.0
    # What lies left of the window, met at its left side.
    n = 0
    reach = 0.5
    for e in range(m):
        if edges[e, 0] < x0 and edges[e, 2] >= x0:
            active[n] = e
            n += 1
            reach = min(reach, 0.5 * (x0 - edges[e, 0]))
    n_old = _cover_of(
        edges, active, n, x0, x0 - 1e-3 * reach, order, winding, old_lo, old_hi, lo_edge, hi_edge
    )
    last = x0
    for s in range(ne - 1):
        xa, xb = last, events[s + 1]
        if xb - xa <= _SAME and s + 2 < ne:
            continue
        last = xb
        mid = 0.5 * (xa + xb)
        dx = xb - xa
        n = 0
        for e in range(m):
            if edges[e, 0] < mid and edges[e, 2] > mid:
                active[n] = e
                n += 1
        n_new = _cover_of(edges, active, n, xa, mid, order, winding, new_lo, new_hi, lo_edge, hi_edge)
        step = _overlap(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        edge_x += step
        length += step
        for t in range(n_new):
            for side in range(2):
                e = lo_edge[t] if side == 0 else hi_edge[t]
                y = _edge_y(edges[e], mid)
                if y >= y0 and y < hy:
                    slope = (edges[e, 3] - edges[e, 1]) / (edges[e, 2] - edges[e, 0])
                    edge_y += dx
                    edge_x += dx * abs(slope)
                    length += dx * np.sqrt(1.0 + slope * slope)
            dy = min(_edge_y(edges[hi_edge[t]], mid), y1) - max(_edge_y(edges[lo_edge[t]], mid), y0)
            if dy > 0.0:
                area += dx * dy
            old_lo[t] = _edge_y(edges[lo_edge[t]], xb)
            old_hi[t] = _edge_y(edges[hi_edge[t]], xb)
        n_old = n_new
    if hx > x1:
        n = 0
        reach = 0.5
        for e in range(m):
            if edges[e, 0] <= x1 and edges[e, 2] > x1:
                active[n] = e
                n += 1
                reach = min(reach, 0.5 * (edges[e, 2] - x1))
        n_new = _cover_of(
            edges, active, n, x1, x1 + 1e-3 * reach, order, winding, new_lo, new_hi, lo_edge, hi_edge
        )
        step = _overlap(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        edge_x += step
        length += step
    return area, edge_x, edge_y, length


@njit(cache=True, nogil=True)
def _meets(quad, q, x0, y0, x1, y1):  # type: ignore[no-untyped-def]
    """Whether convex quad q comes within a hair of the closed window (no separating line)."""
    lo_x = min(min(quad[q, 0], quad[q, 2]), min(quad[q, 4], quad[q, 6]))
    hi_x = max(max(quad[q, 0], quad[q, 2]), max(quad[q, 4], quad[q, 6]))
    lo_y = min(min(quad[q, 1], quad[q, 3]), min(quad[q, 5], quad[q, 7]))
    hi_y = max(max(quad[q, 1], quad[q, 3]), max(quad[q, 5], quad[q, 7]))
    if hi_x < x0 or lo_x > x1 or hi_y < y0 or lo_y > y1:
        return False
    turn = 0.0
    for c in range(4):
        d = (c + 1) % 4
        turn += quad[q, 2 * c] * quad[q, 2 * d + 1] - quad[q, 2 * d] * quad[q, 2 * c + 1]
    for c in range(4):
        d = (c + 1) % 4
        ax, ay = quad[q, 2 * c], quad[q, 2 * c + 1]
        ux, uy = quad[q, 2 * d] - ax, quad[q, 2 * d + 1] - ay
        if turn < 0.0:
            ux, uy = -ux, -uy
        if abs(ux) + abs(uy) < _SAME:  # a triangle: this side has no direction
            continue
        # Outward normal (uy, -ux): the window's corner least far along it.
        nx = x0 if uy > 0.0 else x1
        ny = y0 if -ux > 0.0 else y1
        if (nx - ax) * uy - (ny - ay) * ux > _SAME * (abs(ux) + abs(uy)):
            return False
    return True


@njit(cache=True, nogil=True)
def _covers(quad, q, x0, y0, x1, y1):  # type: ignore[no-untyped-def]
    """Whether convex quad q holds the closed window strictly inside."""
    turn = 0.0
    for c in range(4):
        d = (c + 1) % 4
        turn += quad[q, 2 * c] * quad[q, 2 * d + 1] - quad[q, 2 * d] * quad[q, 2 * c + 1]
    if turn == 0.0:
        return False
    for c in range(4):
        d = (c + 1) % 4
        ax, ay = quad[q, 2 * c], quad[q, 2 * c + 1]
        ux, uy = quad[q, 2 * d] - ax, quad[q, 2 * d + 1] - ay
        if turn < 0.0:
            ux, uy = -ux, -uy
        if abs(ux) + abs(uy) < _SAME:
            continue
        nx = x1 if uy > 0.0 else x0
        ny = y1 if -ux > 0.0 else y0
        if (nx - ax) * uy - (ny - ay) * ux >= 0.0:
            return False
    return True


@njit(cache=True, nogil=True)
def _quad_window(quad, k, x0, y0, x1, y1, hx, hy):  # type: ignore[no-untyped-def]
    """As _rect_window, for convex quads; also the edge length."""
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    length = 0.0
    stack = np.empty((4 * _DEPTH, 6))
    span = np.empty((4 * _DEPTH, 3), np.int64)
    stack[0] = (x0, y0, x1, y1, hx, hy)
    span[0] = (0, k, 0)
    depth = 1
    while depth > 0:
        depth -= 1
        wx0, wy0, wx1, wy1, whx, why = stack[depth]
        start, end, level = span[depth]
        n = end - start
        if n == 0:
            continue
        covered = False
        for q in range(start, end):
            if _covers(quad, q, wx0, wy0, wx1, wy1):
                covered = True
                break
        if covered:
            area += (wx1 - wx0) * (wy1 - wy0)
            continue
        wide = max(wx1 - wx0, wy1 - wy0)
        if n > _QUAD_WORK and level < _DEPTH and wide > 1.0:
            along_x = wx1 - wx0 >= wy1 - wy0
            mid = 0.5 * (wx0 + wx1) if along_x else 0.5 * (wy0 + wy1)
            if wide >= 2.0:
                mid = np.floor(mid)
            if end + 2 * n > quad.shape[0]:
                grown = np.empty((2 * (end + 2 * n), 8))
                grown[:end] = quad[:end]
                quad = grown
            at = end
            for half in range(2):
                if along_x:
                    cx0, cx1, chx = (wx0, mid, mid) if half == 0 else (mid, wx1, whx)
                    cy0, cy1, chy = wy0, wy1, why
                else:
                    cx0, cx1, chx = wx0, wx1, whx
                    cy0, cy1, chy = (wy0, mid, mid) if half == 0 else (mid, wy1, why)
                first = at
                for q in range(start, end):
                    if _meets(quad, q, cx0, cy0, cx1, cy1):
                        quad[at] = quad[q]
                        at += 1
                stack[depth] = (cx0, cy0, cx1, cy1, chx, chy)
                span[depth] = (first, at, level + 1)
                depth += 1
            continue
        a, ex, ey, ll = _sweep_quads(quad[start:end], n, wx0, wy0, wx1, wy1, whx, why)
        area += a
        edge_x += ex
        edge_y += ey
        length += ll
    return area, edge_x, edge_y, length, quad


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
                if _meets(quads, q, x, y, gx + (i + 1) * cx, gy + (j + 1) * cy):
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
                if _meets(quads, q, x, y, gx + (i + 1) * cx, gy + (j + 1) * cy):
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
    scratch = _scratch(64)
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
                    scratch = _scratch(2 * k)
                for t in range(k):
                    r = rect_items[first + t]
                    _cut_rect(rects[r, 0], rects[r, 1], rects[r, 2], rects[r, 3], x0, y0, x1, y1, box, t)
                area, ex, ey, box = _rect_window(box, k, x0, y0, x1, y1, hx, hy, scratch)
                length = ex + ey
            else:
                if k + m > mixed.shape[0]:
                    mixed = np.empty((2 * (k + m), 8))
                for t in range(k):
                    a, b, e, f = rects[rect_items[first + t]]
                    mixed[t] = (a, b, e, b, e, f, a, f)
                for t in range(m):
                    mixed[k + t] = quads[quad_items[quad_at[c] - m + t]]
                area, ex, ey, length, mixed = _quad_window(mixed, k + m, x0, y0, x1, y1, hx, hy)
            out[0, j, i] = area
            out[1, j, i] = ex
            out[2, j, i] = ey
            out[3, j, i] = length
    return out
