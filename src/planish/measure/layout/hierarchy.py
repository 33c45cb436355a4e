"""The shapes of one layer as the file holds them: cells that place other cells.

Nothing is flattened here. Boxes and counts climb from the cells below to those
above by arithmetic; shapes are placed only for the window asked for.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.errors import DataError
from planish.measure.layout.limits import FARTHEST

_BLOCK = 1 << 20  # rectangles that are kept, or spilled, together (16 MB); a quarter as many quads
_IN_MEMORY = 16  # blocks (16 million rectangles, 256 MB) before the rest goes to a temporary file
_GROUP = 2048  # rectangles that share one box for quick refusal


class ShapeStore:
    """Shapes of one kind, a row each, appended in blocks; past a limit they live in an unnamed file."""

    def __init__(self, columns: int, kind: type[np.generic], rows: int) -> None:
        self._columns, self._kind, self._rows = columns, kind, rows
        self.block: NDArray[Any] = np.empty((rows, columns), kind)
        self.used = 0
        self._full: list[NDArray[Any]] = []
        self._spill: Any = None
        self._spilled = 0

    def __len__(self) -> int:
        return self._spilled + sum(len(b) for b in self._full) + self.used

    def turn(self) -> None:
        """Put the block away and begin another."""
        self._full.append(self.block if self.used == self._rows else self.block[: self.used].copy())
        self.block = np.empty((self._rows, self._columns), self._kind)
        self.used = 0
        if len(self._full) > _IN_MEMORY:
            if self._spill is None:
                self._spill = tempfile.TemporaryFile(prefix="planish-")  # noqa: SIM115 - lives as long as the map
            for block in self._full:
                block.tofile(self._spill)
                self._spilled += len(block)
            self._full.clear()

    def extend(self, shapes: NDArray[Any]) -> None:
        """Append shapes.

        Parameters
        ----------
        shapes
            A row each; they must fit the kind of number that is stored.
        """
        at = 0
        while at < len(shapes):
            room = self._rows - self.used
            part = shapes[at : at + room]
            self.block[self.used : self.used + len(part)] = part
            self.used += len(part)
            at += len(part)
            if self.used == self._rows:
                self.turn()

    def close(self) -> NDArray[Any]:
        """All shapes in order; blocks are freed as they are copied."""
        if self._spill is not None:
            self.turn()
            for block in self._full:
                block.tofile(self._spill)
                self._spilled += len(block)
            self._full.clear()
            self._spill.flush()
            return np.memmap(self._spill, dtype=self._kind, mode="r", shape=(self._spilled, self._columns))
        out = np.empty((len(self), self._columns), self._kind)
        at = 0
        self._full.append(self.block[: self.used])
        self._full.reverse()
        self.block = np.empty((0, self._columns), self._kind)
        while self._full:
            block = self._full.pop()
            out[at : at + len(block)] = block
            at += len(block)
        self.used = 0
        return out


def rect_store() -> ShapeStore:
    """Rectangles, int32 (k, 4)."""
    return ShapeStore(4, np.int32, _BLOCK)


def quad_store() -> ShapeStore:
    """Convex quads, float64 (k, 8)."""
    return ShapeStore(8, np.float64, _BLOCK // 4)


@dataclass(slots=True)
class Hierarchy:
    """Cells of one layer, ready to be placed. Coordinates in database units.

    Shapes of cell c are ``rects[rect_start[c]:rect_end[c]]`` and the same of ``quads``; what it places are
    rows ``ref_start[c]:ref_start[c + 1]`` of the ``ref_`` arrays.

    Attributes
    ----------
    unit
        Of the coordinates [m].
    names
        Of the cells.
    rects, rect_start, rect_end
        Rectangles, and each cell's.
    quads, quad_start, quad_end
        Convex quads, and each cell's.
    shapes
        Polygons each cell draws itself.
    own_box
        (cells, 4), +inf..-inf where it draws none.
    ref_start, ref_cell
        What each cell places: target cell.
    ref_turn
        Linear part (a, b, c, d) of x' = a x + b y, y' = c x + d y.
    ref_at, ref_count, ref_step
        Place, counts and the two steps of an array.
    layers
        Shapes of each (layer, datatype).
    digest
        Hash of the file.
    box, total, tops, group_box, exact_boxes
        Filled by :meth:`link`.
    """

    unit: float
    names: list[str]
    rects: NDArray[np.int32]
    rect_start: NDArray[np.int64]
    rect_end: NDArray[np.int64]
    quads: NDArray[np.float64]
    quad_start: NDArray[np.int64]
    quad_end: NDArray[np.int64]
    shapes: NDArray[np.int64]  # polygons each cell draws itself
    own_box: NDArray[np.float64]  # (cells, 4), +inf..-inf where it draws none
    ref_start: NDArray[np.int64]
    ref_cell: NDArray[np.int64]
    ref_turn: NDArray[np.float64]
    ref_at: NDArray[np.float64]
    ref_count: NDArray[np.int64]
    ref_step: NDArray[np.float64]
    layers: dict[tuple[int, int], int]
    digest: str
    # Filled by link():
    box: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 4)))
    total: list[int] = field(default_factory=list)
    tops: list[int] = field(default_factory=list)
    group_box: NDArray[np.int32] = field(default_factory=lambda: np.empty((0, 4), np.int32))
    exact_boxes: bool = True

    def link(self, place: str) -> None:
        """Find the top cells, and each cell's box and number of shapes with all below it.

        Parameters
        ----------
        place
            For the refusal.

        Raises
        ------
        DataError
            If cells place each other in a circle, or shapes absurdly far away.
        """
        n = len(self.names)
        order = self._bottom_up(place)
        self.box = self.own_box.copy()
        self.total = [int(v) for v in self.shapes]
        used = np.zeros(n, dtype=bool)
        for c in order:
            s, e = int(self.ref_start[c]), int(self.ref_start[c + 1])
            if s == e:
                continue
            targets = self.ref_cell[s:e]
            used[targets] = True
            count = 0
            for t, k in zip(targets.tolist(), self.ref_count[s:e].tolist(), strict=True):
                count += self.total[t] * k[0] * k[1]
            self.total[c] += count
            with np.errstate(over="ignore", invalid="ignore"):
                boxes = self._placed_boxes(s, e)
            if len(boxes) and not bool((np.abs(boxes) <= FARTHEST).all()):
                raise DataError(
                    f"{place}: cell {self.names[c]!r} places shapes further than {FARTHEST:.0e} database units away"
                    " (a magnification or a place that is absurd)"
                )
            if len(boxes):
                low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
                self.box[c, :2] = np.minimum(self.box[c, :2], low)
                self.box[c, 2:] = np.maximum(self.box[c, 2:], high)
        self.tops = [c for c in range(n) if not used[c]]
        turn = self.ref_turn
        self.exact_boxes = bool(
            (((turn[:, 1] == 0) & (turn[:, 2] == 0)) | ((turn[:, 0] == 0) & (turn[:, 3] == 0))).all()
        )
        self._drop_empty()
        self.group_box = group_boxes(self.rects, _GROUP)

    def _bottom_up(self, place: str) -> list[int]:
        """Cells in an order in which each comes after all it places."""
        n = len(self.names)
        state = np.zeros(n, dtype=np.int8)  # 0 new, 1 open, 2 done
        order: list[int] = []
        targets = [
            np.unique(self.ref_cell[self.ref_start[c] : self.ref_start[c + 1]]).tolist() for c in range(n)
        ]
        for root in range(n):
            if state[root]:
                continue
            state[root] = 1
            path = [(root, iter(targets[root]))]
            while path:
                c, rest = path[-1]
                for t in rest:
                    if state[t] == 1:
                        circle = [p for p, _ in path]
                        circle = [*circle[circle.index(t) :], t]
                        shown = circle if len(circle) < 8 else [*circle[:3], *circle[-3:]]
                        names = " > ".join(self.names[k] for k in shown)
                        raise DataError(f"{place}: cells place each other in a circle ({names})")
                    if state[t] == 0:
                        state[t] = 1
                        path.append((t, iter(targets[t])))
                        break
                else:
                    state[c] = 2
                    order.append(c)
                    path.pop()
        return order

    def _placed_boxes(self, s: int, e: int) -> NDArray[np.float64]:
        """Boxes of references s to e, arrays whole; those that draw nothing left out."""
        b = self.box[self.ref_cell[s:e]]
        some = b[:, 0] <= b[:, 2]
        b, turn = b[some], self.ref_turn[s:e][some]
        at, step, count = self.ref_at[s:e][some], self.ref_step[s:e][some], self.ref_count[s:e][some]
        out = np.empty((len(b), 4))
        for axis in (0, 1):
            u, v = turn[:, 2 * axis], turn[:, 2 * axis + 1]
            x0, x1 = np.minimum(u * b[:, 0], u * b[:, 2]), np.maximum(u * b[:, 0], u * b[:, 2])
            y0, y1 = np.minimum(v * b[:, 1], v * b[:, 3]), np.maximum(v * b[:, 1], v * b[:, 3])
            c = (count[:, 0] - 1) * step[:, axis]
            r = (count[:, 1] - 1) * step[:, 2 + axis]
            out[:, axis] = at[:, axis] + x0 + y0 + np.minimum(c, 0) + np.minimum(r, 0)
            out[:, 2 + axis] = at[:, axis] + x1 + y1 + np.maximum(c, 0) + np.maximum(r, 0)
        return out

    def _drop_empty(self) -> None:
        """Leave out references that draw nothing, and repeats on one and the same place."""
        keep = np.array([self.total[c] > 0 for c in self.ref_cell.tolist()], dtype=bool)
        starts = np.concatenate([[0], np.cumsum(keep)])
        self.ref_start = starts[self.ref_start].astype(np.int64)
        for name in ("ref_cell", "ref_turn", "ref_at", "ref_count", "ref_step"):
            setattr(self, name, np.ascontiguousarray(getattr(self, name)[keep]))
        still_c = (self.ref_step[:, 0] == 0) & (self.ref_step[:, 1] == 0)
        still_r = (self.ref_step[:, 2] == 0) & (self.ref_step[:, 3] == 0)
        self.ref_count = self.ref_count.copy()
        self.ref_count[still_c, 0] = 1
        self.ref_count[still_r, 1] = 1

    def place(
        self,
        top: int,
        window: tuple[float, float, float, float],
        rects: NDArray[Any],
        quads: NDArray[Any],
        most: int,
    ) -> tuple[int, int, int, int]:
        """Write the shapes of a top cell that meet a closed window, in top coordinates.

        Parameters
        ----------
        top
            Number of the cell.
        window
            (x0, y0, x1, y1).
        rects, quads
            Filled in place.
        most
            Steps that may be taken.

        Returns
        -------
        tuple[int, int, int, int]
            Rectangles written, quads written, state, steps taken. State 0 all written, 1 too many for the
            arrays given, 2 one rectangle covers the window, 3 more than ``most`` steps.
        """
        return place_shapes(  # type: ignore[no-any-return]
            top,
            *window,
            self.rects,
            self.rect_start,
            self.rect_end,
            self.group_box,
            self.quads,
            self.quad_start,
            self.quad_end,
            self.box,
            self.ref_start,
            self.ref_cell,
            self.ref_turn,
            self.ref_at,
            self.ref_count,
            self.ref_step,
            rects,
            quads,
            most,
        )


@njit(cache=True, nogil=True)
def group_boxes(rects, size):  # type: ignore[no-untyped-def]
    """Return the box of each run of rectangles.

    Parameters
    ----------
    rects
        (n, 4).
    size
        Rectangles to a run.

    Returns
    -------
    boxes
        int32 (k, 4).
    """
    n = rects.shape[0]
    k = (n + size - 1) // size
    out = np.empty((k, 4), np.int32)
    for g in range(k):
        s = g * size
        x0, y0, x1, y1 = rects[s, 0], rects[s, 1], rects[s, 2], rects[s, 3]
        for r in range(s + 1, min(s + size, n)):
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
def place_shapes(  # type: ignore[no-untyped-def]
    top,
    wx0,
    wy0,
    wx1,
    wy1,
    rects,
    rect_start,
    rect_end,
    group_box,
    quads,
    quad_start,
    quad_end,
    box,
    ref_start,
    ref_cell,
    ref_turn,
    ref_at,
    ref_count,
    ref_step,
    out_r,
    out_q,
    most,
):
    """Write the shapes of a top cell that meet a closed window; see :meth:`Hierarchy.place`.

    Walks the tree with one frame per level, never a list of all places.

    Parameters
    ----------
    top
        Number of the cell.
    wx0, wy0, wx1, wy1
        The window.
    rects, rect_start, rect_end, group_box, quads, quad_start, quad_end, box
        Of the :class:`Hierarchy`.
    ref_start, ref_cell, ref_turn, ref_at, ref_count, ref_step
        Of the :class:`Hierarchy`.
    out_r, out_q
        Filled in place.
    most
        Steps that may be taken.

    Returns
    -------
    result
        As of :meth:`Hierarchy.place`.
    """
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
                if r % 2048 == 0 and r + 2048 <= stop and (straight or crossed):
                    g = r // 2048
                    p0, q0, p1, q1 = group_box[g, 0], group_box[g, 1], group_box[g, 2], group_box[g, 3]
                    gx0 = min(a * p0 + b * q0, a * p1 + b * q1) + tx
                    gx1 = max(a * p0 + b * q0, a * p1 + b * q1) + tx
                    gy0 = min(cc * p0 + d * q0, cc * p1 + d * q1) + ty
                    gy1 = max(cc * p0 + d * q0, cc * p1 + d * q1) + ty
                    if gx1 < wx0 or gx0 > wx1 or gy1 < wy0 or gy0 > wy1:
                        r += 2048
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
                    if ax < wx0 and ay < wy0 and bx > wx1 and by > wy1:
                        return nr, nq, 2, steps
                    if nr == out_r.shape[0]:
                        return nr, nq, 1, steps
                    out_r[nr, 0], out_r[nr, 1], out_r[nr, 2], out_r[nr, 3] = ax, ay, bx, by
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
                    if lo_x < wx0 and lo_y < wy0 and hi_x > wx1 and hi_y > wy1:
                        return nr, nq, 2, steps
                    if nr == out_r.shape[0]:
                        return nr, nq, 1, steps
                    out_r[nr, 0], out_r[nr, 1], out_r[nr, 2], out_r[nr, 3] = lo_x, lo_y, hi_x, hi_y
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
