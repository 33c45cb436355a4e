"""Cell maps of one layer of a chip layout: what the die level works on.

A map divides the layout into square cells and holds, for each, how much of it
is covered, how much edge it holds, and how wide its lines and spaces are.
Rows run from low to high y, columns from low to high x: ``density[0, 0]`` is
the lower left cell.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, figure, shortened
from planish.errors import DataError

Array = NDArray[np.float64]

FIELDS = ("density", "perimeter", "line_width", "space")
SOURCES: tuple[str, ...] = (
    "mean chord of a set across its lines, 2 A / projected boundary: Cauchy's projection formula,"
    " integral geometry (from memory)",
)

# A window shows a width truly only if it is clearly wider than the line or space it holds.
_WINDOWS_PER_WIDTH = 3.0


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class LayoutMaps(Record):
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

    def _told(self) -> str:
        ny, nx = self.shape
        return (
            f"layer {self.layer[0]}/{self.layer[1]} of {shortened(self.source, 60) or 'no file'}, {nx} x {ny} cells "
            f"of {figure(1e6 * self.cell, 'um')}, mean density {figure(100 * float(self.density.mean()), '%', 3)} "
            f"({100 * float(self.density.min()):.3g} to {100 * float(self.density.max()):.3g} %)"
        )

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
        from planish.measure import layout_store

        target = Path(path)
        try:
            layout_store.save_maps(self, target)
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
        from planish.measure import layout_store

        return layout_store.open_maps(target)


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
    from itself and takes in its neighbours (triangular weights; 3, 5, 9 ... cells
    at half height) until the window is three times the width found and holds
    either two whole lines (four edges a scan) or two edges and a width that the
    next wider window confirms.

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
    edge was found within reach.
    """
    full = cell * cell
    solid = area >= full * (1.0 - 1e-12)
    width = _first_settled(area, edge_x, edge_y, cell, area > 0.0)
    space = _first_settled(full - area, edge_x, edge_y, cell, ~solid)
    return width, space


def _first_settled(
    area: Array, edge_x: Array, edge_y: Array, cell: float, wanted: NDArray[np.bool_]
) -> Array:
    """Mean chord [m] of each wanted cell from the smallest window that shows it (see above).

    Windows wider than nine cells are taken on cells joined two by two, so that
    the work does not grow with the window.
    """
    out = np.full(area.shape, np.nan)
    rows, columns = (v.astype(np.int32) for v in np.nonzero(wanted))
    sums = [area, edge_x, edge_y, np.ones(area.shape)]
    joined, width = 1, 1
    chord, edges = _chords(sums, joined, width, cell, rows, columns)
    while rows.size and joined * width < 2 * max(area.shape):
        window = joined * width * cell
        if width < 9:
            width = 3 if width == 1 else 2 * width - 1
        else:
            sums, joined = [_join(v) for v in sums], 2 * joined
        wider, wider_edges = _chords(sums, joined, width, cell, rows, columns)
        with np.errstate(invalid="ignore"):
            confirmed = (edges >= 1.5) & (wider < 1.5 * chord) & (chord < 1.5 * wider)
        good = (chord * _WINDOWS_PER_WIDTH <= window) & ((edges >= 4.0) | confirmed)
        out[rows[good], columns[good]] = chord[good]
        rows, columns, chord, edges = rows[~good], columns[~good], wider[~good], wider_edges[~good]
    known = np.isfinite(chord)
    out[rows[known], columns[known]] = chord[known]
    return out


def _chords(
    sums: list[Array],
    joined: int,
    width: int,
    cell: float,
    rows: NDArray[np.int32],
    columns: NDArray[np.int32],
) -> tuple[Array, Array]:
    """Mean chord [m] and edges met by a scan, in windows ``width`` joined cells wide at half height."""
    a, bx, by, known = (_window_mean(v, width) for v in sums)
    edge = np.maximum(bx, by)
    with np.errstate(divide="ignore", invalid="ignore"):
        chord = np.where(edge > 1e-9 * cell * known, 2.0 * a / edge, np.inf)
        # A scan of length L meets L * (edge length / area) edges.
        met = edge / known * (width * joined / cell)
    at = (rows // joined, columns // joined)
    return chord[at], met[at]


def _window_mean(v: Array, width: int) -> Array:
    """Triangular mean. Beyond the map nothing is known; zeros there fall out of the quotients."""
    if width == 1:
        return v
    from scipy.ndimage import uniform_filter

    mean: Array = uniform_filter(uniform_filter(v, width, mode="constant"), width, mode="constant")
    return mean


def _join(v: Array) -> Array:
    """Sums over two by two cells; an odd row or column stays with nothing beside it."""
    padded = np.pad(v, [(0, n % 2) for n in v.shape])
    joined: Array = padded[::2, ::2] + padded[1::2, ::2] + padded[::2, 1::2] + padded[1::2, 1::2]
    return joined


def _mean(values: Array, scale: float) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) * scale if known.size else None
