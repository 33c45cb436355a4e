"""The shapes of a top cell that meet a window: the compiled walk down the tree of cells."""

from __future__ import annotations

import numpy as np
from numba import njit

GROUP = 2048  # rectangles that share one box for quick refusal


@njit(cache=True, nogil=True)
def group_boxes(rects):  # type: ignore[no-untyped-def]
    """Return the box of each run of rectangles.

    Parameters
    ----------
    rects
        (n, 4).

    Returns
    -------
    boxes
        int32 (k, 4).
    """
    n = rects.shape[0]
    k = (n + GROUP - 1) // GROUP
    out = np.empty((k, 4), np.int32)
    for g in range(k):
        s = g * GROUP
        x0, y0, x1, y1 = rects[s, 0], rects[s, 1], rects[s, 2], rects[s, 3]
        for r in range(s + 1, min(s + GROUP, n)):
            x0 = min(x0, rects[r, 0])
            y0 = min(y0, rects[r, 1])
            x1 = max(x1, rects[r, 2])
            y1 = max(y1, rects[r, 3])
        out[g, 0], out[g, 1], out[g, 2], out[g, 3] = x0, y0, x1, y1
    return out


@njit(cache=True, nogil=True)
def _rows_met(lo, hi, step, w0, w1, count):  # type: ignore[no-untyped-def]
    """Rows j of 0 .. count - 1 for which [lo + j step, hi + j step] meets [w0, w1]."""
    if step == 0.0:
        if hi < w0 or lo > w1:
            return 0, -1
        return 0, count - 1
    a = (w0 - hi) / step
    b = (w1 - lo) / step
    if step < 0.0:
        a, b = b, a
    # One more on either side for rounding; shapes are tested again when placed.
    first = np.int64(max(0.0, min(np.ceil(a - 1e-6), 1e9)))
    last = np.int64(min(float(count - 1), max(np.floor(b + 1e-6), -1.0)))
    return first, last


@njit(cache=True, nogil=True)
def _deeper(frames, turn):  # type: ignore[no-untyped-def]
    """The same frames with room for twice as many levels."""
    n = turn.shape[0]
    more = np.empty((5, 2 * n), np.int64)
    turns = np.empty((2 * n, 6))
    for i in range(n):
        for k in range(5):
            more[k, i] = frames[k, i]
        for k in range(6):
            turns[i, k] = turn[i, k]
    return more, turns


@njit(cache=True, nogil=True)
def _put(out, n, x0, y0, x1, y1, window):  # type: ignore[no-untyped-def]
    """Write a rectangle as row n; return 0, or 1 where there is no room, or 2 where it covers the window."""
    wx0, wy0, wx1, wy1 = window
    if x0 < wx0 and y0 < wy0 and x1 > wx1 and y1 > wy1:
        return 2
    if n == out.shape[0]:
        return 1
    out[n, 0], out[n, 1], out[n, 2], out[n, 3] = x0, y0, x1, y1
    return 0


@njit(cache=True, nogil=True)
def place_shapes(top, window, cells, slanted, box, refs, out_r, out_q, most):  # type: ignore[no-untyped-def]
    """Write the shapes of a top cell that meet a closed window; see :meth:`Hierarchy.place`.

    Walks the tree with one frame per level, never a list of all places.

    Parameters
    ----------
    top
        Number of the cell.
    window
        (x0, y0, x1, y1).
    cells
        (rects, rect_start, rect_end, group_box) of the hierarchy.
    slanted
        (quads, quad_start, quad_end).
    box
        Of each cell with all below it.
    refs
        (ref_start, ref_cell, ref_turn, ref_at, ref_count, ref_step).
    out_r, out_q
        Filled in place.
    most
        Steps that may be taken.

    Returns
    -------
    result
        As of :meth:`Hierarchy.place`.
    """
    wx0, wy0, wx1, wy1 = window
    rects, rect_start, rect_end, group_box = cells
    quads, quad_start, quad_end = slanted
    ref_start, ref_cell, ref_turn, ref_at, ref_count, ref_step = refs
    cap = 32
    frames = np.empty((5, cap), np.int64)
    turn = np.empty((cap, 6))
    cell, ref, col, row, row_end = frames[0], frames[1], frames[2], frames[3], frames[4]
    depth = 0
    cell[0] = top
    turn[0, 0], turn[0, 1], turn[0, 2], turn[0, 3], turn[0, 4], turn[0, 5] = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    fresh = True
    nr = 0
    nq = 0
    steps = 0
    while depth >= 0:
        c = cell[depth]
        a, b, cc, d, tx, ty = (
            turn[depth, 0],
            turn[depth, 1],
            turn[depth, 2],
            turn[depth, 3],
            turn[depth, 4],
            turn[depth, 5],
        )
        if fresh:
            fresh = False
            steps += 1 + quad_end[c] - quad_start[c]
            if steps > most:
                return nr, nq, 3, steps
            ref[depth] = ref_start[c]
            col[depth] = -1
            row[depth] = 0
            row_end[depth] = -1
            straight = b == 0.0 and cc == 0.0
            crossed = a == 0.0 and d == 0.0
            # The window in whole local coordinates, a little wide: cheap to compare with.
            plain = straight and a == 1.0 and d == 1.0
            lx0, ly0 = np.int64(np.floor(wx0 - tx)) - 1, np.int64(np.floor(wy0 - ty)) - 1
            lx1, ly1 = np.int64(np.ceil(wx1 - tx)) + 1, np.int64(np.ceil(wy1 - ty)) + 1
            r = rect_start[c]
            stop = rect_end[c]
            while r < stop:
                steps += 1
                if r % GROUP == 0 and r + GROUP <= stop and (straight or crossed):
                    g = r // GROUP
                    p0, q0, p1, q1 = group_box[g, 0], group_box[g, 1], group_box[g, 2], group_box[g, 3]
                    gx0 = min(a * p0 + b * q0, a * p1 + b * q1) + tx
                    gx1 = max(a * p0 + b * q0, a * p1 + b * q1) + tx
                    gy0 = min(cc * p0 + d * q0, cc * p1 + d * q1) + ty
                    gy1 = max(cc * p0 + d * q0, cc * p1 + d * q1) + ty
                    if gx1 < wx0 or gx0 > wx1 or gy1 < wy0 or gy0 > wy1:
                        r += GROUP
                        continue
                i0, j0, i1, j1 = rects[r, 0], rects[r, 1], rects[r, 2], rects[r, 3]
                if plain and (i1 < lx0 or i0 > lx1 or j1 < ly0 or j0 > ly1):
                    r += 1
                    continue
                x0, y0, x1, y1 = np.float64(i0), np.float64(j0), np.float64(i1), np.float64(j1)
                r += 1
                ax, ay = a * x0 + b * y0 + tx, cc * x0 + d * y0 + ty
                bx, by = a * x1 + b * y1 + tx, cc * x1 + d * y1 + ty
                if straight or crossed:
                    if ax > bx:
                        ax, bx = bx, ax
                    if ay > by:
                        ay, by = by, ay
                    if bx < wx0 or ax > wx1 or by < wy0 or ay > wy1:
                        continue
                    state = _put(out_r, nr, ax, ay, bx, by, window)
                    if state:
                        return nr, nq, state, steps
                    nr += 1
                else:
                    ex, ey = a * x1 + b * y0 + tx, cc * x1 + d * y0 + ty
                    fx, fy = a * x0 + b * y1 + tx, cc * x0 + d * y1 + ty
                    if max(max(ax, bx), max(ex, fx)) < wx0 or min(min(ax, bx), min(ex, fx)) > wx1:
                        continue
                    if max(max(ay, by), max(ey, fy)) < wy0 or min(min(ay, by), min(ey, fy)) > wy1:
                        continue
                    if nq == out_q.shape[0]:
                        return nr, nq, 1, steps
                    out_q[nq, 0], out_q[nq, 1], out_q[nq, 2], out_q[nq, 3] = ax, ay, ex, ey
                    out_q[nq, 4], out_q[nq, 5], out_q[nq, 6], out_q[nq, 7] = bx, by, fx, fy
                    nq += 1
            for q in range(quad_start[c], quad_end[c]):
                lo_x = np.inf
                lo_y = np.inf
                hi_x = -np.inf
                hi_y = -np.inf
                if nq == out_q.shape[0]:
                    return nr, nq, 1, steps
                for t in range(4):
                    px, py = quads[q, 2 * t], quads[q, 2 * t + 1]
                    x = a * px + b * py + tx
                    y = cc * px + d * py + ty
                    out_q[nq, 2 * t] = x
                    out_q[nq, 2 * t + 1] = y
                    lo_x = min(lo_x, x)
                    hi_x = max(hi_x, x)
                    lo_y = min(lo_y, y)
                    hi_y = max(hi_y, y)
                if hi_x < wx0 or lo_x > wx1 or hi_y < wy0 or lo_y > wy1:
                    continue
                o = out_q[nq]
                if (o[0] == o[6] and o[2] == o[4] and o[1] == o[3] and o[5] == o[7]) or (
                    o[0] == o[2] and o[4] == o[6] and o[1] == o[7] and o[3] == o[5]
                ):
                    state = _put(out_r, nr, lo_x, lo_y, hi_x, hi_y, window)
                    if state:
                        return nr, nq, state, steps
                    nr += 1
                else:
                    nq += 1
        k = ref[depth]
        if row[depth] > row_end[depth]:
            # The next column of this reference, or the next reference.
            col[depth] += 1
            if k >= ref_start[c + 1]:
                depth -= 1
                continue
            if col[depth] >= ref_count[k, 0]:
                ref[depth] = k + 1
                col[depth] = -1
                continue
            steps += 1
            if steps > most:
                return nr, nq, 3, steps
            t = ref_cell[k]
            # Linear part of the target in top coordinates, and the box it fills about its place.
            ra, rb, rc, rd = ref_turn[k, 0], ref_turn[k, 1], ref_turn[k, 2], ref_turn[k, 3]
            na, nb = a * ra + b * rc, a * rb + b * rd
            nc, nd = cc * ra + d * rc, cc * rb + d * rd
            u0, v0, u1, v1 = box[t, 0], box[t, 1], box[t, 2], box[t, 3]
            lo_x = min(na * u0, na * u1) + min(nb * v0, nb * v1)
            hi_x = max(na * u0, na * u1) + max(nb * v0, nb * v1)
            lo_y = min(nc * u0, nc * u1) + min(nd * v0, nd * v1)
            hi_y = max(nc * u0, nc * u1) + max(nd * v0, nd * v1)
            ox = ref_at[k, 0] + col[depth] * ref_step[k, 0]
            oy = ref_at[k, 1] + col[depth] * ref_step[k, 1]
            px = a * ox + b * oy + tx
            py = cc * ox + d * oy + ty
            sx = a * ref_step[k, 2] + b * ref_step[k, 3]
            sy = cc * ref_step[k, 2] + d * ref_step[k, 3]
            j0, j1 = _rows_met(lo_x + px, hi_x + px, sx, wx0, wx1, ref_count[k, 1])
            i0, i1 = _rows_met(lo_y + py, hi_y + py, sy, wy0, wy1, ref_count[k, 1])
            row[depth] = max(j0, i0)
            row_end[depth] = min(j1, i1)
            continue
        ra, rb, rc, rd = ref_turn[k, 0], ref_turn[k, 1], ref_turn[k, 2], ref_turn[k, 3]
        ox = ref_at[k, 0] + col[depth] * ref_step[k, 0] + row[depth] * ref_step[k, 2]
        oy = ref_at[k, 1] + col[depth] * ref_step[k, 1] + row[depth] * ref_step[k, 3]
        row[depth] += 1
        if depth + 1 == cap:
            frames, turn = _deeper(frames, turn)
            cell, ref, col, row, row_end = frames[0], frames[1], frames[2], frames[3], frames[4]
            cap *= 2
        depth += 1
        cell[depth] = ref_cell[k]
        turn[depth, 0] = a * ra + b * rc
        turn[depth, 1] = a * rb + b * rd
        turn[depth, 2] = cc * ra + d * rc
        turn[depth, 3] = cc * rb + d * rd
        turn[depth, 4] = a * ox + b * oy + tx
        turn[depth, 5] = cc * ox + d * oy + ty
        fresh = True
    return nr, nq, 0, steps
