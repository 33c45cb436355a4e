"""Text files and workbooks as rows of cells, whatever their encoding, separator and preamble.

Nothing is interpreted yet but how the file is written: its letters, its separator, its sheet. What was found
is told in ``how``.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from planish.engine.csv_text import plain
from planish.errors import DataError, refuse
from planish.measure.tables import limits
from planish.measure.tables.read import check_file, read_table
from planish.measure.tables.workbook import Row, is_workbook, read_sheets

#: A file that a gauge wrote is far smaller; larger ones are read where they are plain tables.
MAX_BYTES = 16 * 1024 * 1024
MAX_CELLS = 1_000_000
#: Lines that are looked at to find the separator.
TRIED = 400
NAMED = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blank": " "}
SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars", ",": "commas", " ": "blanks"}
_NUMERIC = re.compile(r"[+-]?(\d+([.,]\d+)*|[.,]\d+)([eE][+-]?\d+)?\Z", re.ASCII)


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows of cells.

    Attributes
    ----------
    path
        The file.
    rows
        Each with the number of its line (or row) from 1; cells are stripped; blank rows are left out.
    place
        What the numbers count.
    how
        How the file is written, where that is not plain comma-separated UTF-8.
    """

    path: str
    rows: tuple[Row, ...]
    place: str = "line"
    how: tuple[str, ...] = ()


def numeric(text: str) -> bool:
    """Whether a cell is a number, with a point or a comma.

    Parameters
    ----------
    text
        Of the cell.
    """
    return _NUMERIC.match(text) is not None


def read_grids(
    path: str | os.PathLike[str], sheet: str | None = None, separator: str | None = None
) -> tuple[Grid, ...]:
    """Return what a file holds as rows of cells, one grid a way of reading it.

    Parameters
    ----------
    path
        Text, Parquet or a workbook.
    sheet
        Of a workbook.
    separator
        Of a text file, one of :data:`NAMED`; the likeliest unless given.

    Returns
    -------
    tuple[Grid, ...]
        One, but for a workbook of several sheets.

    Raises
    ------
    DataError
        For what is no such file, or larger than is read.
    """
    file = check_file(path)
    if separator is not None and (is_workbook(file) or file.suffix.lower() in (".parquet", ".pq")):
        raise DataError(f"{file}: separator = {separator!r}: must be left out: the file is no text")
    if is_workbook(file):
        return _sheets(file, sheet)
    if sheet is not None:
        raise DataError(f"{file}: sheet = {sheet!r}: must be left out: the file is no workbook")
    if file.suffix.lower() in (".parquet", ".pq"):
        table = read_table(file)
        if len(table.lines) * len(table.header) > MAX_CELLS:
            raise DataError(
                f"{file}: more than {MAX_CELLS} cells are read only of a plain table (name its columns as x_mm, y_mm, "
                "thickness_nm)"
            )
        rows = ((0, table.header), *zip(table.lines, zip(*table.columns, strict=True), strict=True))
        return (Grid(table.path, rows, table.place),)
    return (_text(file, separator),)


def _sheets(file: Path, sheet: str | None) -> tuple[Grid, ...]:
    sheets = read_sheets(file)
    if sheet is not None and sheet not in sheets:
        names = ", ".join(repr(name[:40]) for name in list(sheets)[:12])
        raise DataError(refuse(f"{file}: sheet", sheet, f"one of {names}"))
    return tuple(
        Grid(str(file), rows, "row", (f"sheet {name[:40]!r}",) if len(sheets) > 1 else ())
        for name, rows in sheets.items()
        if sheet in (None, name)
    )


def _text(file: Path, told: str | None) -> Grid:
    size = file.stat().st_size
    if size > min(MAX_BYTES, limits.MAX_TEXT_BYTES):
        raise DataError(
            f"{file}: {size / 1e6:.0f} MB is more than the {MAX_BYTES / 1e6:.0f} MB that a file with a preamble, "
            "units or another separator may have (begin it with a line of names and units, separated by commas)"
        )
    text, how = _decoded(file)
    limits.check_text_of(file, io.BytesIO(text.encode("utf-8", "surrogatepass")))
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    separator = _separator(lines) if told is None else NAMED[told]
    if separator != ",":
        how = (*how, f"separated by {SEPARATORS[separator]}")
    rows = _split(file, lines, separator)
    if all(len(cells) == 1 and cells[0].startswith("#") for _, cells in rows):
        raise DataError(f"{file}: holds no column names and no rows (only blank or # lines)")
    return Grid(str(file), tuple(rows), "line", how)


def _decoded(file: Path) -> tuple[str, tuple[str, ...]]:
    raw = file.read_bytes()
    try:
        if raw[:2] in (b"\xff\xfe", b"\xfe\xff") and raw[:4] != b"\xff\xfe\0\0":
            return raw.decode("utf-16"), ("UTF-16 text",)
        return raw.decode("utf-8-sig"), ()
    except UnicodeDecodeError as error:
        if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
            raise DataError(f"{file}: is no whole UTF-16 text (save it as UTF-8)") from None
        if b"\0" in raw:
            raise DataError(f"{file}: is binary, not a text table (CSV, Parquet or .xlsx is read)") from None
        if any(byte in raw for byte in range(0x80, 0xA0)):
            line = raw.count(b"\n", 0, error.start) + 1
            raise DataError(
                f"{file}: line {line}: byte 0x{raw[error.start]:02x} is neither UTF-8 nor Latin-1 (save the file as UTF-8)"
            ) from None
        return raw.decode("latin-1"), ("Latin-1 text",)


def _separator(lines: list[str]) -> str:
    """The separator by which the first lines give the most cells that are numbers, in rows of one length."""
    tried = [line for line in lines if line.strip()][:TRIED]
    scores = {sign: _score(tried, sign) for sign in SEPARATORS}
    if not any(scores.values()):  # names alone
        first = next((line for line in tried if not line.lstrip().startswith("#")), "")
        return max((sign for sign in SEPARATORS if sign != " "), key=first.count)
    return max(scores, key=lambda sign: scores[sign])


def _score(lines: list[str], sign: str) -> int:
    """Count the numbers in the most common kind of row: cells of one count, mostly numbers."""
    alike: dict[int, int] = {}
    cut = _cutter(sign)
    for line in lines:
        cells = cut(line)
        count = sum(numeric(cell.strip().strip('"')) for cell in cells)
        if len(cells) > 1 and 2 * count >= len(cells):
            alike[len(cells)] = alike.get(len(cells), 0) + count
    return max(alike.values(), default=0)


def _cutter(sign: str) -> Callable[[str], list[str]]:
    if sign == " ":
        return str.split
    return lambda line: next(csv.reader([line], delimiter=sign), []) if '"' in line else line.split(sign)


def _split(file: Path, lines: list[str], separator: str) -> list[Row]:
    rows: list[Row] = []
    count = 0
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        if _is_note(line, separator):
            cells = [line.strip()]  # a note may hold separators
        elif '"' in line:
            cells = _quoted(file, number, line, separator)
        else:
            cells = _by_blanks(line) if separator == " " else line.split(separator)
        texts = [cell.strip() for cell in cells]
        if "'" in line:  # nothing else is shielded from spreadsheets
            texts = [plain(text) for text in texts]
        if not any(texts):
            continue
        limits.check_columns(file, len(texts))
        for text in texts if len(line) > limits.MAX_CELL else ():
            limits.check_cell(f"{file}: line {number}", text)
        count += len(texts)
        if count > MAX_CELLS:
            raise DataError(
                f"{file}: more than {MAX_CELLS} cells are not read of a file with a preamble, units or another "
                "separator (split it by wafer)"
            )
        rows.append((number, tuple(texts)))
    return rows


def _is_note(line: str, separator: str) -> bool:
    """Whether a line is a note; a ``#`` alone in its cell is the name of a column of numbers."""
    mark, rest = line.lstrip()[:1], line.lstrip()[1:]
    return mark == "#" and (separator == " " or not rest.lstrip(" ").startswith(separator))


def _by_blanks(line: str) -> list[str]:
    """Cut at blanks; names such as ``Pos X [mm]`` hold single ones, where the columns stand further apart."""
    cells = line.split()
    if 2 * sum(numeric(cell) for cell in cells) >= len(cells):
        return cells
    apart = re.split(r"\s{2,}", line.strip())
    if len(apart) > 1:
        return apart
    out: list[str] = []
    for cell in cells:
        if out and cell.startswith(("[", "(")):
            out[-1] += f" {cell}"
        else:
            out.append(cell)
    return out


def _quoted(file: Path, number: int, line: str, separator: str) -> list[str]:
    try:
        reader = csv.reader([line.strip() if separator == " " else line], delimiter=separator, strict=True,
                            skipinitialspace=True)  # fmt: skip
        return next(reader, [])
    except csv.Error as error:
        raise DataError(
            f"{file}: line {number}: cannot be read as a table: {error} (check its quotation marks)"
        ) from None
