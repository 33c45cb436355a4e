"""Cell maps as the verbs take them: from a layout, a picture, a table, or maps saved before."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from planish.cli import show
from planish.cli.bounds import option_length
from planish.errors import DataError

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps

LAYOUTS = (".gds", ".gds.gz", ".oas", ".gds2", ".gdsii")
PICTURES_TABLES_SAVED = (".png", ".bmp", ".tif", ".tiff", ".csv", ".npz", ".zarr")


def read_maps(
    file: Path, layer: str | None, cell: str, quiet: bool, *, pixels: int = 1, covered: str = "dark"
) -> LayoutMaps:
    """Return the cell maps of a file: by its name a picture, a table or saved maps, else a layout."""
    from planish.measure.layout.sources import is_map_file, maps_from_file

    size = option_length("--cell", cell)
    if is_map_file(file):
        if layer is not None:
            raise DataError(f"--layer {layer}: {file} holds one layer: must stand with a layout file")
        return maps_from_file(file, size, pixels_per_cell=pixels, covered_is=covered)
    from planish.measure.layout.limits import OWN
    from planish.measure.layout.read import read_layout_maps

    numbers = layer_numbers(layer)
    with show.progress(f"reading {file.name}", quiet=quiet) as tell:
        return read_layout_maps(file, *numbers, size, progress=tell, limits=OWN)


def layer_numbers(layer: str | None) -> tuple[int, int]:
    """Return layer and datatype of a text such as 68/20 (the datatype is 0 where left out)."""
    if layer is None:
        raise DataError("--layer: not given: must be layer and datatype, as 68/20")
    number, _, datatype = layer.partition("/")
    try:
        found = int(number), int(datatype or 0)
    except ValueError:
        raise DataError(f"--layer = {layer!r}: must be two whole numbers, as 68/20") from None
    if not all(0 <= item <= 65535 for item in found):
        raise DataError(f"--layer = {layer!r}: must be whole numbers from 0 to 65535, as 68/20")
    return found
