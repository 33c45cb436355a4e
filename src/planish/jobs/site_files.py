"""Which column of a site file is what, what was said of files like it, and what a person sees while saying it?"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.errors import DataError
from planish.measure.sites.column_map import ColumnMap, column_map, column_map_of
from planish.measure.sites.looked import SitesLook, has_header, look_at_sites
from planish.measure.sites.pairing import Paired, paired
from planish.measure.sites.read import SiteMap, read_sites
from planish.measure.tables.grid import numeric, read_grids

if TYPE_CHECKING:
    from planish.measure.tables.grid import Grid

Place = str | os.PathLike[str]
#: What a person is shown of a file.
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 16, 40, 60
MOST_POINTS = 2000
_HINT = re.compile(r"\s*\((?:[^()]|\([^()]*\))*\)")
_UNIT_HINT = re.compile(r" or --unit \S+ \(in Python [^)]*\)")


@dataclass(frozen=True, slots=True)
class SiteFile:
    """A site file with what is told of it: its column map, and which wafer of it."""

    path: Place
    columns: ColumnMap | None = None
    wafer: str | None = None

    def read(self) -> SiteMap:
        """Return its sites.

        Raises
        ------
        DataError
            As :func:`~planish.measure.sites.read.read_sites`.
        """
        return read_sites(self.path, columns=self.columns or None, wafer=self.wafer)


def told_of(document: Mapping[str, Any] | None) -> ColumnMap:
    """Return the column map of plain data, as its file has it; empty for None.

    Raises
    ------
    DataError
        For what no column map has.
    """
    return column_map(document)


def map_of_toml(text: str) -> dict[str, Any]:
    """Return a column map's file as plain data.

    Raises
    ------
    DataError
        For what is none, and for one that says nothing.
    """
    found = column_map_of(text)
    if not found:
        raise DataError(
            "says nothing of any file: must name a column, a unit or another thing of a column map"
        )
    return found.document()


def map_as_toml(document: Mapping[str, Any]) -> str:
    """Return the file of a column map, as the commands read it.

    Raises
    ------
    DataError
        For what no column map has.
    """
    return column_map(document).to_toml()


def removal_of(before: SiteFile, after: SiteFile | None = None) -> Paired:
    """Return the measured removal of one wafer, each of its files read as it was told.

    Parameters
    ----------
    before, after
        Thickness before and after the polish; or one file that holds the removal.

    Raises
    ------
    DataError
        As :func:`~planish.measure.sites.pairing.read_removal`.
    """
    return paired(before.read(), None if after is None else after.read())


def may_be_told(path: Place) -> bool:
    """Return whether a file holds rows of numbers under something, so that it helps to say which column is what."""
    try:
        grids = read_grids(path)
    except DataError:
        return False
    return any(sum(numeric(cell) for cell in cells) > 1 for grid in grids for _, cells in grid.rows)


def known_by_header(path: Place, kept: Sequence[Mapping[str, Any]]) -> int | None:
    """Return which of some column maps was made for a file with the same column names.

    Parameters
    ----------
    path
        The file.
    kept
        Maps, the likeliest first: each with its ``header``, the column names of the file that it was made for, and what
        is ``told``.

    Returns
    -------
    int | None
        The first whose names stand in one row of the file.
    """
    grids: dict[tuple[str | None, str | None], tuple[Grid, ...]] = {}
    for at, one in enumerate(kept):
        told = told_of(one["told"])
        way = (told.sheet, told.separator)
        if way not in grids:
            try:
                grids[way] = read_grids(path, *way)
            except DataError:  # it has no such sheet, or is no text
                grids[way] = ()
        if one["header"] and has_header(grids[way], one["header"]):
            return at
    return None


def looked(path: Place, told: Mapping[str, Any] | None = None, wafer: str | None = None) -> dict[str, Any]:
    """Return what a site file holds and how it is read with what is told, as a person sees it.

    Parameters
    ----------
    path
        The file.
    told
        A column map as plain data.
    wafer
        Which one, where there are several.

    Returns
    -------
    dict[str, Any]
        ``rows`` as found (a gap is a row without a line), ``columns`` with what each is taken for, ``understood`` or
        ``refused`` in one line, and ``sites`` as read, in SI.

    Raises
    ------
    DataError
        For a file without rows of cells, and for a map that is none.
    """
    said = told_of(told)
    found = look_at_sites(path, said, wafer)
    return {
        "told": said.document(),
        "wafer": wafer,
        "place": found.place,
        "rows": _first_rows(found),
        "rows_in_all": len(found.rows),
        "separator": found.separator,
        "sheets": list(found.sheets),
        "names_line": found.names_line,
        "header": list(found.header),
        "columns": [{"header": one.header, "role": one.role, "unit": one.unit} for one in found.columns],
        "numbered": [
            {"told": one.told, "first": one.first, "last": one.last, "count": one.count}
            for one in found.numbered
        ],
        "understood": found.understood,
        "refused": without_options(found.refused),
        "wafers": list(found.wafers),
        "sites": None if found.sites is None else _sites(found.sites),
    }


def without_options(words: str) -> str:
    """Return a refusal without the options of the command, for a door that has none.

    Parameters
    ----------
    words
        Of the reader.
    """
    plain = _UNIT_HINT.sub(" or here", words)
    return _HINT.sub(lambda hint: "" if "--" in hint.group() else hint.group(), plain)


def _sites(sites: SiteMap) -> dict[str, Any]:
    pick = slice(None, None, max(1, -(-len(sites) // MOST_POINTS)))
    return {
        "quantity": sites.quantity,
        "sites": len(sites),
        "mean": float(np.mean(sites.value)),
        "least": float(np.min(sites.value)),
        "most": float(np.max(sites.value)),
        "reach": float(np.max(sites.r)),
        "wafer_radius": sites.wafer_radius,
        "x": sites.x[pick],
        "y": sites.y[pick],
        "value": sites.value[pick],
    }


def _first_rows(found: SitesLook) -> list[dict[str, Any]]:
    """The first rows, and those round the column names where these stand further down."""
    at = next((i for i, (line, _) in enumerate(found.rows) if line == found.names_line), 0)
    if at < MOST_ROWS - 8:
        return [_row(line, cells) for line, cells in found.rows[:MOST_ROWS]]
    shown = [_row(line, cells) for line, cells in found.rows[:4]]
    shown.append({"line": None, "cells": [], "more": 0})
    return shown + [_row(line, cells) for line, cells in found.rows[at - 2 : at + MOST_ROWS - 7]]


def _row(line: int, cells: Sequence[str]) -> dict[str, Any]:
    cut = [
        cell if len(cell) <= LONGEST_CELL else f"{cell[: LONGEST_CELL - 1]}…" for cell in cells[:MOST_COLUMNS]
    ]
    return {"line": line, "cells": cut, "more": max(0, len(cells) - MOST_COLUMNS)}
