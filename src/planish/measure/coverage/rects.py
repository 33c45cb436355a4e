"""Area and edges of the union of rectangles in one window: slabs between their x coordinates.

Windows are half open, see ``coverage``. A window with many rectangles is split
first, for one that covers a whole part ends the work there.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from planish.measure.coverage.sort import order_of, taller

DEPTH = 44  # splits of a window, at most
_WORK = 40_000  # slabs times rectangles up to which a window is swept whole
_ROOM = 8_000_000  # rectangles in all parts of a window together (256 MB)
_COPIES = 400  # rectangles in one window from which it pays to look for copies


@njit(cache=True, nogil=True)
def exclusive_length(lo_a, hi_a, n_a, lo_b, hi_b, n_b, y0, y1):  # type: ignore[no-untyped-def]
    """Return the length in [y0, y1] that exactly one of two sorted interval lists covers.

    Parameters
    ----------
    lo_a, hi_a, n_a, lo_b, hi_b, n_b
        Ends of the intervals of each list, and how many count.
    y0, y1
        The range.

    Returns
    -------
    length
        In the unit of the ends.
    """
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
def rect_scratch(size):  # type: ignore[no-untyped-def]
    """Return working arrays for windows, made once and used for many.

    Parameters
    ----------
    size
        Rectangles of the largest window.

    Returns
    -------
    scratch
        For :func:`rect_window`.
    """
    return (
        np.empty((3, size), np.int64),
        np.empty((2, size)),
        np.empty(2 * size),
        np.empty((7, size)),
        np.empty((4 * DEPTH, 6)),
        np.empty((4 * DEPTH, 3), np.int64),
    )


@njit(cache=True, nogil=True)
def _slabs(box, start, n, orders, keys, xs):  # type: ignore[no-untyped-def]
    """Order n rectangles by their left side (orders[0]); return how many x differ, sorted in xs."""
    order, ends, spare = orders[0], orders[1], orders[2]
    left, right = keys[0], keys[1]
    for i in range(n):
        left[i] = box[start + i, 0]
        right[i] = box[start + i, 2]
    order_of(left, n, order, spare)
    order_of(right, n, ends, spare)
    m = 0
    i = 0
    j = 0
    while j < n:
        if i < n and left[order[i]] <= right[ends[j]]:
            v = left[order[i]]
            i += 1
        else:
            v = right[ends[j]]
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
            edge_x += exclusive_length(old_lo, old_hi, n_old, new_lo, new_hi, n_new, y0, y1)
        old_lo, new_lo = new_lo, old_lo
        old_hi, new_hi = new_hi, old_hi
        n_old = n_new
    return area, edge_x, edge_y


@njit(cache=True, nogil=True)
def cut_rect(a, b, c, d, x0, y0, x1, y1, out, at):  # type: ignore[no-untyped-def]
    """Write a rectangle cut to a window; sides beyond it move to one unit outside.

    The unit outside keeps what touches or crosses the border apart from what ends there, which is what
    tells an edge of the union from its inside.

    Parameters
    ----------
    a, b, c, d
        The rectangle.
    x0, y0, x1, y1
        The window.
    out, at
        Filled in place, and in which row.
    """
    out[at, 0] = a if a >= x0 else x0 - 1.0
    out[at, 1] = b if b >= y0 else y0 - 1.0
    out[at, 2] = c if c <= x1 else x1 + 1.0
    out[at, 3] = d if d <= y1 else y1 + 1.0


@njit(cache=True, nogil=True)
def _drop_copies(box, start, n, orders, keys):  # type: ignore[no-untyped-def]
    """Keep one of each rectangle among box[start : start + n]; return how many are left."""
    order, spare = orders[0], orders[2]
    part = np.empty((2, n, 4))
    now, then = 0, 1
    for r in range(n):
        for c in range(4):
            part[0, r, c] = box[start + r, c]
    for side in range(4):
        for r in range(n):
            keys[0, r] = part[now, r, side]
        order_of(keys[0], n, order, spare)
        for r in range(n):
            for c in range(4):
                part[then, r, c] = part[now, order[r], c]
        now, then = then, now
    m = 0
    for r in range(n):
        new = r == 0
        for side in range(4):
            new = new or part[now, r, side] != part[now, r - 1, side]
        if new:
            for c in range(4):
                box[start + m, c] = part[now, r, c]
            m += 1
    return m


@njit(cache=True, nogil=True)
def middle(low, high):  # type: ignore[no-untyped-def]
    """Return where a window is split: at a whole number, where there is one inside.

    Parameters
    ----------
    low, high
        Its ends.

    Returns
    -------
    middle
        In their unit.
    """
    mid = 0.5 * (low + high)
    return np.floor(mid) if high - low >= 2.0 else mid


@njit(cache=True, nogil=True)
def half_of(x0, y0, x1, y1, hx, hy, along_x, mid, half):  # type: ignore[no-untyped-def]
    """Return one half of a window.

    Parameters
    ----------
    x0, y0, x1, y1, hx, hy
        The window, as in :func:`rect_window`.
    along_x, mid
        Whether it is split at an x, and where.
    half
        0 the lower, 1 the upper.

    Returns
    -------
    window
        (x0, y0, x1, y1, hx, hy).
    """
    if along_x:
        return (x0, y0, mid, y1, mid, hy) if half == 0 else (mid, y0, x1, y1, hx, hy)
    return (x0, y0, x1, mid, hx, mid) if half == 0 else (x0, mid, x1, y1, hx, hy)


@njit(cache=True, nogil=True)
def rect_window(box, k, x0, y0, x1, y1, hx, hy, scratch, left):  # type: ignore[no-untyped-def]
    """Return area and edges of the union of box[:k] in a window.

    Parameters
    ----------
    box
        Rectangles, (n, 4); parts of them are written behind, in a larger box.
    k
        How many count.
    x0, y0, x1, y1
        The window.
    hx, hy
        Its ends up to which what lies on them counts.
    scratch
        From :func:`rect_scratch`.
    left
        ``left[0]``, the steps that may still be taken, is counted down; below zero what is returned is
        void.

    Returns
    -------
    area, edge_x, edge_y, box
        [database units], and the box with its parts.
    """
    orders, keys, xs, work, stack, span = scratch
    area = 0.0
    edge_x = 0.0
    edge_y = 0.0
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
        left[0] -= 4 * n
        if left[0] < 0:
            break
        covered = False
        for r in range(start, end):
            if box[r, 0] < wx0 and box[r, 1] < wy0 and box[r, 2] >= whx and box[r, 3] >= why:
                covered = True
                break
        if covered:
            area += (wx1 - wx0) * (wy1 - wy0)
            continue
        if n > _COPIES and level % 4 == 0:
            left[0] -= 20 * n
            n = _drop_copies(box, start, n, orders, keys)
            end = start + n
        nxs = _slabs(box, start, n, orders, keys, xs)
        if nxs * n <= _WORK or level >= DEPTH or max(wx1 - wx0, wy1 - wy0) <= 1.0:
            left[0] -= 10 * n + nxs * n // 8
            if left[0] < 0:
                break
            a, ex, ey = _sweep_rects(box, start, n, orders[0], xs, nxs, work, wx0, wy0, wx1, wy1, whx, why)
            area += a
            edge_x += ex
            edge_y += ey
            continue
        along_x = wx1 - wx0 >= wy1 - wy0
        mid = middle(wx0, wx1) if along_x else middle(wy0, wy1)
        if end + 2 * n > _ROOM:
            left[0] = -1
            break
        if end + 2 * n > box.shape[0]:
            box = taller(box, end + 2 * n)
        at = end
        for half in range(2):
            part = half_of(wx0, wy0, wx1, wy1, whx, why, along_x, mid, half)
            cx0, cy0, cx1, cy1, chx, chy = part
            first = at
            for r in range(start, end):
                if box[r, 0] < chx and box[r, 2] >= cx0 and box[r, 1] < chy and box[r, 3] >= cy0:
                    cut_rect(box[r, 0], box[r, 1], box[r, 2], box[r, 3], cx0, cy0, cx1, cy1, box, at)
                    at += 1
            stack[depth] = part
            span[depth] = (first, at, level + 1)
            depth += 1
    return area, edge_x, edge_y, box
