"""Cell maps of one layer of a chip layout: what the die level works on.

A map divides the layout into square cells and holds, for each, how much of it
is covered, how much edge it holds, and how wide its lines and spaces are.
Rows run from low to high y, columns from low to high x: ``density[0, 0]`` is
the lower left cell.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import figure, shortened
from planish.errors import DataError
from planish.measure.layout import store as layout_store
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]

FIELDS = ("density", "perimeter", "line_width", "space")


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class LayoutMaps(Result):
    """Cell maps of one layer.

    Attributes
    ----------
    cell
        Side of a cell [m].
    origin
        Lower left corner (x, y) [m] of cell (0, 0) in layout coordinates.
    density
        Covered share of each cell, shape (ny, nx); overlaps count once.
    perimeter
        Length of the edge of the union of all shapes per cell area [1/m], (ny, nx).
        An edge on the border of two cells belongs to the upper or right one.
    line_width, space
        Mean width of what is covered and of what is open, measured across the
        lines [m], (ny, nx): see ``layout_chords``. NaN where a cell holds none
        of it, or where it is unknown.
    coverage_area_um2
        Area of the union within the mapped window [um^2].
    bounding_box_um
        (x0, y0, x1, y1) [um] of the layer in the whole layout.
    polygons
        Shapes of the layer after flattening, in the whole layout.
    layer
        (layer, datatype).
    source, digest
        Where the maps came from, and the hash of that content ("" if not a file).
    notes
        What had to be assumed, in plain words.
    """

    kind: ClassVar[str] = "layout maps"

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

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return [f"layout {self.source}"] if self.source else []

    def _content(self) -> dict[str, Any]:
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
            "mean_density_percent": 100 * float(self.density.mean()),
            "min_density_percent": 100 * float(self.density.min()),
            "max_density_percent": 100 * float(self.density.max()),
            "mean_perimeter_per_um": _mean(self.perimeter, 1e-6),
            "mean_line_width_um": _mean(self.line_width, 1e6),
            "mean_space_um": _mean(self.space, 1e6),
            "source": self.source,
            "digest": self.digest,
        }

    def dataset(self) -> xr.Dataset:
        """Return the maps over (y, x), in SI."""
        import xarray as xr

        ny, nx = self.shape
        what = {
            "density": ("1", "covered share"),
            "perimeter": ("1/m", "edge length per area"),
            "line_width": ("m", "mean width of what is covered"),
            "space": ("m", "mean width of what is open"),
        }
        return xr.Dataset(
            {
                name: (("y", "x"), getattr(self, name), {"units": unit, "long_name": words})
                for name, (unit, words) in what.items()
            },
            coords={
                axis: (
                    axis,
                    start + (np.arange(count) + 0.5) * self.cell,
                    {"units": "m", "long_name": f"{axis} of the cell's middle"},
                )
                for axis, start, count in (("x", self.origin[0], nx), ("y", self.origin[1], ny))
            },
        )

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the maps, whole or not at all: one .npz file, or a zarr folder for any other name.

        Parameters
        ----------
        path
            Where to.

        Returns
        -------
        Path
            Where it was written.

        Raises
        ------
        DataError
            If the place cannot be written.
        """
        target = Path(path)
        try:
            layout_store.save_fields({item.name: getattr(self, item.name) for item in fields(self)}, target)
        except OSError as exc:
            raise DataError(f"{target}: cannot be written ({exc.strerror or exc})") from exc
        return target

    @classmethod
    def open(cls, path: str | os.PathLike[str]) -> LayoutMaps:
        """Read maps that :meth:`save` wrote.

        Parameters
        ----------
        path
            Where from.

        Returns
        -------
        LayoutMaps
            As they were saved.

        Raises
        ------
        DataError
            If there are none, or they are damaged.
        """
        target = Path(path)
        if not target.exists():
            raise DataError(f"{target}: no such maps")
        return cls(**layout_store.open_fields(target))


def _mean(values: Array, scale: float) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) * scale if known.size else None
