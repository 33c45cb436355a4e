"""Shapes of one kind as a file gives them: in blocks, and past a limit on disk."""

from __future__ import annotations

import tempfile
from typing import Any

import numpy as np
from numpy.typing import NDArray

_BLOCK = 1 << 20  # rectangles that are kept, or spilled, together (16 MB); a quarter as many quads
_IN_MEMORY = 16  # blocks (16 million rectangles, 256 MB) before the rest goes to a temporary file


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
            self._unload()

    def _unload(self) -> None:
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
            self._unload()
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
