"""A table with a row a measurement, whatever way it is written: columns by name, numbers and labels.

It takes what tables of runs may be: text with any usual separator and decimal sign, Parquet, a workbook
(:mod:`planish.measure.tables.grid`). A row is counted as a person counts them: the first below the names is 1.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.tables.decimals import Decimal, decimal_sign, missing, plain_number
from planish.measure.tables.grid import Grid, read_grids
from planish.measure.tables.named import is_unit, names_row, rows_below, units_first
from planish.measure.tables.read import number

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows below their names.

    Attributes
    ----------
    path
        The file.
    names
        Of its columns, as written.
    cells
        A tuple a row, of as many cells as there are names.
    lines
        The line of the file (or row of the sheet) that each stands on.
    place
        What ``lines`` counts.
    decimal
        Said for the whole table; found in each column where not said.
    """

    path: str
    names: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    place: str
    decimal: Decimal | None

    def index(self, name: str, purpose: str) -> int:
        """Return the position of a column.

        Parameters
        ----------
        name
            As written in the table, in any case; without its unit in brackets where that leaves but one.
        purpose
            What it is for, for the refusal.

        Returns
        -------
        int
            From 0.

        Raises
        ------
        DataError
            If there is no such column, or more than one.
        """
        wanted = name.strip().casefold()
        hits = [at for at, each in enumerate(self.names) if each.casefold() == wanted]
        hits = hits or [at for at, each in enumerate(self.names) if bare(each).casefold() == wanted]
        if len(hits) == 1:
            return hits[0]
        have = ", ".join(each[:40] for each in self.names[:12] if each)
        raise DataError(refuse(f"{self.path}: {purpose}", name, f"the name of one of its columns: {have}"))

    def numbers(self, name: str, purpose: str) -> Array:
        """Return a column of numbers; NaN where a cell says that nothing was measured.

        Parameters
        ----------
        name, purpose
            As for :meth:`index`.

        Returns
        -------
        array
            (rows,).

        Raises
        ------
        DataError
            At the first cell that is text or not finite, and for a column without any number.
        """
        column = self.index(name, purpose)
        cells = [row[column] for row in self.cells]
        decimal = self.decimal or decimal_sign(cells, f"{self.path}: column {self.names[column][:40]!r}")[0]
        plain = _all_plain(cells) if decimal == "point" else None
        if plain is not None:
            return plain
        out = np.full(len(cells), np.nan)
        for row, cell in enumerate(cells):
            if missing(cell):
                continue
            try:
                value = number(plain_number(cell, decimal))
            except ValueError:
                raise DataError(
                    refuse(self.at(row, column), cell[:40], "a number", "or empty where nothing was measured")
                ) from None
            if not math.isfinite(value):
                raise DataError(refuse(self.at(row, column), cell[:40], "a finite number"))
            out[row] = value
        if np.all(np.isnan(out)):
            raise DataError(
                f"{self.path}: column {self.names[column][:40]!r}: no row holds a number: must hold the measured values"
            )
        return out

    @property
    def count(self) -> int:
        """Rows."""
        return len(self.cells)

    def labels(self, name: str, purpose: str) -> list[str]:
        """Return a column of labels; an empty one is that of the row above.

        Parameters
        ----------
        name, purpose
            As for :meth:`index`.

        Returns
        -------
        list of str
            (rows,).

        Raises
        ------
        DataError
            Where the first row has none.
        """
        column = self.index(name, purpose)
        out: list[str] = []
        for row, cells in enumerate(self.cells):
            if not cells[column] and not out:
                raise DataError(
                    refuse(self.at(row, column), "", "filled in", "the first row needs its label")
                )
            out.append(cells[column] or out[-1])
        return out

    def at(self, row: int, column: int) -> str:
        """Return the place of a cell for a refusal.

        Parameters
        ----------
        row, column
            From 0.

        Returns
        -------
        str
            File, line and column.
        """
        return f"{self.path}: {self.place} {self.lines[row]}, column {self.names[column][:40]!r}"


def _all_plain(cells: Sequence[str]) -> Array | None:
    """Return a column all of whose cells are finite numbers with a decimal point; None where one is anything else."""
    together = "".join(cells)
    if not together.isascii() or "_" in together or "," in together:
        return None
    try:
        values = np.array(list(map(float, cells)))
    except ValueError:
        return None
    return values if np.all(np.isfinite(values)) else None


def bare(name: str) -> str:
    """Return the name of a column without a unit in brackets at its end.

    Parameters
    ----------
    name
        As ``thickness [nm]``.

    Returns
    -------
    str
        As ``thickness``.
    """
    for left, right in (("[", "]"), ("(", ")")):
        if name.endswith(right) and left in name:
            return name[: name.rindex(left)].strip() or name
    return name


def read_rows(
    path: str | os.PathLike[str],
    *,
    sheet: str | None = None,
    decimal: str | None = None,
    columns: Sequence[str] = (),
) -> Rows:
    """Read a table with a row a measurement.

    Parameters
    ----------
    path
        Text, Parquet or a workbook.
    sheet
        Of a workbook with several.
    decimal
        "point" or "comma"; found in each column unless said.
    columns
        Names that are wanted, by which the sheet of a workbook is found where it is not said.

    Returns
    -------
    Rows
        Nothing interpreted yet.

    Raises
    ------
    DataError
        For what is no such table, or larger than is read.
    """
    if decimal not in (None, "point", "comma"):
        raise DataError(refuse("decimal", decimal, "point or comma"))
    grid = _chosen(read_grids(path, sheet), columns)
    at = names_row(grid, "wafer,thickness [nm]")
    names = grid.rows[at][1]
    rows = rows_below(grid, at, len(names))
    if units_first(rows):
        units = rows.pop(0)[1]
        names = tuple(
            f"{name} {unit}" if is_unit(unit) else name for name, unit in zip(names, units, strict=True)
        )
    if not rows:
        raise DataError(f"{grid.path}: has column names but no rows")
    said: Decimal | None = None if decimal is None else "comma" if decimal == "comma" else "point"
    return Rows(
        grid.path, names, tuple(cells for _, cells in rows), tuple(line for line, _ in rows), grid.place, said
    )


def _chosen(grids: Sequence[Grid], columns: Sequence[str]) -> Grid:
    if len(grids) == 1:
        return grids[0]
    wanted = {name.strip().casefold() for name in columns}
    fit = []
    for grid in grids:
        names = {
            form.casefold() for _, cells in grid.rows[:1] for name in cells for form in (name, bare(name))
        }
        if wanted and wanted <= names:
            fit.append(grid)
    if len(fit) == 1:
        return fit[0]
    told = "; ".join(grid.how[0] for grid in (fit or grids) if grid.how)
    raise DataError(f"{grids[0].path}: several sheets ({told}): must be one (say which: --sheet)")
