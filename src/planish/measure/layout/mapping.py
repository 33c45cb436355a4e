"""What the cells of a grid hold of a layout: its shapes placed and covered tile by tile, within bounds."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.coverage import union as coverage
from planish.measure.layout.hierarchy import Hierarchy

_RECTS = 1 << 20  # rectangles placed at a time, by each worker (32 MB)
_QUADS = 1 << 18  # quads placed at a time (16 MB)
_ENTRIES = 12 << 20  # shape-in-cell entries of one tile (48 MB)
_WINDOW = 10_000  # steps that asking for a window counts for
_PLACED = 10  # steps that a placed shape counts for: it is swept after


class Grid:
    """Cells in database units."""

    def __init__(self, side: float, x0: float, y0: float, nx: int, ny: int) -> None:
        self.side, self.x0, self.y0, self.nx, self.ny = side, x0, y0, nx, ny

    @classmethod
    def lay(
        cls,
        place: Path,
        cell: float,
        unit: float,
        box: NDArray[np.float64],
        window: tuple[float, float, float, float] | None,
        most: int,
    ) -> Grid:
        """Return the grid of a layer.

        Parameters
        ----------
        place
            For the refusal.
        cell
            Side of a cell [m].
        unit
            Database unit [m].
        box
            Of the shapes [database units].
        window
            (x0, y0, x1, y1) [m] instead of the box, or None.
        most
            Cells it may have.

        Returns
        -------
        Grid
            On whole multiples of the cell, or from the window's corner.

        Raises
        ------
        DataError
            If the cell is less than the database unit, or gives too many cells.
        """
        side = _near_whole(cell / unit)
        if side < 1.0:
            raise DataError(refuse(f"{place}: cell [m]", cell, f"the database unit {unit:g} m or more"))
        if window is None:
            i0, j0 = math.floor(box[0] / side), math.floor(box[1] / side)
            nx = max(1, math.ceil(box[2] / side) - i0)
            ny = max(1, math.ceil(box[3] / side) - j0)
            x0, y0 = i0 * side, j0 * side
        else:
            x0, y0, x1, y1 = (_near_whole(v / unit) for v in window)
            nx = max(1, math.ceil((x1 - x0) / side * (1 - 1e-12)))
            ny = max(1, math.ceil((y1 - y0) / side * (1 - 1e-12)))
        if nx * ny > most:
            raise DataError(
                f"{place}: a cell of {cell * 1e6:g} um gives {nx} x {ny} cells, more than {most}:"
                " take larger cells or map a part of it (read_layout_maps takes a window)"
            )
        return cls(side, x0, y0, nx, ny)


class Sums:
    """Area, edge met along x, edge met along y, edge length of every cell; box of what was placed."""

    def __init__(self, ny: int, nx: int) -> None:
        self.values = [np.zeros((ny, nx)) for _ in range(4)]
        self.box = np.array([np.inf, np.inf, -np.inf, -np.inf])


class TileWork:
    """Top cells of a layout laid on a grid, tile by tile, within so many steps of work."""

    def __init__(self, layout: Hierarchy, tops: list[int], grid: Grid, place: Path, work: int) -> None:
        self.layout, self.tops, self.grid, self.place = layout, tops, grid, place
        self.sums = Sums(grid.ny, grid.nx)
        self.local = threading.local()
        self.stop = threading.Event()
        self.work = self.left = work
        self.counting = threading.Lock()

    def all(self, tile: int, workers: int, progress: Callable[[float], None]) -> Sums:
        """Return what every cell of the grid holds.

        Parameters
        ----------
        tile
            Cells along a side of what one worker holds at a time.
        workers
            Threads.
        progress
            Called with the share done, 0 to 1.

        Returns
        -------
        Sums
            In database units.

        Raises
        ------
        DataError
            If it takes more steps than it may, or too many shapes lie on one spot.
        """
        g = self.grid
        tiles = [
            (i, min(i + tile, g.nx), j, min(j + tile, g.ny))
            for j in range(0, g.ny, tile)
            for i in range(0, g.nx, tile)
        ]
        with ThreadPoolExecutor(workers) as pool:
            waiting = [pool.submit(self._cells, *t) for t in tiles]
            try:
                for done, future in enumerate(as_completed(waiting), start=1):
                    box = future.result()
                    np.minimum(self.sums.box[:2], box[:2], out=self.sums.box[:2])
                    np.maximum(self.sums.box[2:], box[2:], out=self.sums.box[2:])
                    progress(done / len(waiting))
            except BaseException:
                self.stop.set()
                pool.shutdown(wait=True, cancel_futures=True)
                raise
        return self.sums

    def _cells(self, i0: int, i1: int, j0: int, j1: int) -> NDArray[np.float64]:
        """Work out cells [i0, i1) x [j0, j1); split where too much meets them. Returns the box placed."""
        g = self.grid
        window = (g.x0 + i0 * g.side, g.y0 + j0 * g.side, g.side, g.side, i1 - i0, j1 - j0)
        closed = (i1 == g.nx, j1 == g.ny)
        result, box = self._window(window, closed)
        if result is not None:
            for values, part in zip(self.sums.values, result, strict=True):
                values[j0:j1, i0:i1] = part
            return box
        if i1 - i0 == 1 and j1 - j0 == 1:
            total, box = self._inside(window[0], window[1], g.side, g.side, closed, 0)
            for values, one in zip(self.sums.values, total, strict=True):
                values[j0, i0] = one
            return box
        if i1 - i0 >= j1 - j0:
            mid = (i0 + i1) // 2
            parts = [(i0, mid, j0, j1), (mid, i1, j0, j1)]
        else:
            mid = (j0 + j1) // 2
            parts = [(i0, i1, j0, mid), (i0, i1, mid, j1)]
        boxes = [self._cells(*p) for p in parts]
        return np.concatenate([np.minimum(*boxes)[:2], np.maximum(*boxes)[2:]])

    def _inside(
        self, x0: float, y0: float, w: float, h: float, closed: tuple[bool, bool], depth: int
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """One cell that too many shapes meet, in parts."""
        result, box = self._window((x0, y0, w, h, 1, 1), closed)
        if result is not None:
            return result[:, 0, 0], box
        if depth > 60 or max(w, h) < 2.0:
            raise DataError(
                f"{self.place}: more than {_RECTS} shapes lie on one spot near"
                f" ({x0 * self.layout.unit * 1e6:g}, {y0 * self.layout.unit * 1e6:g}) um"
            )
        if w >= h:
            half = float(math.floor(w / 2.0))
            parts = [(x0, y0, half, h, (False, closed[1])), (x0 + half, y0, w - half, h, closed)]
        else:
            half = float(math.floor(h / 2.0))
            parts = [(x0, y0, w, half, (closed[0], False)), (x0, y0 + half, w, h - half, closed)]
        (a, box_a), (b, box_b) = (self._inside(*p, depth + 1) for p in parts)
        return a + b, np.concatenate([np.minimum(box_a, box_b)[:2], np.maximum(box_a, box_b)[2:]])

    def _window(
        self, window: tuple[float, float, float, float, int, int], closed: tuple[bool, bool]
    ) -> tuple[NDArray[np.float64] | None, NDArray[np.float64]]:
        """Place what meets the cells of a window and cover them; None if it is too much at once."""
        if self.stop.is_set():
            return np.zeros((4, window[5], window[4])), np.zeros(4)
        self._spend(_WINDOW)
        x0, y0, w, h, nx, ny = window
        nowhere = np.array([np.inf, np.inf, -np.inf, -np.inf])
        rects, quads = self._buffers()
        nr = nq = 0
        edges = (x0, y0, x0 + nx * w, y0 + ny * h)
        for top in self.tops:
            r, q, state, steps = self.layout.place(top, edges, rects[nr:], quads[nq:], self.left)
            nr, nq = nr + r, nq + q
            self._spend(steps + _PLACED * (r + q))
            if state == 1:
                return None, nowhere
            if state == 2:
                full = np.zeros((4, ny, nx))
                full[0] = w * h
                return full, np.array(edges)
        if nr + nq == 0:
            return np.zeros((4, ny, nx)), nowhere
        left = np.array([max(0, self.left)])
        before = int(left[0])
        values = coverage.cover_cells(rects, nr, quads, nq, window, closed, _ENTRIES, left)
        self._spend(before - int(left[0]))
        if values is None:
            return None, nowhere
        box = nowhere
        if not self.layout.exact_boxes:
            box = _box_of(rects[:nr], quads[:nq])
        return values, box

    def _spend(self, work: int) -> None:
        """Count work, and refuse when it is more than one layout may take."""
        with self.counting:
            self.left -= work
        if self.left < 0:
            raise DataError(
                f"{self.place}: mapping it takes more than {self.work:.1e} steps: its shapes are repeated or laid"
                " over each other too often; take larger cells or map a part of it (read_layout_maps takes a window)"
            )

    def _buffers(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if not hasattr(self.local, "rects"):
            self.local.rects = np.empty((_RECTS, 4))
            self.local.quads = np.empty((_QUADS, 8))
        return self.local.rects, self.local.quads


def _box_of(rects: NDArray[np.float64], quads: NDArray[np.float64]) -> NDArray[np.float64]:
    points = np.concatenate([rects.reshape(-1, 2), quads.reshape(-1, 2)])
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def _near_whole(value: float) -> float:
    """The whole number that a quotient of two decimal lengths was meant to be, if it is one."""
    whole = float(round(value))
    return whole if abs(value - whole) <= 1e-9 * max(1.0, abs(value)) else value
