"""A grid as a table with names: which row holds them, the rows below, and a row of units between."""

from __future__ import annotations

from collections.abc import Sequence

from planish.errors import DataError
from planish.measure.tables.grid import Grid, numeric
from planish.measure.tables.workbook import Row


def names_row(grid: Grid, example: str) -> int:
    """Return which row holds the column names: the first that is no note.

    Parameters
    ----------
    grid
        As read.
    example
        Of such a line, for the refusal.

    Raises
    ------
    DataError
        Where numbers stand in their place, or there is no such row.
    """
    for at, (line, cells) in enumerate(grid.rows):
        if cells[0].startswith("#") and len(cells) == 1:
            continue
        if all(numeric(cell) for cell in cells if cell):
            raise DataError(
                f"{grid.path}: {grid.place} {line}: numbers stand where column names belong (begin with a line of names, as "
                f"{example})"
            )
        return at
    raise DataError(f"{grid.path}: holds no column names and no rows (only blank or # lines)")


def rows_below(grid: Grid, at: int, width: int) -> list[Row]:
    """Return the rows below the names, each with its line and as many cells as there are names.

    Parameters
    ----------
    grid
        As read.
    at
        Which row holds the names.
    width
        How many there are.

    Raises
    ------
    DataError
        For a row with more cells.
    """
    found: list[Row] = []
    for line, cells in grid.rows[at + 1 :]:
        if cells[0].startswith("#") and not any(cells[1:]):
            continue
        if len(cells) > width and any(cells[width:]):
            raise DataError(
                f"{grid.path}: {grid.place} {line}: {len(cells)} cells where {width} columns are named (one cell a "
                "column; a cell that holds the separator stands in quotation marks)"
            )
        found.append((line, (*cells[:width], *[""] * (width - len(cells)))))
    return found


def is_unit(cell: str) -> bool:
    """Return whether a cell is a unit in brackets alone.

    Parameters
    ----------
    cell
        Stripped.
    """
    return len(cell) > 2 and cell[0] in "[(" and cell[-1] in "])"


def units_first(rows: Sequence[Row]) -> bool:
    """Return whether the first row below the names holds units in brackets, and nothing else.

    Parameters
    ----------
    rows
        As of :func:`rows_below`.
    """
    filled = [cell for cell in rows[0][1] if cell and cell != "-"] if rows else []
    return bool(filled) and all(is_unit(cell) for cell in filled)
