"""Cell maps from arrays, pictures and tables instead of a layout file."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.measure.layout.chords import chord_widths
from planish.measure.layout.limits import OWN
from planish.measure.layout.maps import Array, LayoutMaps
from planish.measure.tables.read import Table, number, read_table

PICTURES = (".png", ".bmp", ".tif", ".tiff")
TABLES = (".csv",)
SAVED = (".npz", ".zarr")
_BRIGHTEST = {"1": 1.0, "L": 255.0, "P": 255.0, "RGB": 255.0, "I;16": 65535.0}


def is_map_file(path: Path) -> bool:
    """Return whether a file holds maps by its name, rather than a layout.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    bool
        True for a picture, a table, saved maps.
    """
    return path.suffix.lower() in (*PICTURES, *TABLES, *SAVED)


def maps_from_file(
    path: Path, cell: float, *, pixels_per_cell: int = 1, covered_is: str = "dark"
) -> LayoutMaps:
    """Return the maps that a picture, a table or a file of saved maps holds, by its name.

    Parameters
    ----------
    path
        The file.
    cell
        Side of a cell of a picture [m]; the others carry their own.
    pixels_per_cell, covered_is
        Of a picture, as in :func:`maps_from_image`.

    Returns
    -------
    LayoutMaps
        Of the whole file.

    Raises
    ------
    DataError
        If the file cannot be used.
    """
    ending = path.suffix.lower()
    if ending in SAVED:
        return LayoutMaps.open(path)
    if ending in TABLES:
        return maps_from_csv(path)
    return maps_from_image(path, cell, pixels_per_cell=pixels_per_cell, covered_is=covered_is)


def maps_from_array(
    density: ArrayLike,
    cell: float,
    *,
    origin: tuple[float, float] = (0.0, 0.0),
    perimeter: ArrayLike | float | None = None,
    line_width: ArrayLike | float | None = None,
    space: ArrayLike | float | None = None,
    layer: tuple[int, int] = (0, 0),
    source: str = "array",
    notes: Sequence[str] = (),
) -> LayoutMaps:
    """Return maps from arrays at hand.

    Parameters
    ----------
    density
        Covered share, 0 to 1, shape (ny, nx), row 0 at low y.
    cell
        Side of a cell [m].
    origin
        Lower left corner [m].
    perimeter
        Edge length per area [1/m]; where left out it follows from the line width
        of long lines, 2 density / width, or is NaN.
    line_width, space
        [m]; a space left out follows from width and density, w (1 - d) / d.
    layer, source, notes
        Carried along.

    Returns
    -------
    LayoutMaps
        With what could be worked out filled in.

    Raises
    ------
    DataError
        For shapes that differ, densities outside 0 to 1, or a cell that is not positive.
    """
    d = np.array(density, dtype=np.float64)
    if d.ndim != 2 or d.size == 0:
        raise DataError(refuse(f"{source}: density shape", d.shape, "two-dimensional and not empty"))
    if d.size > OWN.cells:
        raise DataError(refuse(f"{source}: cells", d.size, f"at most {OWN.cells}", "take larger cells"))
    if not (math.isfinite(cell) and cell > 0):
        raise DataError(refuse(f"{source}: cell", cell, "a positive length in metres"))
    if not np.isfinite(d).all() or d.min() < 0.0 or d.max() > 1.0 + 1e-9:
        bad = d[~(np.isfinite(d) & (d >= 0.0) & (d <= 1.0 + 1e-9))][0]
        raise DataError(refuse(f"{source}: density", float(bad), "0 to 1 everywhere"))
    d = np.minimum(d, 1.0)
    width = _field(line_width, d, f"{source}: line_width")
    gap = _field(space, d, f"{source}: space")
    edge = _field(perimeter, d, f"{source}: perimeter", positive=False)
    with np.errstate(divide="ignore", invalid="ignore"):
        if space is None:
            gap = np.where(d < 1.0, width * (1.0 - d) / d, np.nan)
            gap[~np.isfinite(gap)] = np.nan
        if perimeter is None:
            edge = np.where((d <= 0.0) | (d >= 1.0), 0.0, 2.0 * d / width)
    ny, nx = d.shape
    x0, y0 = float(origin[0]), float(origin[1])
    box = (x0 * 1e6, y0 * 1e6, (x0 + nx * cell) * 1e6, (y0 + ny * cell) * 1e6)
    return LayoutMaps(
        cell=float(cell),
        origin=(x0, y0),
        density=d,
        perimeter=edge,
        line_width=width,
        space=gap,
        coverage_area_um2=float(d.sum()) * (cell * 1e6) ** 2,
        bounding_box_um=box,
        polygons=0,
        layer=layer,
        source=source,
        notes=tuple(notes),
    )


def maps_from_image(
    path: str | os.PathLike[str],
    cell: float,
    *,
    pixels_per_cell: int = 1,
    covered_is: str = "dark",
    origin: tuple[float, float] = (0.0, 0.0),
) -> LayoutMaps:
    """Return maps from a picture of a layer; its top row is the highest y.

    Parameters
    ----------
    path
        An image file (colour is turned to grey).
    cell
        Side of a cell [m].
    pixels_per_cell
        Pixels along a side of a cell; rows and columns that do not fill a cell are refused.
    covered_is
        "dark" or "bright".
    origin
        Lower left corner [m].

    Returns
    -------
    LayoutMaps
        Perimeter and widths are NaN unless the picture has two levels only.

    Raises
    ------
    DataError
        If the file is no image or does not fit.

    Notes
    -----
    Grey counts as partly covered. In a picture of two levels only, edges between pixels are edges of the
    pattern, so that perimeter and widths are known too; otherwise they are NaN.
    """
    place = as_path(path, "picture")
    if covered_is not in ("dark", "bright"):
        raise DataError(refuse(f"{place}: covered_is", covered_is, '"dark" or "bright"'))
    if pixels_per_cell < 1:
        raise DataError(refuse(f"{place}: pixels_per_cell", pixels_per_cell, "1 or more"))
    grey = _grey(place)[::-1]
    cover = 1.0 - grey if covered_is == "dark" else grey
    p = pixels_per_cell
    if cover.shape[0] % p or cover.shape[1] % p:
        raise DataError(refuse(f"{place}: size in pixels", cover.shape[::-1], f"a multiple of {p}"))
    ny, nx = cover.shape[0] // p, cover.shape[1] // p
    density = _sum_blocks(cover, p) / p**2
    if not np.isin(cover, (0.0, 1.0)).all():
        told = "grey counts as partly covered: edge lengths and widths are unknown"
        return maps_from_array(density, cell, origin=origin, source=str(place), notes=(told,))
    pixel = cell / p
    step_x = np.abs(np.diff(cover, axis=1, prepend=0.0)) * pixel
    step_y = np.abs(np.diff(cover, axis=0, prepend=0.0)) * pixel
    # The outer right and top border has no cell beyond it: its edges stay with the last one.
    step_x[:, -1] += cover[:, -1] * pixel
    step_y[-1, :] += cover[-1, :] * pixel
    edge_x, edge_y = _sum_blocks(step_x, p), _sum_blocks(step_y, p)
    width, space = chord_widths(density * cell**2, edge_x, edge_y, cell)
    return maps_from_array(
        density,
        cell,
        origin=origin,
        perimeter=(edge_x + edge_y).reshape(ny, nx) / cell**2,
        line_width=width,
        space=space,
        source=str(place),
    )


def _grey(place: Path) -> Array:
    """Return the brightness of a picture's pixels, 0 to 1, top row first."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(place, formats=("PNG", "BMP", "TIFF")) as image:
            if image.width * image.height > OWN.cells:
                raise DataError(
                    f"{place}: {image.width} x {image.height} pixels, more than {OWN.cells} (cut it into parts)"
                )
            pages = int(getattr(image, "n_frames", 1))
            if pages > 1:
                raise DataError(f"{place}: {pages} pictures in one file: must be one")
            if "transparency" in image.info or image.mode not in _BRIGHTEST:
                raise DataError(
                    refuse(
                        f"{place}: kind of pixels",
                        image.mode,
                        "black and white, grey or colour, opaque",
                        "flatten transparent parts and save it again",
                    )
                )
            brightest = _BRIGHTEST[image.mode]
            plain = image.convert("L") if image.mode in ("P", "RGB") else image
            return np.asarray(plain, dtype=np.float64) / brightest
    except FileNotFoundError:
        raise DataError(f"{place}: no such file") from None
    except (UnidentifiedImageError, Image.DecompressionBombError) as exc:
        raise DataError(f"{place}: not readable as an image (PNG, BMP and TIFF are read): {exc}") from None
    except (OSError, ValueError, SyntaxError, EOFError) as exc:
        raise DataError(f"{place}: not readable as an image ({exc})") from None


def maps_from_csv(path: str | os.PathLike[str]) -> LayoutMaps:
    """Return maps from a table with one row per cell.

    Parameters
    ----------
    path
        Columns: ``x_um``, ``y_um`` (cell centres on a regular square grid, every cell once, any order) and
        ``density``; optional ``line_width_um``, ``space_um`` and ``perimeter_per_um`` (empty where
        unknown).

    Returns
    -------
    LayoutMaps
        Of the whole table.

    Raises
    ------
    DataError
        If a column is missing, a number is not one, or the grid has holes.
    """
    place = as_path(path, "table of cell maps")
    table = read_table(place)
    missing = [n for n in ("x_um", "y_um", "density") if n not in table.header]
    if missing:
        raise DataError(
            f"{place}: no column {missing[0]!r} (a table of cell maps needs x_um, y_um, density; "
            "site files come in twos, before and after)"
        )
    columns = {name: _column(table, name) for name in _CSV_COLUMNS if name in table.header}
    for name in ("x_um", "y_um"):
        if np.abs(columns[name]).max() > _FARTHEST_UM:
            raise DataError(
                refuse(f"{place}: {name}", np.abs(columns[name]).max(), f"within {_FARTHEST_UM:g}")
            )
    xs, ys = np.unique(columns["x_um"]), np.unique(columns["y_um"])
    steps = np.concatenate([np.diff(xs), np.diff(ys)])
    if steps.size == 0:
        raise DataError(f"{place}: a layout table needs at least two cells to show its cell size")
    cell = float(np.median(steps))
    if np.abs(steps - cell).max() > 1e-6 * cell or len(columns["x_um"]) != len(xs) * len(ys):
        raise DataError(f"{place}: the cells do not fill a regular square grid, each once")
    order = np.lexsort((columns["x_um"], columns["y_um"]))
    grid = {name: values[order].reshape(len(ys), len(xs)) for name, values in columns.items()}
    if np.ptp(grid["x_um"], axis=0).max() > 0 or np.ptp(grid["y_um"], axis=1).max() > 0:
        raise DataError(f"{place}: the cells do not fill a regular square grid, each once")
    side = round(cell, 9) * 1e-6
    scaled = {key: grid[name] * unit for name, (key, unit) in _CSV_COLUMNS.items() if name in grid and key}
    return maps_from_array(
        grid["density"],
        side,
        origin=(float(xs[0]) * 1e-6 - side / 2, float(ys[0]) * 1e-6 - side / 2),
        source=str(place),
        perimeter=scaled.get("perimeter"),
        line_width=scaled.get("line_width"),
        space=scaled.get("space"),
    )


_FARTHEST_UM = 1e6  # [um] from the layout's origin
_CSV_COLUMNS: dict[str, tuple[str, float]] = {
    "x_um": ("", 1.0),
    "y_um": ("", 1.0),
    "density": ("", 1.0),
    "line_width_um": ("line_width", 1e-6),
    "space_um": ("space", 1e-6),
    "perimeter_per_um": ("perimeter", 1e6),
}


def _column(table: Table, name: str) -> Array:
    """Numbers of a column; NaN where an optional one is empty."""
    optional = bool(_CSV_COLUMNS[name][0])
    cells = table.columns[table.header.index(name)]
    out = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        if not cell and optional:
            continue
        place = f"{table.at(row)}: {name}"
        if not cell:
            raise DataError(f"{place} is empty")
        try:
            out[row] = number(cell)
        except ValueError:
            out[row] = math.inf
        if not math.isfinite(out[row]):
            raise DataError(refuse(place, cell, "a number"))
    return out


def _field(value: ArrayLike | float | None, like: Array, place: str, *, positive: bool = True) -> Array:
    if value is None:
        return np.full(like.shape, np.nan)
    array = np.array(value, dtype=np.float64)
    if array.ndim == 0:
        array = np.full(like.shape, float(array))
    if array.shape != like.shape:
        raise DataError(refuse(f"{place} shape", array.shape, f"{like.shape}, as the density"))
    known = array[~np.isnan(array)]
    floor = np.nextafter(0.0, 1.0) if positive else 0.0
    if known.size and not (np.isfinite(known).all() and known.min() >= floor):
        raise DataError(refuse(place, float(known.min()), "positive lengths in metres, NaN where unknown"))
    return array


def _sum_blocks(values: Array, p: int) -> Array:
    ny, nx = values.shape[0] // p, values.shape[1] // p
    blocks: Array = values.reshape(ny, p, nx, p).sum(axis=(1, 3))
    return blocks
