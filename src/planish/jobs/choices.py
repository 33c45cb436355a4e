"""What can a die be asked for? The processes by name, test layouts, and the layers of a layout file.

Nothing is loaded before it is asked for: a server lists the names, and a worker of its own makes the maps.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from planish.errors import DataError

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

# [m] Size and cell at which a test layout shows in a moment what it is for.
USUAL = (20e-3, 200e-6)
FINER = {"line-space": (2e-3, 20e-6)}


def die_processes() -> tuple[str, ...]:
    """Return the names of the die processes, planish's own first, then those of installed packages."""
    from planish.setup.processes import PROCESSES

    return PROCESSES.names()


def pattern_maps(kind: str, cell: float | None = None, size: float | None = None) -> LayoutMaps:
    """Return the cell maps of a test layout.

    Parameters
    ----------
    kind
        Which of the invented patterns (`planish.measure.layout.make`).
    cell, size
        Side of a cell and of the layout [m]; unless given, those at which a die is quickly polished.

    Returns
    -------
    LayoutMaps
        Of the pattern.

    Raises
    ------
    DataError
        For a pattern that there is not, or a cell that does not fit.
    """
    from planish.measure.layout.make import make_maps

    quick_size, quick_cell = FINER.get(kind, USUAL)
    return make_maps(
        kind,  # type: ignore[arg-type]  # refused there if unknown
        quick_cell if cell is None else cell,
        size=quick_size if size is None else size,
    )


def file_maps(path: str | os.PathLike[str], layer: str, cell: float) -> LayoutMaps:
    """Return the cell maps of one layer of a stranger's layout, within bounds; of the fullest where none is named.

    Parameters
    ----------
    path
        The layout.
    layer
        Such as "68/20"; "" for the one with most shapes.
    cell
        Side of a cell [m].

    Returns
    -------
    LayoutMaps
        Of that layer.

    Raises
    ------
    DataError
        For a file, a layer or a cell that cannot be used, or a file with no shapes.
    """
    from planish.measure.layout.read import list_layers, parse_layer, read_layout_maps

    layers = list_layers(path)
    if not layers:
        raise DataError("layout: no shapes in it")
    number, datatype = parse_layer(layer) if layer else max(layers, key=lambda key: layers[key])
    return read_layout_maps(path, number, datatype, cell)
