"""Polygons turned into what the coverage kernels sweep: rectangles and convex quads."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.errors import DataError
from planish.measure.coverage.sides import going_on, height_at, rank
from planish.measure.coverage.sort import longer, rows_by_first, sort_distinct, taller
from planish.measure.layout.limits import STRANGER

# Parts that one polygon may give. Sound ones give at most two a corner.
_PARTS_PER_CORNER, _PARTS = 16, 100_000
_TOGETHER = 3_000_000  # parts of the polygons that are divided in one go (192 MB)


@njit(cache=True, nogil=True)
def is_right_angled(xs, ys, n):  # type: ignore[no-untyped-def]
    """Return whether every side of the closed polygon runs along x or y.

    Parameters
    ----------
    xs, ys
        Its corners.
    n
        How many of them count.

    Returns
    -------
    answer
        True or False.
    """
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        if xs[i] != xs[j] and ys[i] != ys[j]:
            return False
    return True


@njit(cache=True, nogil=True)
def _sides(xs, ys, n):  # type: ignore[no-untyped-def]
    """Sides (xl, yl, xr, yr, direction) of a closed polygon that are not along y, by xl."""
    edge = np.empty((n, 5))
    m = 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        if xs[i] < xs[j]:
            edge[m, 0] = xs[i]
            edge[m, 1] = ys[i]
            edge[m, 2] = xs[j]
            edge[m, 3] = ys[j]
            edge[m, 4] = 1.0
            m += 1
        elif xs[i] > xs[j]:
            edge[m, 0] = xs[j]
            edge[m, 1] = ys[j]
            edge[m, 2] = xs[i]
            edge[m, 3] = ys[i]
            edge[m, 4] = -1.0
            m += 1
    return rows_by_first(edge, m)


@njit(cache=True, nogil=True)
def _put_rect(out, k, x0, y0, x1, y1):  # type: ignore[no-untyped-def]
    """Write a rectangle as row k; return the table, taller where it was full."""
    if k == out.shape[0]:
        out = taller(out, 0)
    out[k, 0] = x0
    out[k, 1] = y0
    out[k, 2] = x1
    out[k, 3] = y1
    return out


@njit(cache=True, nogil=True)
def right_angled_rects(xs, ys, n, left):  # type: ignore[no-untyped-def]
    """Return rectangles whose union is the inside of a right-angled polygon.

    Inside is where the winding number is not zero, so that holes joined to the outline by a slit stay
    holes.

    Parameters
    ----------
    xs, ys
        Its corners.
    n
        How many of them count.
    left
        ``left[0]`` is how many steps may be taken; it is counted down, and below zero once they, or the
        room for the parts, ran out.

    Returns
    -------
    rects
        (m, 4).
    """
    most = _PARTS_PER_CORNER * n + _PARTS
    edge = _sides(xs, ys, n)
    m = edge.shape[0]
    cuts = np.empty(2 * m)
    for i in range(m):
        cuts[i] = edge[i, 0]
        cuts[m + i] = edge[i, 2]
    cuts = sort_distinct(cuts, 2 * m)
    active = np.empty(m, np.int64)
    open_lo = np.empty(m)
    open_hi = np.empty(m)
    open_x = np.empty(m)
    new_lo = np.empty(m)
    new_hi = np.empty(m)
    new_x = np.empty(m)
    out = np.empty((max(4, n), 4))
    k = 0
    n_active = 0
    n_open = 0
    after = 0
    for x in cuts:
        left[0] -= 2 * n_active + n_open + 1
        if left[0] < 0 or k > most:
            left[0] = -1
            return out[:0]
        n_active = going_on(edge, active, n_active, x)
        while after < m and edge[after, 0] == x:
            i = n_active - 1
            while i >= 0 and edge[active[i], 1] > edge[after, 1]:
                active[i + 1] = active[i]
                i -= 1
            left[0] -= n_active - i
            active[i + 1] = after
            n_active += 1
            after += 1
        n_new = 0
        winding = 0.0
        lo = 0.0
        for i in range(n_active):
            e = active[i]
            was = winding
            winding += edge[e, 4]
            if was == 0.0 and winding != 0.0:
                lo = edge[e, 1]
                if n_new > 0 and new_hi[n_new - 1] == lo:
                    n_new -= 1
                    lo = new_lo[n_new]
            elif was != 0.0 and winding == 0.0 and edge[e, 1] > lo:
                new_lo[n_new] = lo
                new_hi[n_new] = edge[e, 1]
                n_new += 1
        # Intervals that go on unchanged stay open; the others end or begin here.
        i = 0
        for t in range(n_new):
            while i < n_open and open_lo[i] < new_lo[t]:
                out = _put_rect(out, k, open_x[i], open_lo[i], x, open_hi[i])
                k += 1
                i += 1
            if i < n_open and open_lo[i] == new_lo[t]:
                if open_hi[i] == new_hi[t]:
                    new_x[t] = open_x[i]
                else:
                    out = _put_rect(out, k, open_x[i], open_lo[i], x, open_hi[i])
                    k += 1
                    new_x[t] = x
                i += 1
            else:
                new_x[t] = x
        while i < n_open:
            out = _put_rect(out, k, open_x[i], open_lo[i], x, open_hi[i])
            k += 1
            i += 1
        open_lo, new_lo = new_lo, open_lo
        open_hi, new_hi = new_hi, open_hi
        open_x, new_x = new_x, open_x
        n_open = n_new
    return out[:k]


@njit(cache=True, nogil=True)
def trapezoids(xs, ys, n, left):  # type: ignore[no-untyped-def]
    """Return quads with sides along y whose union is the inside (winding not zero) of any polygon.

    Parameters
    ----------
    xs, ys, n, left
        As in :func:`right_angled_rects`.

    Returns
    -------
    quads
        (m, 8).
    """
    most = _PARTS_PER_CORNER * n + _PARTS
    edge = _sides(xs, ys, n)
    m = edge.shape[0]
    cuts = np.empty(2 * m + 16)
    nc = 0
    for i in range(m):
        cuts[nc] = edge[i, 0]
        cuts[nc + 1] = edge[i, 2]
        nc += 2
    for i in range(m):
        lo_i = min(edge[i, 1], edge[i, 3])
        hi_i = max(edge[i, 1], edge[i, 3])
        if left[0] < 0 or nc > 4 * most:
            left[0] = -1
            return np.empty((0, 8))
        for j in range(i + 1, m):
            left[0] -= 1
            if edge[j, 0] >= edge[i, 2]:
                break
            if min(edge[j, 1], edge[j, 3]) > hi_i or max(edge[j, 1], edge[j, 3]) < lo_i:
                continue
            a = edge[j, 0]
            b = min(edge[i, 2], edge[j, 2])
            da = height_at(edge, i, a) - height_at(edge, j, a)
            db = height_at(edge, i, b) - height_at(edge, j, b)
            if da * db < 0.0:
                if nc == cuts.shape[0]:
                    cuts = longer(cuts)
                cuts[nc] = a + (b - a) * (da / (da - db))
                nc += 1
    cuts = sort_distinct(cuts, nc)
    active = np.empty(m, np.int64)
    open_lo = np.empty(m, np.int64)
    open_hi = np.empty(m, np.int64)
    open_x = np.empty(m)
    new_lo = np.empty(m, np.int64)
    new_hi = np.empty(m, np.int64)
    new_x = np.empty(m)
    keys = np.empty(m)
    out = np.empty((max(4, 2 * n), 8))
    k = 0
    n_active = 0
    n_open = 0
    after = 0
    for s in range(cuts.shape[0]):
        x = cuts[s]
        left[0] -= 4 * n_active + n_open + 1
        if left[0] < 0 or k > most:
            left[0] = -1
            return out[:0]
        n_active = going_on(edge, active, n_active, x)
        while after < m and edge[after, 0] <= x:
            active[n_active] = after
            n_active += 1
            after += 1
        n_new = 0
        if s + 1 < cuts.shape[0]:
            mid = 0.5 * (x + cuts[s + 1])
            left[0] -= rank(edge, active, n_active, mid, keys)
            winding = 0.0
            for i in range(n_active):
                e = active[i]
                was = winding
                winding += edge[e, 4]
                if was == 0.0 and winding != 0.0:
                    if n_new > 0 and height_at(edge, new_hi[n_new - 1], mid) == keys[i]:
                        n_new -= 1  # touches the part below: one and the same
                    else:
                        new_lo[n_new] = e
                elif was != 0.0 and winding == 0.0:
                    new_hi[n_new] = e
                    if keys[i] > height_at(edge, new_lo[n_new], mid):
                        n_new += 1
        for t in range(n_new):
            new_x[t] = x
        likely = 0  # parts that go on stand in the same order: the next is looked for behind the last
        for i in range(n_open):
            kept = False
            for step in range(n_new):
                t = (likely + step) % n_new
                left[0] -= 1
                if new_lo[t] == open_lo[i] and new_hi[t] == open_hi[i]:
                    new_x[t] = open_x[i]
                    kept = True
                    likely = t + 1
                    break
            if not kept:
                if k == out.shape[0]:
                    out = taller(out, 0)
                xa = open_x[i]
                lo = open_lo[i]
                hi = open_hi[i]
                out[k, 0] = xa
                out[k, 1] = height_at(edge, lo, xa)
                out[k, 2] = x
                out[k, 3] = height_at(edge, lo, x)
                out[k, 4] = x
                out[k, 5] = height_at(edge, hi, x)
                out[k, 6] = xa
                out[k, 7] = height_at(edge, hi, xa)
                k += 1
        open_lo, new_lo = new_lo, open_lo
        open_hi, new_hi = new_hi, open_hi
        open_x, new_x = new_x, open_x
        n_open = n_new
    return out[:k]


@njit(cache=True, nogil=True)
def _joined(table, n, part, left):  # type: ignore[no-untyped-def]
    """Write more rows behind the first n; return the table, taller where it was full. left[0] as above."""
    end = n + part.shape[0]
    if end > _TOGETHER:
        left[0] = -1
        return table
    if end > table.shape[0]:
        table = taller(table, end)
    for r in range(part.shape[0]):
        for c in range(part.shape[1]):
            table[n + r, c] = part[r, c]
    return table


@njit(cache=True, nogil=True)
def _right_angled_parts(xs, ys, starts, n, others, left):  # type: ignore[no-untyped-def]
    """Rectangles of the right-angled polygons; the others are marked."""
    rects = np.empty((2 * n + 4, 4))
    nr = 0
    for p in range(n):
        a = starts[p]
        count = starts[p + 1] - a
        others[p] = False
        if count < 3:
            continue
        if not is_right_angled(xs[a : a + count], ys[a : a + count], count):
            others[p] = True
            continue
        part = right_angled_rects(xs[a : a + count], ys[a : a + count], count, left)
        rects = _joined(rects, nr, part, left)
        if left[0] < 0:
            break
        nr += part.shape[0]
    return rects[:nr]


@njit(cache=True, nogil=True)
def _other_parts(xs, ys, starts, n, others, left):  # type: ignore[no-untyped-def]
    """Quads of the polygons marked."""
    quads = np.empty((16, 8))
    nq = 0
    for p in range(n):
        if not others[p]:
            continue
        a = starts[p]
        count = starts[p + 1] - a
        part = trapezoids(xs[a : a + count], ys[a : a + count], count, left)
        quads = _joined(quads, nq, part, left)
        if left[0] < 0:
            break
        nq += part.shape[0]
    return quads[:nq]


def split_polygons(
    xs: NDArray[Any],
    ys: NDArray[Any],
    starts: NDArray[np.int64],
    n: int,
    left: NDArray[np.int64] | None = None,
    place: str = "polygons",
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return rectangles and quads that make up polygons.

    Parameters
    ----------
    xs, ys
        Corners [database units] of any number type; repeated corners and polygons without area do no harm.
    starts
        Corners of polygon i lie at starts[i]:starts[i + 1].
    n
        How many polygons.
    left
        ``left[0]`` is how many steps the polygons of a whole file may still take; it is counted down.
    place
        For the refusal.

    Returns
    -------
    tuple[NDArray[np.float64], NDArray[np.float64]]
        Rectangles (k, 4), quads (m, 8).

    Raises
    ------
    DataError
        If the polygons cross themselves so often that the steps, or the room, run out.

    Notes
    -----
    The two kinds are compiled apart, so that a layout without slanted sides does not wait for the other.
    """
    left = np.array([STRANGER.splitting]) if left is None else left
    used = int(starts[n])
    x = np.ascontiguousarray(xs[:used], dtype=np.float64)
    y = np.ascontiguousarray(ys[:used], dtype=np.float64)
    others = np.zeros(n, dtype=np.bool_)
    at = np.ascontiguousarray(starts, dtype=np.int64)
    rects = _right_angled_parts(x, y, at, n, others, left)
    quads = _other_parts(x, y, at, n, others, left) if others.any() else np.empty((0, 8))
    if left[0] < 0:
        raise DataError(
            f"{place}: its polygons cross themselves too often to be divided into rectangles and quads"
            " (merge or clean them first)"
        )
    return rects, quads
