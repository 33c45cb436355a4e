"""The sites of many wafers: of a file that holds several, of files, and of a folder of files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.measure.sites.read import SiteMap, read_sites
from planish.measure.sites.which import SeveralWafersError

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap

#: What a file of sites in a folder is called at its end.
ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".parquet", ".xlsx")
MOST_FILES = 1000


def read_wafers(
    path: str | os.PathLike[str], columns: ColumnMap | str | os.PathLike[str] | None = None
) -> list[tuple[str, SiteMap]]:
    """Read all wafers of a file of sites, or of a folder of such files.

    Parameters
    ----------
    path
        A file as :func:`~planish.measure.sites.read.read_sites` takes it, with one wafer or several, or a folder
        whose files with the :data:`ENDINGS` are read in the order of their names.
    columns
        Which column is what, as ``read_sites`` takes it; the same for all files.

    Returns
    -------
    list[tuple[str, SiteMap]]
        What each wafer is called (by file, and by its name in the file where that holds several), and its sites.

    Raises
    ------
    DataError
        As ``read_sites``; for a folder without files of sites, or with too many.
    """
    place = as_path(path, "sites")
    if place.is_dir():
        return [one for file in _files(place) for one in read_wafers(file, columns)]
    try:
        return [(place.name, read_sites(path, columns=columns))]
    except SeveralWafersError as several:
        names = several.wafers
    return [
        (f"{place.name}, wafer {name[:40]}", read_sites(path, wafer=name, columns=columns)) for name in names
    ]


def _files(folder: Path) -> list[Path]:
    found = sorted(
        one
        for one in folder.iterdir()
        if one.is_file() and one.suffix.lower() in ENDINGS and not one.name.startswith(".")
    )
    if not found:
        raise DataError(f"{folder}: holds no file of sites: must hold some ({', '.join(ENDINGS)})")
    if len(found) > MOST_FILES:
        raise DataError(refuse(str(folder), f"{len(found)} files", f"at most {MOST_FILES} files of sites"))
    return found
