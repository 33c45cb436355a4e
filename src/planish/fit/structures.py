"""Where test structures lie on the cell maps of a layout, and what a map says there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError, refuse

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

Array = NDArray[np.float64]


def places_on(maps: LayoutMaps, x: Array, y: Array) -> tuple[Array, Array]:
    """Return where places of a layout lie on its cell maps.

    Parameters
    ----------
    maps
        Of the layout.
    x, y
        In its coordinates [m].

    Returns
    -------
    tuple[Array, Array]
        Row and column, counted in cells from the middle of the first.

    Raises
    ------
    FitError
        For a place off the map.
    """
    ny, nx = np.shape(maps.density)
    column = (np.asarray(x, float) - maps.origin[0]) / maps.cell - 0.5
    row = (np.asarray(y, float) - maps.origin[1]) / maps.cell - 0.5
    off = (column < -0.5) | (column > nx - 0.5) | (row < -0.5) | (row > ny - 0.5)
    if np.any(off):
        first = int(np.argmax(off))
        raise FitError(
            refuse(
                f"place of test structure {first + 1} [mm]",
                (round(float(x[first]) * 1e3, 4), round(float(y[first]) * 1e3, 4)),
                "on the layout map",
            )
        )
    return np.clip(row, 0, ny - 1), np.clip(column, 0, nx - 1)


def at_places(field: Array, row: Array, column: Array) -> Array:
    """Return a map's values at places, linear between the middles of cells.

    Parameters
    ----------
    field
        Over the cells, (ny, nx).
    row, column
        As :func:`places_on` gives them.

    Returns
    -------
    Array
        One a place.
    """
    j = np.minimum(row.astype(int), max(field.shape[0] - 2, 0))
    i = np.minimum(column.astype(int), max(field.shape[1] - 2, 0))
    v, u = row - j, column - i
    j1, i1 = np.minimum(j + 1, field.shape[0] - 1), np.minimum(i + 1, field.shape[1] - 1)
    low = field[j, i] * (1 - u) + field[j, i1] * u
    return np.asarray(low * (1 - v) + (field[j1, i] * (1 - u) + field[j1, i1] * u) * v)


def in_cells(field: Array, row: Array, column: Array) -> Array:
    """Return a map's values in the cells that hold the places.

    Parameters
    ----------
    field
        Over the cells, (ny, nx); NaN where a cell holds no such area.
    row, column
        As :func:`places_on` gives them.

    Returns
    -------
    Array
        One a place.
    """
    return np.asarray(field[np.rint(row).astype(int), np.rint(column).astype(int)])
