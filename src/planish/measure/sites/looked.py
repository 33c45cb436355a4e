"""A site file as it stands beside how it is read: first rows, column names, and what the reader makes or misses of them.

For whoever must say which column is what. Reading is that of :func:`planish.measure.sites.read.read_sites`; nothing is
read here in another way.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

from planish.errors import DataError
from planish.measure.sites.chosen import unit
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.column_names import MEASURED, POSITIONS, Named, named, shown
from planish.measure.sites.heads import SERIES, Head, as_head, find_head
from planish.measure.sites.preamble import MOST_ROWS, Preamble, read_preamble
from planish.measure.sites.read import SiteMap, read_sites
from planish.measure.sites.sorting import Sorted, sort_rows
from planish.measure.sites.which import SeveralWafersError
from planish.measure.tables.grid import NAMED, SEPARATORS, Grid, numeric, read_grids
from planish.measure.tables.workbook import Row


@dataclass(frozen=True, slots=True)
class LookedColumn:
    """A column by its name: what it is taken for, "" for nothing, and the unit that the file states, "" for none."""

    header: str
    role: str
    unit: str


@dataclass(frozen=True, slots=True)
class Numbered:
    """Columns numbered under one name, which may be the sites of a wafer in one row.

    Attributes
    ----------
    told
        What a column map says for them, such as ``T*``.
    first, last
        Their headers.
    count
        How many there are.
    """

    told: str
    first: str
    last: str
    count: int


@dataclass(frozen=True, slots=True)
class SitesLook:
    """What a file of sites holds and how it is read.

    Attributes
    ----------
    rows
        All rows as found, each with its line.
    place
        What the lines count: "line" or "row".
    separator
        Of a text, by name; "" for a workbook or Parquet.
    sheets
        Of a workbook with several.
    names_line
        Line of the column names, 0 where none is found.
    columns
        Those of that line.
    numbered
        Families of numbered columns.
    sites
        As read; None where the file is refused.
    understood
        How it was understood, in one line; "" where it is refused.
    refused
        Why it cannot be read, "" where it can.
    wafers
        By name, where there are several and none was asked for.
    """

    rows: Sequence[Row]
    place: str
    separator: str
    sheets: tuple[str, ...]
    names_line: int
    columns: tuple[LookedColumn, ...]
    numbered: tuple[Numbered, ...]
    sites: SiteMap | None
    understood: str
    refused: str
    wafers: tuple[str, ...]

    @property
    def header(self) -> tuple[str, ...]:
        """The column names, by which another file of the same gauge is known."""
        return tuple(column.header for column in self.columns)


def look_at_sites(
    path: str | os.PathLike[str], told: ColumnMap | None = None, wafer: str | None = None
) -> SitesLook:
    """Look at a file of sites, whether it can be read or not.

    Parameters
    ----------
    path
        The file.
    told
        What is said of it.
    wafer
        Which one, where it holds several.

    Returns
    -------
    SitesLook
        As found and as read.

    Raises
    ------
    DataError
        For a file that holds no rows of cells at all.
    """
    told = ColumnMap() if told is None else told
    sites: SiteMap | None = None
    refused = ""
    wafers: tuple[str, ...] = ()
    try:
        sites = read_sites(path, columns=told or None, wafer=wafer)
    except SeveralWafersError as error:
        refused, wafers = str(error), error.wafers
    except DataError as error:
        refused = str(error)
    try:
        grids = read_grids(path, told.sheet, told.separator)
    except DataError:
        grids = read_grids(path)  # a sheet or separator that it has not: shown as it would be found
    head, grid = _head(grids, told)
    before = _before(head)
    columns = () if head is None else _columns(head, before, told)
    return SitesLook(
        rows=grid.rows,
        place=grid.place,
        separator=_separator(grid),
        sheets=_sheets(path, grid),
        names_line=0 if head is None else head.line,
        columns=columns,
        numbered=() if head is None else _numbered(head.names),
        sites=sites,
        understood="" if sites is None else _understood(sites, columns),
        refused=refused,
        wafers=wafers,
    )


def has_header(grids: Sequence[Grid], header: Sequence[str]) -> bool:
    """Return whether a row of a file holds just these column names.

    Parameters
    ----------
    grids
        The file.
    header
        Names, as :attr:`SitesLook.header` gives them.
    """
    wanted = tuple(header)
    return any(_whole(cells) == wanted for grid in grids for _, cells in grid.rows[:MOST_ROWS])


def _whole(cells: tuple[str, ...]) -> tuple[str, ...]:
    while len(cells) > 1 and not cells[-1]:
        cells = cells[:-1]
    return cells


def _head(grids: Sequence[Grid], told: ColumnMap) -> tuple[Head | None, Grid]:
    """Return the line of column names, or the likeliest where none will do."""
    try:
        found = find_head(grids, told)
    except DataError:
        found = None
    if found is not None:
        return found, found.grid
    lone = ColumnMap(columns={}, names_line=told.names_line)
    best: tuple[int, Head | None, Grid] = (-1, None, grids[0])
    for grid in grids:
        for at, (line, cells) in enumerate(grid.rows[:MOST_ROWS]):
            if told.names_line is not None and line != told.names_line:
                continue
            if len(cells) < 2 or sum(numeric(cell) for cell in cells) > len(cells) // 2:
                continue
            head = as_head(grid, at, cells, lone)
            # Names have numbers below them; of several such lines the one with most known names.
            score = 10 * _numbers_below(grid, at, len(head.names)) + len(head.roles)
            if score > best[0]:
                best = (score, head, grid)
    return best[1], best[2]


def _numbers_below(grid: Grid, at: int, width: int) -> int:
    """Return 2 where the next row holds numbers in as many cells as there are names, 1 for the one after it, else 0."""
    for step in (1, 2):
        cells = grid.rows[at + step][1] if at + step < len(grid.rows) else ()
        if len(cells) == width and 2 * sum(numeric(cell) for cell in cells) >= width:
            return 3 - step
    return 0


def _before(head: Head | None) -> Preamble:
    try:
        return Preamble() if head is None else read_preamble(head.grid, head.at)
    except DataError:
        return Preamble()


def _columns(head: Head, before: Preamble, told: ColumnMap) -> tuple[LookedColumn, ...]:
    roles = {columns[0]: role for role, columns in head.roles.items() if len(columns) == 1}
    try:
        rows = sort_rows(
            head.grid, head.at, [at for at, role in roles.items() if role in (*MEASURED, *POSITIONS)], []
        )
    except DataError:
        rows = Sorted()
    silent = ColumnMap(columns=told.columns)
    out = []
    for at, name in enumerate(head.names):
        role = roles.get(at, "")
        stated = name.unit or ""
        if role in (*MEASURED, "x", "y", "r", "theta"):
            try:
                stated = unit(head, role, at, rows, before, silent)
            except DataError:
                stated = name.unit or ""
        out.append(LookedColumn(name.header, role, shown(stated) if stated else ""))
    return tuple(out)


def _numbered(names: Sequence[Named]) -> tuple[Numbered, ...]:
    stems: dict[str, list[Named]] = {}
    for name in names:
        if name.number is not None:
            stems.setdefault(name.stem, []).append(name)
    out = []
    for family in stems.values():
        if len(family) >= SERIES:
            told = family[0].bare.rstrip("0123456789") + "*"
            if named(told.rstrip("*") + "1").stem == family[0].stem:
                out.append(Numbered(told, family[0].header, family[-1].header, len(family)))
    return tuple(out)


def _separator(grid: Grid) -> str:
    if grid.place != "line":
        return ""
    plural = next(
        (how.removeprefix("separated by ") for how in grid.how if how.startswith("separated by ")), "commas"
    )
    sign = next(sign for sign, words in SEPARATORS.items() if words == plural)
    return next(name for name, one in NAMED.items() if one == sign)


def _sheets(path: str | os.PathLike[str], grid: Grid) -> tuple[str, ...]:
    from pathlib import Path

    from planish.measure.tables.workbook import is_workbook, read_sheets

    if grid.place == "line" or not is_workbook(Path(path)):
        return ()
    names = tuple(read_sheets(Path(path)))
    return names if len(names) > 1 else ()


def _understood(sites: SiteMap, columns: Sequence[LookedColumn]) -> str:
    if sites.understood:
        return "; ".join(sites.understood)
    by_role = {column.role: column for column in columns if column.role}
    taken = [
        f"{role} from {by_role[role].header!r}" + (f" in {by_role[role].unit}" if by_role[role].unit else "")
        for role in (sites.quantity, "x", "y", "r", "theta", "site")
        if role in by_role
    ]
    return "read as a plain table: " + ", ".join(taken or [f"{sites.quantity} in {sites.unit}"])
