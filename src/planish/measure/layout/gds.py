"""GDSII files, plain or gzipped, read in chunks to the cells of one layer.

Format: GDSII Stream Format Manual, release 6.0 (read as quoted in the Limbo parser).
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.layout import records as rec
from planish.measure.layout.chunks import Chunks
from planish.measure.layout.hierarchy import Hierarchy
from planish.measure.layout.limits import STRANGER, Limits
from planish.measure.layout.paths import path_polygons
from planish.measure.layout.shape_store import quad_store, rect_store
from planish.measure.layout.shapes import split_polygons

_MOST_ELEMENT = 1 << 25  # bytes one element may take
_INT32 = 2**31 - 1
Progress = Callable[[float], None]


def read_gds(
    path: Path,
    layer: tuple[int, int] | None,
    progress: Progress | None = None,
    limits: Limits = STRANGER,
) -> Hierarchy:
    """Read one layer of a GDSII file.

    Parameters
    ----------
    path
        The file.
    layer
        (layer, datatype); ``None`` only counts shapes per layer.
    progress
        Called with the share done, 0 to 1.
    limits
        What it may take.

    Returns
    -------
    Hierarchy
        Linked, ready to be placed.

    Raises
    ------
    DataError
        If the file cannot be read, is damaged or cut short, or places cells in a circle
        or cells that it does not hold.
    """
    reader = _Reader(str(path), layer, limits)
    reader.read(path, progress)
    return reader.hierarchy()


class _Reader:
    def __init__(self, place: str, layer: tuple[int, int] | None, limits: Limits) -> None:
        self.limits = limits
        self.place = place
        self.want = -1 if layer is None else (layer[0] << 16) | layer[1]
        self.layer = layer
        self.unit = math.nan
        self.keys = np.full(1 << 13, -1, np.int64)
        self.counts = np.zeros(1 << 13, np.int64)
        self.state = np.zeros(rec.STATE, np.int64)
        self.store = rect_store()
        self.quads = quad_store()
        self.corners = np.empty((1 << 18, 2), np.int32)
        self.starts = np.zeros((1 << 15) + 1, np.int64)
        self.paths = np.empty((1 << 14, 4), np.int64)
        self.path_corners = np.empty((1 << 17, 2), np.int32)
        self.path_starts = np.zeros((1 << 14) + 1, np.int64)
        self.refs = np.empty((1 << 14, rec.REF_FIELDS), np.float64)
        self.ids: dict[bytes, int] = {}
        self.names: list[bytes] = []
        self.defined: list[
            tuple[int, int, int, int, int]
        ] = []  # id and where rects, quads, refs, shapes begin
        self.is_defined: set[int] = set()
        self.ref_rows: list[NDArray[np.float64]] = []
        self.ref_ids: list[NDArray[np.int64]] = []
        self.ref_total = 0
        self.shape_total = 0
        self.box = np.array([np.inf, np.inf, -np.inf, -np.inf])
        self.boxes: list[NDArray[np.float64]] = []
        self.digest = ""
        self.left = np.array([self.limits.splitting])  # steps that dividing its polygons may still take

    # -- bytes ---------------------------------------------------------------

    def read(self, path: Path, progress: Progress | None) -> None:
        chunks = Chunks(path, self.limits.unpacked)
        rest = b""
        offset = 0  # of rest[0] in the (unzipped) stream
        stage = "head"
        inside = False
        done = False
        for data in chunks:
            if done:
                continue  # what follows the end is padding; it is read only to be hashed
            buffer = np.frombuffer(rest + data if rest else data, np.uint8)
            pos = 0
            if stage == "head":
                pos, ready = self._head(buffer)
                if ready:
                    stage = "body"
            while stage == "body" and not done:
                how, pos = self._scan(buffer, pos, inside)
                self._flush(buffer)
                if how == rec.BROKEN:
                    reason = rec.REASONS[int(self.state[rec.S_REASON])]
                    self._broken(reason, offset + int(self.state[rec.S_AT]))
                elif how == rec.STRUCT_BEGIN:
                    after = self._begin(buffer, pos, offset)
                    if after < 0:
                        break
                    pos, inside = after, True
                elif how == rec.STRUCT_END:
                    self._end()
                    inside = False
                elif how == rec.LIB_END:
                    done = True
                elif how == rec.MORE:
                    break
            rest = buffer[pos:].tobytes()
            offset += pos
            if len(rest) > _MOST_ELEMENT:
                self._broken("an element without end", offset)
            chunks.enough = done
            if progress is not None:
                progress(chunks.share())
        if not done:
            if chunks.given == 0:
                raise DataError(f"{self.place}: the file is empty")
            self._broken("the file is cut short: its end record is missing", offset + len(rest))
        self.digest = chunks.hash.hexdigest()

    def _scan(self, buffer: NDArray[np.uint8], pos: int, inside: bool) -> tuple[int, int]:
        if self.store.used == len(self.store.block):
            self.store.turn()
        s = self.state
        s[:] = 0
        s[rec.S_RECTS] = self.store.used
        s[rec.S_X0] = s[rec.S_Y0] = 2**40
        s[rec.S_X1] = s[rec.S_Y1] = -(2**40)
        table = (self.keys, self.counts)
        polygons = (self.store.block, self.corners, self.starts)
        found = (*polygons, self.paths, self.path_corners, self.path_starts, self.refs)
        how, after = rec.scan(buffer, pos, len(buffer), inside, self.want, table, s, found)
        nothing = not s[[rec.S_POLYGONS, rec.S_PATHS, rec.S_REFS]].any()
        if how == rec.FULL and nothing and int(s[rec.S_RECTS]) < len(self.store.block):
            # One element is more than empty tables hold: make them larger.
            self.corners = np.empty((2 * len(self.corners), 2), np.int32)
            self.path_corners = np.empty((2 * len(self.path_corners), 2), np.int32)
        return int(how), int(after)

    def _broken(self, reason: str, at: int) -> None:
        raise DataError(f"{self.place}: damaged or no GDSII layout: {reason} (at byte {at})")

    def _head(self, b: NDArray[np.uint8]) -> tuple[int, bool]:
        """Read the library's head up to its first structure."""
        n = len(b)
        pos = 0
        if n < 6 or not (b[0] == 0 and b[1] == 6 and b[2] == 0 and b[3] == 2):
            raise DataError(f"{self.place}: no GDSII layout (it does not begin with a header record)")
        while True:
            if pos + 4 > n:
                return 0, False
            size, kind = int(b[pos]) << 8 | int(b[pos + 1]), int(b[pos + 2])
            if size < 4 or size & 1 or kind >= 0x3C:
                self._broken("a record of impossible length or kind", pos)
            if kind in (0x04, 0x05):
                break
            if kind in (0x06, 0x07, 0x08, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x10, 0x11, 0x15, 0x2D):
                self._broken("an element before any structure", pos)
            if pos + size > n:
                return 0, False
            if kind == 0x03:
                if size != 20:
                    self._broken("a units record of wrong length", pos)
                self._units(float(rec.real8(b, pos + 4)), float(rec.real8(b, pos + 12)))
            pos += size
        if math.isnan(self.unit):
            self._broken("it has no units record", pos)
        return pos, True

    def _units(self, in_user: float, in_metres: float) -> None:
        if not (1e-12 <= in_metres <= 1e-5):
            remedy = "most layouts use 1e-9"
            where = f"{self.place}: database unit [m]"
            raise DataError(refuse(where, in_metres, "1e-12 to 1e-5", remedy))
        if not (1e-12 <= in_user <= 1e6):
            where = f"{self.place}: database unit in user units"
            raise DataError(refuse(where, in_user, "1e-12 to 1e6", "most layouts use 0.001"))
        # The file's base-16 real misses 1e-9 by a few parts in 1e17; take the decimal that was meant.
        self.unit = float(f"{in_metres:.12g}")

    # -- structures ----------------------------------------------------------

    def _begin(self, b: NDArray[np.uint8], pos: int, offset: int) -> int:
        n = len(b)
        size = int(b[pos]) << 8 | int(b[pos + 1])
        at = pos + size
        if at + 4 > n:
            return -1
        length = int(b[at]) << 8 | int(b[at + 1])
        if b[at + 2] != 0x06 or length < 6 or length & 1:
            self._broken("a structure without a name", offset + at)
        if at + length > n:
            return -1
        name = b[at + 4 : at + length].tobytes().rstrip(b"\0")
        cell = self._id(name)
        if cell in self.is_defined:
            raise DataError(f"{self.place}: cell {_text(name)!r} is defined twice")
        self.is_defined.add(cell)
        self.defined.append((cell, len(self.store), len(self.quads), self.ref_total, self.shape_total))
        self.box = np.array([np.inf, np.inf, -np.inf, -np.inf])
        return at + length

    def _end(self) -> None:
        self.boxes.append(self.box)

    def _id(self, name: bytes) -> int:
        cell = self.ids.get(name)
        if cell is None:
            if len(self.names) >= self.limits.structures:
                raise DataError(f"{self.place}: more than {self.limits.structures} cells")
            cell = self.ids[name] = len(self.names)
            self.names.append(name)
        return cell

    def _flush(self, buffer: NDArray[np.uint8]) -> None:
        """Take over what one call of the scan left in the tables."""
        s = self.state
        self.store.used = int(s[rec.S_RECTS])
        self._check_stored()
        self.shape_total += int(s[rec.S_SHAPES])
        if s[rec.S_X0] <= s[rec.S_X1]:
            self._widen(float(s[rec.S_X0]), float(s[rec.S_Y0]), float(s[rec.S_X1]), float(s[rec.S_Y1]))
        n = int(s[rec.S_POLYGONS])
        if n:
            rects, quads = split_polygons(
                self.corners[:, 0], self.corners[:, 1], self.starts, n, self.left, self.place
            )
            self.add(rects, quads)
        for p in range(int(s[rec.S_PATHS])):
            self._path(p)
        n = int(s[rec.S_REFS])
        if n:
            rows = self.refs[:n].copy()
            data = buffer.data
            ids = np.empty(n, np.int64)
            for i, (at, length) in enumerate(rows[:, :2].astype(np.int64).tolist()):
                ids[i] = self._id(bytes(data[at : at + length]).rstrip(b"\0"))
            self.ref_rows.append(rows[:, rec.REF_X :])
            self.ref_ids.append(ids)
            self.ref_total += n
            if self.ref_total > self.limits.placements:
                raise DataError(
                    f"{self.place}: more than {self.limits.placements} placements of cells (write repeats as arrays, or map"
                    " a part of the layout, written as a file of its own)"
                )

    def _path(self, p: int) -> None:
        width, kind, begin, end = self.paths[p].tolist()
        points = self.path_corners[self.path_starts[p] : self.path_starts[p + 1]]
        # A negative width is absolute: it does not grow with a magnified cell. No magnified use of one
        # is known, and so it is taken as it stands.
        outlines = path_polygons(points, abs(width), kind, begin, end, self.place)
        self.shape_total += 1
        if not outlines:
            return
        corners = np.concatenate(outlines)
        self._widen(*corners.min(axis=0).tolist(), *corners.max(axis=0).tolist())
        starts = np.cumsum([0, *(len(o) for o in outlines)])
        found = split_polygons(corners[:, 0], corners[:, 1], starts, len(outlines), self.left, self.place)
        self.add(*found)

    def _widen(self, x0: float, y0: float, x1: float, y1: float) -> None:
        b = self.box
        b[0], b[1] = min(b[0], x0), min(b[1], y0)
        b[2], b[3] = max(b[2], x1), max(b[3], y1)

    def add(self, rects: NDArray[np.float64], quads: NDArray[np.float64]) -> None:
        """Keep shapes of the open cell; rectangles off the grid are kept as quads."""
        if len(rects):
            whole = (rects == np.rint(rects)).all(axis=1) & (np.abs(rects) <= _INT32).all(axis=1)
            self.store.extend(rects[whole])
            odd = rects[~whole]
            if len(odd):
                quads = np.concatenate([quads, odd[:, [0, 1, 2, 1, 2, 3, 0, 3]]])
        if len(quads):
            self.quads.extend(quads)
        self._check_stored()

    def _check_stored(self) -> None:
        if len(self.store) + 4 * len(self.quads) > self.limits.stored:
            raise DataError(
                f"{self.place}: its shapes divide into more than {self.limits.stored:.0e} rectangles, a quad counted as"
                " four (map a part of the layout, written as a file of its own)"
            )

    # -- result --------------------------------------------------------------

    def hierarchy(self) -> Hierarchy:
        missing = [name for name in self.names if self.ids[name] not in self.is_defined]
        if missing:
            shown = ", ".join(repr(_text(m)) for m in missing[:3])
            more = f" and {len(missing) - 3} more" if len(missing) > 3 else ""
            raise DataError(f"{self.place}: places cells that it does not hold: {shown}{more}")
        n = len(self.names)
        if n == 0:
            raise DataError(f"{self.place}: the layout holds no cells")
        rect_start, rect_end = np.zeros(n, np.int64), np.zeros(n, np.int64)
        quad_start, quad_end = np.zeros(n, np.int64), np.zeros(n, np.int64)
        shapes = np.zeros(n, np.int64)
        box = np.empty((n, 4))
        rows = np.concatenate(self.ref_rows) if self.ref_rows else np.empty((0, rec.REF_FIELDS - 2))
        ids = np.concatenate(self.ref_ids) if self.ref_ids else np.empty(0, np.int64)
        self.ref_rows.clear()
        self.ref_ids.clear()
        order = []
        owner = np.zeros(n + 1, np.int64)
        ends = [*self.defined[1:], (-1, len(self.store), len(self.quads), self.ref_total, self.shape_total)]
        for (cell, r, q, f, k), (_, r1, q1, f1, k1), own in zip(self.defined, ends, self.boxes, strict=True):
            rect_start[cell], rect_end[cell] = r, r1
            quad_start[cell], quad_end[cell] = q, q1
            shapes[cell] = k1 - k
            owner[cell + 1] = f1 - f
            box[cell] = own
            order.append((cell, f, f1))
        order.sort()
        pick = np.concatenate([np.arange(f, f1) for _, f, f1 in order]) if order else np.empty(0, np.int64)
        rows, ids = rows[pick], ids[pick]
        base = rec.REF_X
        turn = turns(rows[:, rec.REF_FLIP - base], rows[:, rec.REF_MAG - base], rows[:, rec.REF_ANGLE - base])
        layers = {
            (int(k) >> 16, int(k) & 0xFFFF): int(v)
            for k, v in zip(self.keys.tolist(), self.counts.tolist(), strict=True)
            if k >= 0
        }
        if self.layer is not None and self.shape_total:
            layers[self.layer] = self.shape_total
        out = Hierarchy(
            unit=self.unit,
            names=[_text(name) for name in self.names],
            rects=self.store.close(),
            rect_start=rect_start,
            rect_end=rect_end,
            quads=self.quads.close(),
            quad_start=quad_start,
            quad_end=quad_end,
            shapes=shapes,
            own_box=box,
            ref_start=np.cumsum(owner),
            ref_cell=ids,
            ref_turn=turn,
            ref_at=np.ascontiguousarray(rows[:, rec.REF_X - base : rec.REF_Y - base + 1]),
            ref_count=rows[:, rec.REF_COLS - base : rec.REF_ROWS - base + 1].astype(np.int64),
            ref_step=np.ascontiguousarray(rows[:, rec.REF_CX - base : rec.REF_RY - base + 1]),
            layers=dict(sorted(layers.items())),
            digest=self.digest,
        )
        out.link(self.place)
        return out


def turns(flip: NDArray[Any], mag: NDArray[Any], angle: NDArray[Any]) -> NDArray[np.float64]:
    """Return linear parts: mirror about x first, then scale, then turn counter-clockwise.

    Parameters
    ----------
    flip
        Whether mirrored, (n,).
    mag
        Scale, (n,).
    angle
        [degrees], (n,).

    Returns
    -------
    NDArray[np.float64]
        (n, 4).
    """
    quarter = np.rint(angle / 90.0)
    right = np.abs(angle - 90.0 * quarter) < 1e-9
    q = (quarter.astype(np.int64) % 4)[:, None]
    cos = np.where(right, np.array([1.0, 0.0, -1.0, 0.0])[q[:, 0]], np.cos(np.radians(angle)))
    sin = np.where(right, np.array([0.0, 1.0, 0.0, -1.0])[q[:, 0]], np.sin(np.radians(angle)))
    sign = np.where(flip > 0, -1.0, 1.0)
    return np.stack([mag * cos, -mag * sin * sign, mag * sin, mag * cos * sign], axis=1)


def _text(name: bytes) -> str:
    return os.fsdecode(name) if name.isascii() else name.decode("latin-1")
