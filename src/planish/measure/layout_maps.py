"""Cell maps of one layer of a chip layout: what the die level works on.

A map divides the layout into square cells and holds, for each, how much of it
is covered, how much edge it holds, and how wide its lines and spaces are.
Rows run from low to high y, columns from low to high x: ``density[0, 0]`` is
the lower left cell.
"""

from __future__ import annotations

import math
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]

FIELDS = ("density", "perimeter", "line_width", "space")
SOURCES: tuple[str, ...] = (
    "mean chord of a set across its lines, 2 A / projected boundary: Cauchy's projection formula,"
    " integral geometry (from memory)",
)

# A window shows a width truly only if it is clearly wider than the line or space it holds.
_WINDOWS_PER_WIDTH = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class LayoutMaps:
    """Cell maps of one layer.

    Parameters
    ----------
    cell:
        Side of a cell [m].
    origin:
        Lower left corner (x, y) [m] of cell (0, 0) in layout coordinates.
    density:
        Covered share of each cell, shape (ny, nx); overlaps count once.
    perimeter:
        Length of the edge of the union of all shapes per cell area [1/m], (ny, nx).
        An edge on the border of two cells belongs to the upper or right one.
    line_width, space:
        Mean width of what is covered and of what is open, measured across the
        lines [m], (ny, nx): see :func:`chord_widths`. NaN where a cell holds none
        of it, or where it is unknown.
    coverage_area_um2:
        Area of the union within the mapped window [um^2].
    bounding_box_um:
        (x0, y0, x1, y1) [um] of the layer in the whole layout.
    polygons:
        Shapes of the layer after flattening, in the whole layout.
    layer:
        (layer, datatype).
    source, digest:
        Where the maps came from, and the hash of that content ("" if not a file).
    notes:
        What had to be assumed, in plain words.
    """

    cell: float
    origin: tuple[float, float]
    density: Array
    perimeter: Array
    line_width: Array
    space: Array
    coverage_area_um2: float
    bounding_box_um: tuple[float, float, float, float]
    polygons: int
    layer: tuple[int, int]
    source: str = ""
    digest: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx)."""
        return int(self.density.shape[0]), int(self.density.shape[1])

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """(x0, x1, y0, y1) [m] of the mapped window, as image plots take it."""
        ny, nx = self.shape
        x0, y0 = self.origin
        return x0, x0 + nx * self.cell, y0, y0 + ny * self.cell

    def summary(self) -> dict[str, Any]:
        """Flat record for printing; keys end in their unit."""
        ny, nx = self.shape
        return {
            "layer": f"{self.layer[0]}/{self.layer[1]}",
            "coverage_area_um2": float(self.coverage_area_um2),
            "bounding_box_um": [float(v) for v in self.bounding_box_um],
            "polygons": int(self.polygons),
            "cell_um": round(self.cell * 1e6, 12),
            "nx": nx,
            "ny": ny,
            "mean_density": float(self.density.mean()),
            "min_density": float(self.density.min()),
            "max_density": float(self.density.max()),
            "mean_perimeter_per_um": _mean(self.perimeter, 1e-6),
            "mean_line_width_um": _mean(self.line_width, 1e6),
            "mean_space_um": _mean(self.space, 1e6),
            "source": self.source,
            "digest": self.digest,
            "notes": list(self.notes),
        }

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the maps, whole or not at all: one .npz file, or a zarr folder for any other name.

        Raises
        ------
        DataError
            If the place cannot be written.
        """
        target = Path(path)
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            if target.suffix == ".npz":
                _save_npz(self, target)
            else:
                _save_zarr(self, target)
        except OSError as exc:
            raise DataError(f"{target}: cannot be written ({exc.strerror or exc})") from exc
        return target

    @classmethod
    def open(cls, path: str | os.PathLike[str]) -> LayoutMaps:
        """Read maps that :meth:`save` wrote.

        Raises
        ------
        DataError
            If there are none, or they are damaged.
        """
        target = Path(path)
        if not target.exists():
            raise DataError(f"{target}: no such maps")
        try:
            arrays, meta = _open_npz(target) if target.is_file() else _open_zarr(target)
            maps = cls(
                cell=float(meta["cell"]),
                origin=(float(meta["origin"][0]), float(meta["origin"][1])),
                **arrays,
                coverage_area_um2=float(meta["coverage_area_um2"]),
                bounding_box_um=tuple(float(v) for v in meta["bounding_box_um"]),  # type: ignore[arg-type]
                polygons=int(meta["polygons"]),
                layer=(int(meta["layer"][0]), int(meta["layer"][1])),
                source=str(meta["source"]),
                digest=str(meta["digest"]),
                notes=tuple(str(n) for n in meta["notes"]),
            )
        except Exception as exc:  # noqa: BLE001 - a damaged store can raise anything, from many libraries
            raise DataError(f"{target}: not readable as layout maps ({type(exc).__name__}: {exc})") from exc
        if any(getattr(maps, name).shape != maps.density.shape for name in FIELDS):
            raise DataError(f"{target}: the maps in it differ in shape")
        return maps


def chord_widths(area: Array, edge_x: Array, edge_y: Array, cell: float) -> tuple[Array, Array]:
    """Mean line width and space [m] from what each cell holds.

    A straight scan across a set meets it in chords whose mean length is
    2 A / B, with A the area and B the length of its boundary projected on the
    normal of the scan (each chord has two ends). Of the scans along x and along
    y the one with more boundary runs across the lines, so
    width = 2 A / max(B_x, B_y), and the same with the open area for the space.
    This is exact for lines along x or y and for squares; for lines at 45 degrees
    it is the chord along x, 1.41 times the width.

    A window narrower than a line cannot show its width. So each cell starts
    from itself and takes in its neighbours (triangular weights, 3, 5, 9 ...
    cells) until the window is three times the width found.

    Parameters
    ----------
    area:
        Covered area of each cell [m^2], (ny, nx).
    edge_x, edge_y:
        Boundary length in each cell projected on the y axis (met by a scan along
        x) and on the x axis [m].
    cell:
        Side of a cell [m].

    Returns
    -------
    line_width, space [m], (ny, nx); NaN where a cell holds none of it or where no
    edge was found in the whole map.
    """
    from scipy.ndimage import uniform_filter

    full = cell * cell
    limit = 2 * max(area.shape)
    width = np.full(area.shape, np.nan)
    space = np.full(area.shape, np.nan)
    has_line, has_space = area > 0.0, area < full * (1.0 - 1e-12)
    left_line, left_space = has_line.copy(), has_space.copy()
    n = 1
    while left_line.any() or left_space.any():
        if n == 1:
            a, bx, by = area, edge_x, edge_y
        else:
            half = n // 2 + 1  # two boxes of this size make a triangle n cells wide at its foot
            a, bx, by = (
                uniform_filter(uniform_filter(v, half, mode="nearest"), half, mode="nearest")
                for v in (area, edge_x, edge_y)
            )
        edge = np.maximum(bx, by)
        with np.errstate(divide="ignore", invalid="ignore"):
            w = np.where(edge > 1e-9 * cell, 2.0 * a / edge, np.inf)
            s = np.where(edge > 1e-9 * cell, 2.0 * (full - a) / edge, np.inf)
        last = n > limit
        for left, value, out in ((left_line, w, width), (left_space, s, space)):
            good = left & ((value * _WINDOWS_PER_WIDTH <= n * cell) | (last & np.isfinite(value)))
            out[good] = value[good]
            left[good] = False
        if last:
            break
        n = 2 * n + 1 if n == 1 else 2 * n - 1
    return width, space


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
    """Maps from arrays at hand.

    Parameters
    ----------
    density:
        Covered share, 0 to 1, shape (ny, nx), row 0 at low y.
    cell:
        Side of a cell [m].
    origin:
        Lower left corner [m].
    perimeter:
        Edge length per area [1/m]; where left out it follows from the line width
        of long lines, 2 density / width, or is NaN.
    line_width, space:
        [m]; a space left out follows from width and density, w (1 - d) / d.
    layer, source, notes:
        Carried along.

    Raises
    ------
    DataError
        For shapes that differ, densities outside 0 to 1, or a cell that is not positive.
    """
    d = np.array(density, dtype=np.float64)
    if d.ndim != 2 or d.size == 0:
        raise DataError(refuse(f"{source}: density shape", d.shape, "two-dimensional and not empty"))
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
    """Maps from a picture of a layer; its top row is the highest y.

    Grey counts as partly covered. In a picture of two levels only, edges between
    pixels are edges of the pattern, so that perimeter and widths are known too;
    otherwise they are NaN.

    Parameters
    ----------
    path:
        An image file (colour is turned to grey).
    cell:
        Side of a cell [m].
    pixels_per_cell:
        Pixels along a side of a cell; rows and columns that do not fill a cell are refused.
    covered_is:
        "dark" or "bright".
    origin:
        Lower left corner [m].

    Raises
    ------
    DataError
        If the file is no image or does not fit.
    """
    from PIL import Image

    place = Path(path)
    if covered_is not in ("dark", "bright"):
        raise DataError(refuse(f"{place}: covered_is", covered_is, '"dark" or "bright"'))
    if pixels_per_cell < 1:
        raise DataError(refuse(f"{place}: pixels_per_cell", pixels_per_cell, "1 or more"))
    try:
        with Image.open(place) as image:
            grey = np.asarray(image.convert("L"), dtype=np.float64)[::-1] / 255.0
    except Image.DecompressionBombError as exc:
        raise DataError(f"{place}: the picture is too large to be read safely; cut it into parts") from exc
    except (OSError, ValueError, SyntaxError) as exc:
        raise DataError(f"{place}: not readable as an image ({exc})") from exc
    cover = 1.0 - grey if covered_is == "dark" else grey
    p = pixels_per_cell
    if cover.shape[0] % p or cover.shape[1] % p:
        raise DataError(refuse(f"{place}: size in pixels", cover.shape[::-1], f"a multiple of {p}"))
    ny, nx = cover.shape[0] // p, cover.shape[1] // p
    density = _sum_blocks(cover, p) / p**2
    base = maps_from_array(density, cell, origin=origin, source=str(place))
    if not np.isin(cover, (0.0, 1.0)).all():
        return base
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


def _mean(values: Array, scale: float) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) * scale if known.size else None


def _field(value: ArrayLike | float | None, like: Array, place: str, *, positive: bool = True) -> Array:
    if value is None:
        return np.full(like.shape, np.nan)
    array = np.array(value, dtype=np.float64)
    if array.ndim == 0:
        array = np.full(like.shape, float(array))
    if array.shape != like.shape:
        raise DataError(refuse(f"{place} shape", array.shape, f"{like.shape}, as the density"))
    known = array[~np.isnan(array)]
    if known.size and (not np.isfinite(known).all() or known.min() < 0.0 or (positive and known.min() == 0.0)):
        raise DataError(refuse(place, float(known.min()), "positive lengths in metres, NaN where unknown"))
    return array


def _sum_blocks(values: Array, p: int) -> Array:
    ny, nx = values.shape[0] // p, values.shape[1] // p
    blocks: Array = values.reshape(ny, p, nx, p).sum(axis=(1, 3))
    return blocks


def _meta(maps: LayoutMaps) -> dict[str, Any]:
    return {
        "cell": maps.cell,
        "origin": list(maps.origin),
        "coverage_area_um2": maps.coverage_area_um2,
        "bounding_box_um": list(maps.bounding_box_um),
        "polygons": maps.polygons,
        "layer": list(maps.layer),
        "source": maps.source,
        "digest": maps.digest,
        "notes": list(maps.notes),
        "kind": "planish layout maps",
        "units": {"cell": "m", "origin": "m", "density": "1", "perimeter": "1/m", "line_width": "m", "space": "m"},
    }


def _save_npz(maps: LayoutMaps, target: Path) -> None:
    import json

    handle, name = tempfile.mkstemp(dir=target.parent, prefix=target.name, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as out:
            np.savez_compressed(out, meta=np.array(json.dumps(_meta(maps))), **_arrays(maps))  # type: ignore[arg-type]
            out.flush()
            os.fsync(out.fileno())
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _open_npz(target: Path) -> tuple[dict[str, Array], dict[str, Any]]:
    import json

    with np.load(target, allow_pickle=False) as data:
        meta: dict[str, Any] = json.loads(str(data["meta"]))
        return {name: np.asarray(data[name], dtype=np.float64) for name in FIELDS}, meta


def _save_zarr(maps: LayoutMaps, target: Path) -> None:
    import zarr

    folder = Path(tempfile.mkdtemp(dir=target.parent, prefix=target.name, suffix=".part"))
    try:
        group = zarr.create_group(store=str(folder), overwrite=True)
        group.attrs.update(_meta(maps))
        for name, values in _arrays(maps).items():
            group.create_array(name, data=values, chunks=tuple(min(n, 1024) for n in values.shape))
        if target.exists():
            shutil.rmtree(target)
        folder.replace(target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _open_zarr(target: Path) -> tuple[dict[str, Array], dict[str, Any]]:
    import zarr

    group = zarr.open_group(str(target), mode="r")
    meta = dict(group.attrs)
    return {name: np.asarray(group[name][:], dtype=np.float64) for name in FIELDS}, meta  # type: ignore[index,call-overload]


def _arrays(maps: LayoutMaps) -> dict[str, Array]:
    return {name: getattr(maps, name) for name in FIELDS}
