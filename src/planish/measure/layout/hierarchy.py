"""The shapes of one layer as the file holds them: cells that place other cells.

Nothing is flattened here. Boxes and counts climb from the cells below to those
above by arithmetic; shapes are placed only for the window asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.measure.layout.limits import FARTHEST
from planish.measure.layout.placing import group_boxes, place_shapes


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
        self.group_box = group_boxes(self.rects)

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
        cells = (self.rects, self.rect_start, self.rect_end, self.group_box)
        slanted = (self.quads, self.quad_start, self.quad_end)
        refs = (self.ref_start, self.ref_cell, self.ref_turn, self.ref_at, self.ref_count, self.ref_step)
        where = tuple(float(v) for v in window)
        return place_shapes(top, where, cells, slanted, self.box, refs, rects, quads, most)  # type: ignore[no-any-return]
