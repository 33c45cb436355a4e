"""Text and Parquet tables as columns of cells, with the line each came from.

Every reader of this package goes through here, so that a broken file is
refused in the same words: file, line or column, what was found, what to do.
"""

from __future__ import annotations

import csv
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import plain
from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.measure.tables import limits


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read: nothing interpreted yet.

    Attributes
    ----------
    path
        The file.
    header
        Column names as written.
    columns
        Their cells as text (stripped).
    lines
        The 1-based line of the file (for Parquet: the row) each record came from.
    notes
        The ``# key: value`` lines.
    place
        What ``lines`` counts.
    """

    path: str
    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: dict[str, str] = field(default_factory=dict)
    place: str = "line"

    def at(self, row: int, column: str | None = None) -> str:
        """Return the wording of a place: ``file: line 7, column 'x_mm'``.

        Parameters
        ----------
        row
            Of the table, from 0.
        column
            Its name, if it matters.

        Returns
        -------
        str
            For a refusal.
        """
        where = f"{self.path}: {self.place} {self.lines[row]}"
        return f"{where}, column {column!r}" if column is not None else where

    def index(self, name: str, purpose: str = "a column") -> int:
        """Return the position of a column.

        Parameters
        ----------
        name
            Of the column (case does not matter).
        purpose
            What it is wanted for, for the refusal.

        Returns
        -------
        int
            From 0.

        Raises
        ------
        DataError
            If there is no such column, or two that differ only in case.
        """
        hits = [i for i, h in enumerate(self.header) if h.casefold() == name.strip().casefold()]
        if len(hits) == 1:
            return hits[0]
        have = _some(self.header)
        if not hits:
            raise DataError(refuse(f"{self.path}: {purpose}", name, f"one of its columns: {have}"))
        raise DataError(refuse(f"{self.path}: {purpose}", name, "named once", f"the columns are {have}"))

    def text(self, name: str) -> tuple[str, ...]:
        """Return the cells of a column as text, as it was before it was made safe for a spreadsheet.

        Parameters
        ----------
        name
            Of the column.

        Returns
        -------
        tuple[str, ...]
            (rows,).

        Raises
        ------
        DataError
            If there is no such column, or a cell is empty.
        """
        column = self.index(name)
        for row, cell in enumerate(self.columns[column]):
            if not cell:
                raise DataError(refuse(self.at(row, self.header[column]), cell, "filled in"))
        return tuple(plain(cell) for cell in self.columns[column])

    def numbers(self, name: str) -> NDArray[np.float64]:
        """Return the cells of a column as finite floats.

        Parameters
        ----------
        name
            Of the column.

        Returns
        -------
        NDArray[np.float64]
            (rows,).

        Raises
        ------
        DataError
            At the first cell that is empty, not a number, NaN or infinite.
        """
        column = self.index(name)
        out = np.empty(len(self.lines))
        for row, cell in enumerate(self.columns[column]):
            try:
                value = number(cell)
            except ValueError:
                raise DataError(self._not_a_number(row, column, cell)) from None
            if not math.isfinite(value):
                raise DataError(
                    refuse(
                        self.at(row, self.header[column]),
                        cell,
                        "a finite number",
                        "leave the row out if nothing was measured there",
                    )
                )
            out[row] = value
        return out

    def _not_a_number(self, row: int, column: int, cell: str) -> str:
        if not cell:
            remedy = "leave the row out if nothing was measured there"
        elif cell.count(",") == 1 and cell.replace(",", "").lstrip("+-").isdigit():
            remedy = "write decimals with a point, not a comma"
        else:
            remedy = "numbers only; the unit belongs in the column's name"
        return refuse(self.at(row, self.header[column]), cell[:40], "a number", remedy)


def read_table(path: str | os.PathLike[str]) -> Table:
    """Read a CSV (comma, semicolon or tab) or Parquet file.

    Parameters
    ----------
    path
        The file. Lines that begin with ``#`` before the column names are notes; those of the form ``# key:
        value`` are kept in ``notes`` with the key in lower case.

    Returns
    -------
    Table
        Nothing interpreted yet.

    Raises
    ------
    DataError
        If the file is missing, empty, a folder, binary, not UTF-8, too large,
        has rows of uneven length, or column names that are empty or repeated.
    """
    file = check_file(path)
    if file.suffix.lower() in (".parquet", ".pq"):
        return _read_parquet(file)
    return _read_text(file)


def check_file(path: str | os.PathLike[str]) -> Path:
    """Return the path of a table that may be opened.

    Parameters
    ----------
    path
        Of the table.

    Returns
    -------
    Path
        The same.

    Raises
    ------
    DataError
        If the file is missing, empty, a folder, a device or a pipe.
    """
    file = as_path(path, "table")
    if not file.exists():
        raise DataError(f"{path}: no such file (give the path of a CSV or Parquet table)")
    if not file.is_file():
        what = "a folder" if file.is_dir() else "a device or pipe"
        raise DataError(f"{path}: is {what}, not a file (name a CSV or Parquet table)")
    if file.stat().st_size == 0:
        raise DataError(f"{path}: the file is empty (a line of column names and a row a site are needed)")
    return file


def _read_text(file: Path) -> Table:
    limits.check_text(file)
    try:
        # Universal line ends; the pass before has shown that no line is long.
        with file.open(encoding="utf-8-sig") as text:
            return _parsed(file, text)
    except UnicodeDecodeError:
        raise DataError(_not_utf8(file)) from None


def _parsed(file: Path, text: TextIO) -> Table:
    notes: dict[str, str] = {}
    first = 1
    while (head := text.readline()) and (not head.strip() or head.lstrip().startswith("#")):
        key, colon, value = head.lstrip().lstrip("#").partition(":")
        if colon:
            name, said = key.strip().lower(), value.strip()
            if notes.setdefault(name, said) != said:
                raise DataError(
                    f"{file}: line {first}: {name} = {said[:60]!r}, where a line above has {notes[name][:60]!r} "
                    "(state it once)"
                )
        if first > limits.MAX_NOTES:
            raise DataError(f"{file}: more than {limits.MAX_NOTES} lines before the column names")
        first += 1
    if not head:
        raise DataError(f"{file}: holds no column names and no rows (only blank or # lines)")
    delimiter = max(limits.SEPARATORS, key=head.count)
    lines = _Lines(file, head, text)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    header: tuple[str, ...] = ()
    columns: list[list[str]] = []
    numbers: list[int] = []
    try:
        for record in reader:
            at = first - 1 + reader.line_num
            if not header:
                limits.check_columns(file, len(record))
                header = tuple(plain(name.strip()) for name in record)
                _check_header(file, header, first)
                columns = [[] for _ in header]
            elif any(cell.strip() for cell in record) and not record[0].lstrip().startswith("#"):
                if len(record) != len(header):
                    raise DataError(
                        f"{file}: line {at}: {len(record)} cells where the {len(header)} columns "
                        f"{_some(header)} are named (one cell a column, separated by {delimiter!r})"
                    )
                if lines.length > limits.MAX_CELL:
                    for cell in record:
                        limits.check_cell(f"{file}: line {at}", cell)
                for column, cell in zip(columns, record, strict=True):
                    column.append(cell.strip())
                numbers.append(at)
            lines.length = 0
    except csv.Error as error:
        raise DataError(f"{file}: cannot be read as a table: {error} (check its quotation marks)") from None
    if not numbers:
        raise DataError(f"{file}: has column names but no rows")
    return Table(str(file), header, tuple(tuple(column) for column in columns), tuple(numbers), notes)


class _Lines:
    """The lines of a table from its head on; one record may not take more than a few of them."""

    def __init__(self, file: Path, head: str, rest: TextIO) -> None:
        self.file, self.head, self.rest = file, head, rest
        self.length = 0  # characters handed out for the record at hand

    def __iter__(self) -> Iterator[str]:
        yield self._counted(self.head)
        for line in self.rest:
            yield self._counted(line)

    def _counted(self, line: str) -> str:
        self.length += len(line)
        if self.length > limits.MAX_LINE:
            raise DataError(
                f"{self.file}: a quotation mark opens a record of more than {limits.MAX_LINE} characters "
                "(check its quotation marks)"
            )
        return line


def _not_utf8(file: Path) -> str:
    """Say where a file is not UTF-8."""
    with file.open("rb") as raw:
        for number, line in enumerate(raw, start=1):
            try:
                line.decode("utf-8-sig" if number == 1 else "utf-8")
            except UnicodeDecodeError as error:
                byte = line[error.start]
                return f"{file}: line {number}: byte 0x{byte:02x} is not UTF-8 (save the file as UTF-8)"
    return f"{file}: is not UTF-8 (save the file as UTF-8)"


def _some(names: tuple[str, ...]) -> str:
    """Name columns in a refusal, not more than fit a line."""
    shown = [name if len(name) <= 40 else name[:39] + "…" for name in names[:12]]
    return ", ".join(shown) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def _check_header(file: Path, header: tuple[str, ...], line: int) -> None:
    if any(not name for name in header):
        raise DataError(f"{file}: line {line}: column {header.index('') + 1} has no name (name every column)")
    if all(_is_number(name) for name in header):
        raise DataError(
            f"{file}: line {line}: numbers stand where column names belong "
            "(begin with names and units, such as x_mm,y_mm,thickness_nm)"
        )
    folded = [name.casefold() for name in header]
    for i, name in enumerate(folded):
        if name in folded[:i]:
            raise DataError(
                f"{file}: line {line}: the column name {header[i]!r} stands twice (name each once)"
            )


def number(text: str) -> float:
    """Return a cell's number; digits of other scripts and grouped digits (``1_000``) are none.

    Parameters
    ----------
    text
        Of the cell.

    Returns
    -------
    float
        As a float.

    Raises
    ------
    ValueError
        If it is not a number.
    """
    if not text.isascii() or "_" in text:
        raise ValueError(text)
    return float(text)


def _is_number(text: str) -> bool:
    try:
        number(text)
    except ValueError:
        return False
    return True


def _read_parquet(file: Path) -> Table:
    import polars as pl  # only here: Parquet is off the fast path

    from planish.measure.tables.parquet_limits import check_parquet

    check_parquet(file, limits.MAX_CELLS)
    try:
        frame = pl.read_parquet(file)
    except (pl.exceptions.PolarsError, OSError, pl.exceptions.PanicException) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise DataError(f"{file}: is not a readable Parquet file: {reason[:120]} (write it again)") from None
    if frame.height == 0:
        raise DataError(f"{file}: has column names but no rows")
    # Texts are stored once and pointed at: written out they may be a thousand times larger.
    texts = [name for name in frame.columns if frame[name].dtype == pl.String]
    for name in texts:
        longest = frame.select(pl.col(name).str.len_bytes().max()).item()
        if longest is not None and longest > limits.MAX_CELL:
            raise DataError(
                f"{file}: column {name[:40]!r}: a cell of {longest} bytes: must be at most {limits.MAX_CELL}"
            )
    if pl.Binary in frame.dtypes:
        raise DataError(f"{file}: holds columns of raw bytes (numbers and text are read)")
    columns = tuple(
        tuple("" if cell is None else str(cell).strip() for cell in series.to_list()) for series in frame
    )
    return Table(str(file), tuple(frame.columns), columns, tuple(range(1, frame.height + 1)), {}, "row")
