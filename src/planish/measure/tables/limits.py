"""How large a text table may be, found by one pass over its bytes before anything is kept of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from planish.errors import DataError

#: Text tables above this are refused: a site map or a variance study is far smaller.
MAX_TEXT_BYTES = 200 * 1024 * 1024
#: Longest line [bytes], and longest record that quotation marks spread over several lines [characters].
MAX_LINE = 256 * 1024
MAX_COLUMNS = 512
#: Cells that are read as text one by one: a million sites of four columns.
MAX_CELLS = 4_000_000
#: Cells of a trace, which is read column by column: eight bytes each.
MAX_TRACE_CELLS = 20_000_000
#: Longest text in one cell [characters].
MAX_CELL = 1000
#: ``#`` lines before the column names.
MAX_NOTES = 1000
SEPARATORS = (",", ";", "\t")
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class TextSize:
    """What a pass over the bytes of a text table shows."""

    lines: int
    cells: int  # at most so many
    quotes: int


def check_text(file: Path, cells: int = MAX_CELLS) -> TextSize:
    """Refuse a text table that is too large to be read, by one pass in small pieces.

    Parameters
    ----------
    file
        The table.
    cells
        It may have.

    Returns
    -------
    TextSize
        How large it is.

    Raises
    ------
    DataError
        Saying how large it is, what the limit is and what to do.
    """
    size = file.stat().st_size
    if size > MAX_TEXT_BYTES:
        raise DataError(
            f"{file}: {size / 1e6:.0f} MB is more than the {MAX_TEXT_BYTES / 1e6:.0f} MB a text table "
            "may have (split it by wafer, or write it as Parquet)"
        )
    with file.open("rb") as raw:
        if raw.read(2) in (b"\xff\xfe", b"\xfe\xff"):
            raise DataError(f"{file}: is UTF-16 text (save it as UTF-8)")
        raw.seek(0)
        return check_text_of(file, raw, cells)


def check_text_of(file: Path, raw: BinaryIO, cells: int | None = None) -> TextSize:
    """Refuse UTF-8 text that is too large to be read as a table, by one pass in small pieces.

    Parameters
    ----------
    file
        For refusals.
    raw
        Its bytes, from the first.
    cells
        It may have; as many as are read at once unless given.

    Returns
    -------
    TextSize
        How large it is.

    Raises
    ------
    DataError
        As :func:`check_text`.
    """
    cells = MAX_CELLS if cells is None else cells
    lines = open_line = quotes = 0
    separators = dict.fromkeys(SEPARATORS, 0)
    while chunk := raw.read(_CHUNK):
        if b"\x00" in chunk:
            raise DataError(
                f"{file}: is binary, not a text table (CSV or Parquet is read; the suffix tells which)"
            )
        letters = np.frombuffer(chunk, np.uint8)
        ends = np.flatnonzero((letters == 10) | (letters == 13))
        at = np.concatenate([[-1 - open_line], ends, [len(letters)]])
        longest = int(np.diff(at).max()) - 1
        if longest > MAX_LINE:
            raise DataError(
                f"{file}: line {lines + int(np.argmax(np.diff(at))) + 1}: longer than the {MAX_LINE} bytes a "
                "line of a table may have (a row a line; is it a table?)"
            )
        lines += len(ends)
        open_line = len(letters) - int(at[-2]) - 1
        quotes += chunk.count(b'"')
        for separator in SEPARATORS:
            separators[separator] += chunk.count(separator.encode())
    most = max(separators.values()) + lines + 1
    if most > cells:
        raise DataError(
            f"{file}: about {most} cells are more than the {cells} that are read at once (split it by wafer)"
        )
    return TextSize(lines, most, quotes)


def check_columns(file: Path, count: int) -> None:
    """Refuse more columns than a table may have.

    Parameters
    ----------
    file
        The table.
    count
        Of its columns.

    Raises
    ------
    DataError
        If there are more.
    """
    if count > MAX_COLUMNS:
        raise DataError(
            f"{file}: {count} columns are more than the {MAX_COLUMNS} that are read (leave out what is not needed)"
        )


def check_cell(place: str, cell: str) -> None:
    """Refuse a cell whose text is too long.

    Parameters
    ----------
    place
        For the refusal.
    cell
        Its text.

    Raises
    ------
    DataError
        If it is longer than a cell may be.
    """
    if len(cell) > MAX_CELL:
        raise DataError(
            f"{place}: a cell of {len(cell)} characters: must be at most {MAX_CELL} (is a quotation mark missing?)"
        )
