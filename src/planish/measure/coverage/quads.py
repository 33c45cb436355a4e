"""Area and edges of the union of convex quadrilaterals in one window.

Swept in slabs between corners and crossings, within which no two sides cross.
Windows are half open, see ``coverage``.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from planish.measure.coverage.rects import DEPTH, exclusive_length, half_of, middle
from planish.measure.coverage.sides import going_on, height_at, rank
from planish.measure.coverage.sort import longer, rows_by_first, sort_distinct, taller

_WORK = 20  # quadrilaterals up to which a window is swept whole
_MOST = 6000  # quadrilaterals from which a window is split even if that helps little
_ROOM = 1_500_000  # quadrilaterals in all parts of a window together (96 MB)
_MOST_EVENTS = 4_000_000  # corners and crossings in one window (64 MB)
_SAME = 1e-6  # database units: two slanted sides closer than this touch


@njit(cache=True, nogil=True)
def _cover_of(edges, active, n, x, keys, winding, lo, hi, lo_edge, hi_edge):  # type: ignore[no-untyped-def]
    """Covered intervals of ranked active edges: which edges bound them, and their ends at x."""
    count = 0
    m = 0
    touch = 0.0
    for t in range(n):
        winding[np.int64(edges[active[t], 5])] = 0
    for t in range(n):
        e = active[t]
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
            if m > 0 and keys[t] - touch <= _SAME:
                m -= 1  # touches the interval below: one and the same
            else:
                lo_edge[m] = e
                lo[m] = keys[t]
        elif was > 0 and count == 0:
            hi_edge[m] = e
            if keys[t] - lo[m] > _SAME:
                m += 1
                touch = keys[t]
    for t in range(m):
        lo[t] = height_at(edges, lo_edge[t], x)
        hi[t] = height_at(edges, hi_edge[t], x)
    return m


@njit(cache=True, nogil=True)
def _edges_of(quad, k, x0, x1):  # type: ignore[no-untyped-def]
    """Sides (xl, yl, xr, yr, direction, quad) that run across [x0, x1], by xl; and the corners' x within."""
    edges = np.empty((4 * k, 6))
    events = np.empty(4 * k + 2)
    events[0] = x0
    events[1] = x1
    m = 0
    ne = 2
    for q in range(k):
        for c in range(4):
            d = (c + 1) % 4
            ax, ay = quad[q, 2 * c], quad[q, 2 * c + 1]
            bx, by = quad[q, 2 * d], quad[q, 2 * d + 1]
            if ax > x0 and ax < x1:
                events[ne] = ax
                ne += 1
            if ax == bx or max(ax, bx) < x0 or min(ax, bx) > x1:
                continue
            if ax < bx:
                edges[m, 0], edges[m, 1], edges[m, 2], edges[m, 3], edges[m, 4] = ax, ay, bx, by, 1.0
            else:
                edges[m, 0], edges[m, 1], edges[m, 2], edges[m, 3], edges[m, 4] = bx, by, ax, ay, -1.0
            edges[m, 5] = q
            m += 1
    return rows_by_first(edges, m), events[:ne]


@njit(cache=True, nogil=True)
def _crossings(edges, events, x0, y0, x1, y1, left):  # type: ignore[no-untyped-def]
    """Events with the x where sides cross each other or the window's lower and upper side."""
    m = edges.shape[0]
    ne = events.shape[0]
    events = longer(events)
    for i in range(m):
        if left[0] < 0 or ne > _MOST_EVENTS:
            left[0] = -1
            break
        xl, yl, xr, yr = edges[i, 0], edges[i, 1], edges[i, 2], edges[i, 3]
        low, high = min(yl, yr), max(yl, yr)
        if high < y0 or low > y1:
            continue
        if ne + 2 > events.shape[0]:
            events = longer(events)
        for level in (y0, y1):
            if (yl - level) * (yr - level) < 0.0:
                x = xl + (level - yl) * ((xr - xl) / (yr - yl))
                if x > x0 and x < x1:
                    events[ne] = x
                    ne += 1
        for j in range(i + 1, m):
            left[0] -= 3
            if edges[j, 0] >= xr:
                break
            if min(edges[j, 1], edges[j, 3]) > high or max(edges[j, 1], edges[j, 3]) < low:
                continue
            a = max(edges[j, 0], x0)
            b = min(min(xr, edges[j, 2]), x1)
            if a >= b:
                continue
            da = height_at(edges, i, a) - height_at(edges, j, a)
            db = height_at(edges, i, b) - height_at(edges, j, b)
            if da * db < 0.0:
                if ne + 2 > events.shape[0]:
                    events = longer(events)
                events[ne] = a + (b - a) * (da / (da - db))
                ne += 1
    return sort_distinct(events, ne)


@njit(cache=True, nogil=True)
def _sweep_quads(quad, k, x0, y0, x1, y1, hx, hy, left):  # type: ignore[no-untyped-def]
    """Area, projected edges and edge length of the union of convex quads in one window."""
    edges, events = _edges_of(quad, k, x0, x1)
    events = _crossings(edges, events, x0, y0, x1, y1, left)
    m = edges.shape[0]
    ne = events.shape[0]
    active = np.empty(m, np.int64)
    keys = np.empty(m)
    winding = np.zeros(k, np.int64)
    work = np.empty((4, m + 1))
    sides = np.empty((2, m + 1), np.int64)
    old_lo, old_hi, new_lo, new_hi = work[0], work[1], work[2], work[3]
    lo_edge, hi_edge = sides[0], sides[1]
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    length = 0.0
    # What lies left of the window, met at its left side.
    n = 0
    after = 0
    reach = 0.5
    while after < m and edges[after, 0] < x0:
        if edges[after, 2] >= x0:
            active[n] = after
            n += 1
            reach = min(reach, 0.5 * (x0 - edges[after, 0]))
        after += 1
    rank(edges, active, n, x0 - 1e-3 * reach, keys)
    n_old = _cover_of(edges, active, n, x0, keys, winding, old_lo, old_hi, lo_edge, hi_edge)
    last = x0
    for s in range(ne - 1):
        left[0] -= 25 * n + 25
        if left[0] < 0:
            break
        xa, xb = last, events[s + 1]
        if xb - xa <= _SAME and s + 2 < ne:
            continue
        last = xb
        mid = 0.5 * (xa + xb)
        dx = xb - xa
        n = going_on(edges, active, n, mid)
        while after < m and edges[after, 0] < mid:
            if edges[after, 2] > mid:
                active[n] = after
                n += 1
            after += 1
        rank(edges, active, n, mid, keys)
        n_new = _cover_of(edges, active, n, xa, keys, winding, new_lo, new_hi, lo_edge, hi_edge)
        step = exclusive_length(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        edge_x += step
        length += step
        for t in range(n_new):
            for side in range(2):
                e = lo_edge[t] if side == 0 else hi_edge[t]
                y = height_at(edges, e, mid)
                if y >= y0 and y < hy:
                    slope = (edges[e, 3] - edges[e, 1]) / (edges[e, 2] - edges[e, 0])
                    edge_y += dx
                    edge_x += dx * abs(slope)
                    length += dx * np.sqrt(1.0 + slope * slope)
            dy = min(height_at(edges, hi_edge[t], mid), y1) - max(height_at(edges, lo_edge[t], mid), y0)
            if dy > 0.0:
                area += dx * dy
            old_lo[t] = height_at(edges, lo_edge[t], xb)
            old_hi[t] = height_at(edges, hi_edge[t], xb)
        n_old = n_new
    if hx > x1:
        n = 0
        reach = 0.5
        for e in range(m):
            if edges[e, 0] <= x1 and edges[e, 2] > x1:
                active[n] = e
                n += 1
                reach = min(reach, 0.5 * (edges[e, 2] - x1))
        rank(edges, active, n, x1 + 1e-3 * reach, keys)
        n_new = _cover_of(edges, active, n, x1, keys, winding, new_lo, new_hi, lo_edge, hi_edge)
        step = exclusive_length(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        edge_x += step
        length += step
    return area, edge_x, edge_y, length


@njit(cache=True, nogil=True)
def _turn(quad, q):  # type: ignore[no-untyped-def]
    """Twice the area of quad q, negative where its corners run clockwise."""
    turn = 0.0
    for c in range(4):
        d = (c + 1) % 4
        turn += quad[q, 2 * c] * quad[q, 2 * d + 1] - quad[q, 2 * d] * quad[q, 2 * c + 1]
    return turn


@njit(cache=True, nogil=True)
def _side(quad, q, c, turn):  # type: ignore[no-untyped-def]
    """Corner c of quad q and the side from there (ux, uy), as if anticlockwise: (uy, -ux) points outwards."""
    d = (c + 1) % 4
    ax, ay = quad[q, 2 * c], quad[q, 2 * c + 1]
    ux, uy = quad[q, 2 * d] - ax, quad[q, 2 * d + 1] - ay
    if turn < 0.0:
        ux, uy = -ux, -uy
    return ax, ay, ux, uy


@njit(cache=True, nogil=True)
def quad_meets(quad, q, x0, y0, x1, y1):  # type: ignore[no-untyped-def]
    """Return whether a convex quad comes within a hair of the closed window (no separating line).

    Parameters
    ----------
    quad, q
        Quads (n, 8), and which.
    x0, y0, x1, y1
        The window.

    Returns
    -------
    answer
        True or False.
    """
    lo_x = min(min(quad[q, 0], quad[q, 2]), min(quad[q, 4], quad[q, 6]))
    hi_x = max(max(quad[q, 0], quad[q, 2]), max(quad[q, 4], quad[q, 6]))
    lo_y = min(min(quad[q, 1], quad[q, 3]), min(quad[q, 5], quad[q, 7]))
    hi_y = max(max(quad[q, 1], quad[q, 3]), max(quad[q, 5], quad[q, 7]))
    if hi_x < x0 or lo_x > x1 or hi_y < y0 or lo_y > y1:
        return False
    turn = _turn(quad, q)
    for c in range(4):
        ax, ay, ux, uy = _side(quad, q, c, turn)
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
    turn = _turn(quad, q)
    if turn == 0.0:
        return False
    for c in range(4):
        ax, ay, ux, uy = _side(quad, q, c, turn)
        if abs(ux) + abs(uy) < _SAME:
            continue
        nx = x1 if uy > 0.0 else x0
        ny = y1 if -ux > 0.0 else y0
        if (nx - ax) * uy - (ny - ay) * ux >= 0.0:
            return False
    return True


@njit(cache=True, nogil=True)
def quad_window(quad, k, x0, y0, x1, y1, hx, hy, left):  # type: ignore[no-untyped-def]
    """Return area and edges of the union of quad[:k] in a window, and the edge length.

    Parameters
    ----------
    quad
        Convex quads, (n, 8).
    k
        How many count.
    x0, y0, x1, y1, hx, hy, left
        As in :func:`~planish.measure.coverage.rects.rect_window`.

    Returns
    -------
    area, edge_x, edge_y, length, quad
        [database units], and the quads with their parts.
    """
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
    length = 0.0
    stack = np.empty((4 * DEPTH, 6))
    span = np.empty((4 * DEPTH, 3), np.int64)
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
        left[0] -= 100 * n
        if left[0] < 0:
            break
        covered = False
        for q in range(start, end):
            if _covers(quad, q, wx0, wy0, wx1, wy1):
                covered = True
                break
        if covered:
            area += (wx1 - wx0) * (wy1 - wy0)
            continue
        wide = max(wx1 - wx0, wy1 - wy0)
        # Split along the longer side, or the other, if that leaves clearly less work: pairs of shapes.
        # Where shapes lie so that no cut parts them, sweep them whole.
        split = False
        if n > _WORK and level < DEPTH and wide > 1.0:
            if end + 2 * n > _ROOM:
                left[0] = -1
                break
            if end + 2 * n > quad.shape[0]:
                quad = taller(quad, end + 2 * n)
            for attempt in range(2):
                along_x = (wx1 - wx0 >= wy1 - wy0) == (attempt == 0)
                mid = middle(wx0, wx1) if along_x else middle(wy0, wy1)
                at = end
                for half in range(2):
                    part = half_of(wx0, wy0, wx1, wy1, whx, why, along_x, mid, half)
                    first = at
                    for q in range(start, end):
                        if quad_meets(quad, q, part[0], part[1], part[2], part[3]):
                            if at > first and _covers(quad, q, part[0], part[1], part[2], part[3]):
                                at = first + 1  # this one is enough
                                quad[first] = quad[q]
                                break
                            quad[at] = quad[q]
                            at += 1
                    slot = depth + half
                    stack[slot] = part
                    span[slot] = (first, at, level + 1)
                n0 = span[depth, 1] - span[depth, 0]
                n1 = span[depth + 1, 1] - span[depth + 1, 0]
                if n0 * n0 + n1 * n1 <= 0.7 * n * n or (attempt == 1 and n > _MOST):
                    split = True
                    break
        if split:
            depth += 2
            continue
        a, ex, ey, ll = _sweep_quads(quad[start:end], n, wx0, wy0, wx1, wy1, whx, why, left)
        area += a
        edge_x += ex
        edge_y += ey
        length += ll
    return area, edge_x, edge_y, length, quad
