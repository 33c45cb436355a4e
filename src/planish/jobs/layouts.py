"""Which cell maps does a file hold: those of a layout, a picture, a table, or maps saved before?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from planish.errors import DataError
from planish.jobs.stages import Stage, untold
from planish.measure.layout.limits import OWN
from planish.measure.layout.sources import PICTURES, SAVED, TABLES, is_map_file, maps_from_file

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

LAYOUTS = (".gds", ".gds.gz", ".oas", ".gds2", ".gdsii")


def holds_cells(file: Path) -> bool:
    """Return whether a file is, by its name, a layout or holds cell maps.

    Parameters
    ----------
    file
        Any.
    """
    return file.name.lower().endswith((*LAYOUTS, *PICTURES, *TABLES, *SAVED))


def read_cells(
    file: Path,
    cell: float,
    layer: str | None = None,
    *,
    pixels: int = 1,
    covered: str = "dark",
    named: str = "layer",
    stage: Stage = untold,
) -> LayoutMaps:
    """Return the cell maps of a file: by its name a picture, a table or saved maps, else a layout.

    Parameters
    ----------
    file
        Of one's own: it may take what :data:`~planish.measure.layout.limits.OWN` allows.
    cell
        Side of a cell of a layout or picture [m]; the others carry their own.
    layer
        Of a layout, layer and datatype as "68/20" (the datatype is 0 where left out).
    pixels, covered
        Of a picture: pixels along a side of a cell, and what is covered, "dark" or "bright".
    named
        What a refusal calls the layer.
    stage
        Shows the reading of a layout.

    Raises
    ------
    DataError
        For a layer that a layout needs or that other files cannot have, and a file that cannot be used.
    """
    if is_map_file(file):
        if layer is not None:
            raise DataError(f"{named} {layer}: {file} holds one layer: must stand with a layout file")
        return maps_from_file(file, cell, pixels_per_cell=pixels, covered_is=covered)
    from planish.measure.layout.read import read_layout_maps  # loads what compiles: pictures need none of it

    numbers = _layer_numbers(layer, named)
    with stage(f"reading {file.name}") as tell:
        return read_layout_maps(file, *numbers, cell, progress=tell, limits=OWN)


def _layer_numbers(layer: str | None, named: str) -> tuple[int, int]:
    if layer is None:
        raise DataError(f"{named}: not given: must be layer and datatype, as 68/20")
    number, _, datatype = layer.partition("/")
    try:
        found = int(number), int(datatype or 0)
    except ValueError:
        raise DataError(f"{named} = {layer!r}: must be two whole numbers, as 68/20") from None
    if not all(0 <= item <= 65535 for item in found):
        raise DataError(f"{named} = {layer!r}: must be whole numbers from 0 to 65535, as 68/20")
    return found
