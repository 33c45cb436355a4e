"""Text and Parquet tables as columns of cells, with the line each came from.

Every reader of this package goes through here, so that a broken file is
refused in the same words: file, line or column, what was found, what to do.
"""

from __future__ import annotations

import csv
import io
import math
import os
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

#: Text tables above this are refused: a site map or a variance study is far smaller.
MAX_TEXT_BYTES = 200 * 1024 * 1024
_DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True)
class Table:
    """A table as read: nothing interpreted yet.

    ``header`` holds the column names as written, ``columns`` their cells as
    text (stripped), ``lines`` the 1-based line of the file (for Parquet: the
    row) each record came from, ``notes`` the ``# key: value`` lines.
    """

    path: str
    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: dict[str, str] = field(default_factory=dict)
    place: str = "line"

    def at(self, row: int, column: str | None = None) -> str:
        """Return the wording of a place: ``file: line 7, column 'x_mm'``."""
        where = f"{self.path}: {self.place} {self.lines[row]}"
        return f"{where}, column {column!r}" if column is not None else where

    def index(self, name: str, purpose: str = "a column") -> int:
        """Return the position of column ``name`` (case does not matter).

        Raises
        ------
        DataError
            If there is no such column, or two that differ only in case.
        """
        hits = [i for i, h in enumerate(self.header) if h.casefold() == name.strip().casefold()]
        if len(hits) == 1:
            return hits[0]
        have = ", ".join(self.header)
        if not hits:
            raise DataError(refuse(f"{self.path}: {purpose}", name, f"one of its columns: {have}"))
        raise DataError(refuse(f"{self.path}: {purpose}", name, "named once", f"the columns are {have}"))

    def text(self, name: str) -> tuple[str, ...]:
        """Return the cells of column ``name`` as text; an empty cell is refused."""
        column = self.index(name)
        for row, cell in enumerate(self.columns[column]):
            if not cell:
                raise DataError(refuse(self.at(row, self.header[column]), cell, "filled in"))
        return self.columns[column]

    def numbers(self, name: str) -> NDArray[np.float64]:
        """Return the cells of column ``name`` as finite floats.

        Raises
        ------
        DataError
            At the first cell that is empty, not a number, NaN or infinite.
        """
        column = self.index(name)
        out = np.empty(len(self.lines))
        for row, cell in enumerate(self.columns[column]):
            try:
                value = float(cell)
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
    """Read a CSV (comma, semicolon or tab) or Parquet file as a :class:`Table`.

    Lines that begin with ``#`` before the column names are notes; those of
    the form ``# key: value`` are kept in ``notes`` with the key in lower case.

    Raises
    ------
    DataError
        If the file is missing, empty, a folder, binary, not UTF-8, too large,
        has rows of uneven length, or column names that are empty or repeated.
    """
    file = Path(path)
    if not file.exists():
        raise DataError(f"{path}: no such file (give the path of a CSV or Parquet table)")
    if not file.is_file():
        what = "a folder" if file.is_dir() else "a device or pipe"
        raise DataError(f"{path}: is {what}, not a file (name a CSV or Parquet table)")
    if file.stat().st_size == 0:
        raise DataError(f"{path}: the file is empty (a line of column names and a row a site are needed)")
    if file.suffix.lower() in (".parquet", ".pq"):
        return _read_parquet(file)
    return _read_text(file)


def _read_text(file: Path) -> Table:
    size = file.stat().st_size
    if size > MAX_TEXT_BYTES:
        raise DataError(
            f"{file}: {size / 1e6:.0f} MB is more than the {MAX_TEXT_BYTES / 1e6:.0f} MB a text table "
            f"may have "
            "(split it by wafer, or write it as Parquet)"
        )
    text = _decode(file, file.read_bytes())
    notes: dict[str, str] = {}
    lines = text.splitlines()
    first = 0
    while first < len(lines) and (not lines[first].strip() or lines[first].lstrip().startswith("#")):
        key, colon, value = lines[first].lstrip().lstrip("#").partition(":")
        if colon:
            notes[key.strip().lower()] = value.strip()
        first += 1
    if first == len(lines):
        raise DataError(f"{file}: holds no column names and no rows (only blank or # lines)")
    delimiter = max(_DELIMITERS, key=lines[first].count)
    try:
        records = list(csv.reader(io.StringIO("\n".join(lines[first:])), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise DataError(f"{file}: cannot be read as a table: {error} (check its quotation marks)") from None
    header = tuple(name.strip() for name in records[0])
    _check_header(file, header, first + 1)
    rows: list[list[str]] = []
    numbers: list[int] = []
    for number, record in enumerate(records[1:], start=first + 2):
        if not any(cell.strip() for cell in record) or record[0].lstrip().startswith("#"):
            continue
        if len(record) != len(header):
            raise DataError(
                f"{file}: line {number}: {len(record)} cells where the {len(header)} columns "
                f"{', '.join(header)} are named (one cell a column, separated by {delimiter!r})"
            )
        rows.append(record)
        numbers.append(number)
    if not rows:
        raise DataError(f"{file}: has column names but no rows")
    columns = tuple(tuple(row[i].strip() for row in rows) for i in range(len(header)))
    return Table(str(file), header, columns, tuple(numbers), notes)


def _decode(file: Path, raw: bytes) -> str:
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise DataError(f"{file}: is UTF-16 text (save it as UTF-8)")
    if b"\x00" in raw[:65536]:
        raise DataError(
            f"{file}: is binary, not a text table (CSV or Parquet is read; the suffix tells which)"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise DataError(
            f"{file}: line {line}: byte 0x{raw[error.start]:02x} is not UTF-8 (save the file as UTF-8)"
        ) from None


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


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _read_parquet(file: Path) -> Table:
    import polars as pl  # only here: Parquet is off the fast path

    try:
        frame = pl.read_parquet(file)
    except (pl.exceptions.PolarsError, OSError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise DataError(f"{file}: is not a readable Parquet file: {reason[:120]} (write it again)") from None
    if frame.height == 0:
        raise DataError(f"{file}: has column names but no rows")
    columns = tuple(
        tuple("" if cell is None else str(cell).strip() for cell in series.to_list()) for series in frame
    )
    return Table(str(file), tuple(frame.columns), columns, tuple(range(1, frame.height + 1)), {}, "row")
