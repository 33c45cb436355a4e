"""Chip layouts to cell maps: how much of each cell a layer covers, exactly.

``read_layout_maps`` reads one layer of a GDSII (plain or gzipped) or OASIS file
and maps it. The file is read once, in chunks; cells and arrays stay as they are
in the file and are placed only for the tile at work, so that memory follows the
tile and the stored shapes, not the flattened layout.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.measure.coverage import union as coverage
from planish.measure.layout.chords import chord_widths
from planish.measure.layout.gds import read_gds
from planish.measure.layout.hierarchy import Hierarchy
from planish.measure.layout.limits import LARGEST_CELL, STRANGER, Limits
from planish.measure.layout.mapping import Grid, TileWork
from planish.measure.layout.maps import LayoutMaps
from planish.units import as_si, as_whole

SOURCES = coverage.SOURCES
Progress = Callable[[float], None]

_MOST_SHAPES = 1_000_000_000
_TILE = 256  # cells along a tile, at most
_READ_SHARE = 0.5  # of the progress bar
_OASIS_MAGIC = b"%SEMI-OASIS\r\n"


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is to be mapped; lengths in metres."""

    place: Path
    layer: tuple[int, int]
    cell: float
    top: str | None
    window: tuple[float, float, float, float] | None

    def check(self) -> None:
        place, cell, window = self.place, self.cell, self.window
        for name, value in zip(("layer", "datatype"), self.layer, strict=True):
            as_whole(value, f"{place}: {name}", 0, 65535)
        if not 0 < cell <= LARGEST_CELL:
            raise DataError(
                refuse(f"{place}: cell [m]", cell, f"a positive length of at most {LARGEST_CELL:g} m")
            )
        if window is not None:
            good = all(math.isfinite(v) and abs(v) < 1e3 for v in window)
            if not good or window[0] >= window[2] or window[1] >= window[3]:
                raise DataError(
                    refuse(f"{place}: window [m]", window, "x0, y0, x1, y1 with x0 < x1 and y0 < y1")
                )

    @property
    def key(self) -> str:
        """Of the cache."""
        layer, datatype = self.layer
        return f"v2 {layer}/{datatype} {self.cell!r} {self.top!r} {self.window!r}"


def read_layout_maps(
    path: str | os.PathLike[str],
    layer: int,
    datatype: int,
    cell: float | str,
    *,
    top: str | None = None,
    window: tuple[float, float, float, float] | None = None,
    tile: int = _TILE,
    workers: int = 2,
    progress: Progress | None = None,
    cache: bool = True,
    limits: Limits = STRANGER,
) -> LayoutMaps:
    """Map one layer of a layout file.

    Parameters
    ----------
    path
        A .gds, .gds.gz or .oas file; what it is shows in its first bytes, not its name.
    layer, datatype
        Which shapes. Boundaries, boxes and paths count; text and nodes do not.
    cell
        Side of a map cell [m], or text as ``"10 um"``. Cells lie on whole multiples of it in layout
        coordinates, so that maps of several layers fit each other.
    top
        Name of the cell to map. By default all cells that no other places,
        laid over each other as they stand.
    window
        (x0, y0, x1, y1) [m] to map instead of the layer's bounding box; it is
        divided into cells from its lower left corner. Shapes beyond it are left out.
    tile
        Cells along a side of what one worker holds at a time. Changes memory and
        time, not the result.
    workers
        Threads. Does not change the result.
    progress
        Called with the share done, 0 to 1.
    cache
        Keep the maps under ``$PLANISH_CACHE`` (or ``~/.cache/planish``), found
        again by the content of the file.
    limits
        What it may take before it is refused. The default keeps a stranger's file to about a
        minute and 1 GB; take ``layout_limits.OWN`` for a large layout of your own.

    Returns
    -------
    LayoutMaps
        Of the layer, or of the window.

    Raises
    ------
    DataError
        If the file is not a layout, damaged or cut short, does not hold the layer,
        or expands to more shapes or cells than can be worked on.
    """
    place = as_path(path, "layout")
    asked = _Asked(place, (layer, datatype), as_si(cell, "length", f"{place}: cell"), top, window)
    asked.check()
    for name, value in (("tile", tile), ("workers", workers)):
        as_whole(value, f"{place}: {name}", 1, 1 << 20)
    if cache:
        from planish.measure.layout import cache as layout_cache

        found, damaged = layout_cache.find(place, asked.key)
        if found is not None:
            if progress is not None:
                progress(1.0)
            return found

    def reading(share: float) -> None:
        if progress is not None:
            progress(_READ_SHARE * share)

    layout = _read(place, asked.layer, reading, limits)
    maps = _map_layer(layout, asked, tile, workers, progress, limits)
    if cache:
        layout_cache.keep(place, asked.key, maps)
        if damaged:
            maps = replace(maps, notes=(*maps.notes, damaged))
    return maps


def list_layers(path: str | os.PathLike[str], limits: Limits = STRANGER) -> dict[tuple[int, int], int]:
    """Return how many shapes the file draws on each layer, before flattening.

    Parameters
    ----------
    path
        The layout.
    limits
        What it may take.

    Returns
    -------
    dict[tuple[int, int], int]
        Shapes by (layer, datatype).

    Raises
    ------
    DataError
        If the file is not a layout, damaged or cut short.
    """
    return _read(Path(path), None, None, limits).layers


def parse_layer(text: str) -> tuple[int, int]:
    """Return layer and datatype from their text.

    Parameters
    ----------
    text
        "68/20" (or "68": datatype 0).

    Returns
    -------
    tuple[int, int]
        Layer, datatype.

    Raises
    ------
    DataError
        For anything else.
    """
    parts = text.strip().split("/")
    if len(parts) not in (1, 2) or not all(p.isascii() and p.isdigit() and int(p) < 65536 for p in parts):
        raise DataError(
            refuse("layer", text, "LAYER/DATATYPE of whole numbers from 0 to 65535", "such as 68/20")
        )
    return int(parts[0]), int(parts[1]) if len(parts) == 2 else 0


def maps_from_rects(
    rects: NDArray[Any],
    cell: float,
    *,
    unit: float = 1e-9,
    window: tuple[float, float, float, float] | None = None,
    layer: tuple[int, int] = (0, 0),
    source: str = "rectangles",
    workers: int = 2,
) -> LayoutMaps:
    """Map rectangles at hand.

    Parameters
    ----------
    rects
        Whole numbers (k, 4): x0, y0, x1, y1 [unit].
    cell, window, workers
        As in :func:`read_layout_maps`.
    unit
        Length of one coordinate step [m].
    layer, source
        Carried along.

    Returns
    -------
    LayoutMaps
        Of the rectangles, or of the window.

    Raises
    ------
    DataError
        If there is no rectangle, or one has no width or height.
    """
    r = np.ascontiguousarray(rects, dtype=np.int32).reshape(-1, 4)
    if len(r) == 0 or bool((r[:, :2] >= r[:, 2:]).any()):
        raise DataError(f"{source}: needs at least one rectangle, each with x0 < x1 and y0 < y1")
    box = np.concatenate([r[:, :2].min(axis=0), r[:, 2:].max(axis=0)]).astype(np.float64)[None]
    zero, one = np.zeros(1, np.int64), np.array([len(r)])
    layout = Hierarchy(
        unit=unit, names=["rectangles"], rects=r, rect_start=zero, rect_end=one, quads=np.empty((0, 8)),
        quad_start=zero, quad_end=zero, shapes=one, own_box=box, ref_start=np.zeros(2, np.int64),
        ref_cell=np.empty(0, np.int64), ref_turn=np.empty((0, 4)), ref_at=np.empty((0, 2)),
        ref_count=np.empty((0, 2), np.int64), ref_step=np.empty((0, 4)), layers={layer: len(r)}, digest="",
    )  # fmt: skip
    layout.link(source)
    return _map_layer(layout, _Asked(Path(source), layer, cell, None, window), _TILE, workers, None)


# -- the work ------------------------------------------------------------------


def compile_kernels() -> None:
    """Compile what reading layouts needs, once for this machine; the results are kept on disk.

    Without it the first layout waits (some 20 s on a slow core). For set-up steps.
    """
    import tempfile

    from planish.measure.layout import gds_write

    slanted = np.array([0, 0, 900, 0, 600, 700], dtype=">i4").tobytes()
    triangle = (
        bytes.fromhex("00040800 00060d020001 00060e020000 001c1003") + slanted + bytes.fromhex("00041100")
    )
    rects = np.array([[0, 0, 1000, 500], [300, 100, 2000, 900]], dtype=np.int32)
    stair = np.array([0, 0, 900, 0, 900, 300, 400, 300, 400, 800, 0, 800], dtype=">i4").tobytes()
    corner = bytes.fromhex("00040800 00060d020001 00060e020000 00341003") + stair + bytes.fromhex("00041100")
    with tempfile.TemporaryDirectory(prefix="planish-") as folder:
        drawn = [gds_write.boundaries(rects, (1, 0)), triangle, corner]
        path = gds_write.write_records(Path(folder) / "small.gds", [gds_write.structure("SMALL", drawn)])
        read_layout_maps(path, 1, 0, 1e-6, cache=False)


def _read(place: Path, layer: tuple[int, int] | None, progress: Progress | None, limits: Limits) -> Hierarchy:
    try:
        with place.open("rb") as raw:
            magic = raw.read(len(_OASIS_MAGIC))
    except OSError as exc:
        raise DataError(f"{place}: cannot be read ({exc.strerror or exc})") from exc
    if magic == _OASIS_MAGIC:
        from planish.measure.layout.oasis import read_oasis

        return read_oasis(place, layer, limits)
    return read_gds(place, layer, progress, limits)


def _map_layer(
    layout: Hierarchy,
    asked: _Asked,
    tile: int,
    workers: int,
    progress: Progress | None,
    limits: Limits = STRANGER,
) -> LayoutMaps:
    place, layer, cell, window = asked.place, asked.layer, asked.cell, asked.window
    tops, notes = _choose_tops(layout, place, layer, asked.top)
    total = sum(layout.total[t] for t in tops)
    box = layout.box[tops]
    box = np.concatenate([box[:, :2].min(axis=0), box[:, 2:].max(axis=0)])
    if window is None and total > _MOST_SHAPES:
        raise DataError(
            f"{place}: layer {layer[0]}/{layer[1]} expands to {total:.3g} polygons, more than {_MOST_SHAPES:.0e};"
            " map a part of it (read_layout_maps takes a window)"
        )
    grid = Grid.lay(place, cell, layout.unit, box, window, limits.cells)

    def mapped(share: float) -> None:
        if progress is not None:
            progress(_READ_SHARE + (1.0 - _READ_SHARE) * share)

    sums = TileWork(layout, tops, grid, place, limits.work).all(tile, workers, mapped)
    side = grid.side * layout.unit
    covered = float(sums.values[0].sum())
    area, edge_x, edge_y, length = sums.values
    width, space = chord_widths(area, edge_x, edge_y, grid.side)
    # In place: a map of millions of cells is not copied without need.
    width *= layout.unit
    space *= layout.unit
    density = np.minimum(np.divide(area, grid.side**2, out=area), 1.0, out=area)
    perimeter = np.multiply(length, layout.unit, out=length)
    perimeter /= side**2
    if not layout.exact_boxes and window is None:
        box = sums.box  # boxes turned by odd angles are too large; what was placed is not
    um = layout.unit * 1e6
    return LayoutMaps(
        cell=cell,
        origin=(grid.x0 * layout.unit, grid.y0 * layout.unit),
        density=density,
        perimeter=perimeter,
        line_width=width,
        space=space,
        coverage_area_um2=covered * um * um,
        bounding_box_um=(float(box[0]) * um, float(box[1]) * um, float(box[2]) * um, float(box[3]) * um),
        polygons=total,
        layer=layer,
        source=str(place),
        digest=layout.digest,
        notes=notes,
    )


def _choose_tops(
    layout: Hierarchy, place: Path, layer: tuple[int, int], top: str | None
) -> tuple[list[int], tuple[str, ...]]:
    if top is None:
        tops = [t for t in layout.tops if layout.total[t] > 0]
    else:
        if top not in layout.names:
            some = ", ".join(layout.names[t] for t in layout.tops[:5])
            raise DataError(
                refuse(f"{place}: top cell", top, f"a cell of the layout (its top cells: {some})")
            )
        tops = [t for t in [layout.names.index(top)] if layout.total[t] > 0]
    if not tops:
        have = ", ".join(f"{a}/{b}" for a, b in list(layout.layers)[:40]) or "none"
        raise DataError(f"{place}: nothing drawn on layer {layer[0]}/{layer[1]} (layers that are: {have})")
    notes: tuple[str, ...] = ()
    if len(tops) > 1:
        some = ", ".join(layout.names[t] for t in tops[:6]) + (", ..." if len(tops) > 6 else "")
        notes = (f"{len(tops)} top cells laid over each other as they stand: {some}",)
    return tops, notes
