"""Sheets of a workbook (.xlsx) as rows of text, bounded before a library opens it.

A workbook is a ZIP archive of XML. Each member is unpacked here within bounds, its cells are counted, and
what was counted is packed anew: the library never sees what the sender packed.

Source: ISO/IEC 29500-1, Office Open XML, SpreadsheetML: ``c`` and ``row`` carry their reference in ``r``, texts
stand once in ``si`` elements (from memory).
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

from planish.errors import DataError
from planish.measure.tables import limits

MAX_BYTES = 32 * 1024 * 1024  # of the file
MAX_UNPACKED = 64 * 1024 * 1024
MAX_MEMBERS = 1000
#: Cells of one sheet that hold something, and of the rectangle around them.
MAX_CELLS = 500_000
MAX_AREA = 2_000_000
#: Characters that the texts of a sheet may grow to where one text stands in many cells.
MAX_TEXT = 128_000_000
_OLD = b"\xd0\xcf\x11\xe0"
_PLACE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})\Z")

_ROW = re.compile(r"[1-9][0-9]{0,6}\Z")
_COUNTS = {"count", "uniqueCount"}

Row = tuple[int, tuple[str, ...]]


def is_workbook(file: Path) -> bool:
    """Whether a file is to be read as a workbook, by its ending or its first bytes.

    Parameters
    ----------
    file
        That exists.
    """
    with file.open("rb") as raw:
        head = raw.read(4)
    return head in (b"PK\x03\x04", _OLD) or file.suffix.lower() in (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")


def read_sheets(file: Path) -> dict[str, tuple[Row, ...]]:
    """Return the rows of each sheet that holds any.

    Parameters
    ----------
    file
        The workbook.

    Returns
    -------
    dict[str, tuple[Row, ...]]
        By name of the sheet; each row with its number from 1, rows without any text left out.

    Raises
    ------
    DataError
        If it is an old or locked workbook, no workbook, or larger than is read.
    """
    clean = _packed_anew(file)
    import fastexcel
    import polars as pl

    broken = (fastexcel.FastExcelError, pl.exceptions.PolarsError, pl.exceptions.PanicException, ValueError)
    try:
        frames = pl.read_excel(
            clean,
            sheet_id=0,
            engine="calamine",
            has_header=False,
            drop_empty_rows=False,
            drop_empty_cols=False,
            raise_if_empty=False,
            read_options={"dtypes": "string", "skip_rows": 0},
        )
    except BaseException as error:
        # What panics in the library's own language is no Exception, and of a class of its own.
        if not isinstance(error, broken) and type(error).__name__ != "PanicException":
            raise
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise DataError(
            f"{file}: is not a readable workbook: {reason[:120]} (save it again as .xlsx or CSV)"
        ) from None
    out: dict[str, tuple[Row, ...]] = {}
    for name, frame in frames.items():
        if rows := _rows(file, name, frame.rows()):
            out[name] = rows
    if not out:
        raise DataError(f"{file}: no sheet holds anything (a line of column names and rows are needed)")
    return out


def _rows(file: Path, name: str, cells: list[tuple[object, ...]]) -> tuple[Row, ...]:
    out = []
    for number, row in enumerate(cells, start=1):
        texts = tuple("" if cell is None else str(cell).strip() for cell in row)
        if any(texts):
            limits.check_columns(file, len(texts))
            for text in texts:
                limits.check_cell(f"{file}: sheet {name[:40]!r}, row {number}", text)
            out.append((number, texts))
    return tuple(out)


def _packed_anew(file: Path) -> bytes:
    with file.open("rb") as raw:
        head = raw.read(4)
    if head == _OLD:
        raise DataError(
            f"{file}: is a workbook of the old kind (.xls) or one locked by a password: must be .xlsx or text "
            "(open it and save it as .xlsx or CSV, without a password)"
        )
    if head != b"PK\x03\x04":
        raise DataError(f"{file}: is no .xlsx workbook (save it as .xlsx; text files end in .csv or .txt)")
    size = file.stat().st_size
    if size > MAX_BYTES:
        raise DataError(
            f"{file}: {size / 1e6:.0f} MB are more than the {MAX_BYTES / 1e6:.0f} MB a workbook may have "
            "(save the one sheet as CSV)"
        )
    try:
        with zipfile.ZipFile(file) as archive:
            members = _members(file, archive)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, OSError,
            ValueError, zlib.error) as error:  # fmt: skip
        reason = " ".join(str(error).split())[:120]
        raise DataError(
            f"{file}: is not a readable workbook: {reason} (save it again as .xlsx or CSV)"
        ) from None
    if "xl/workbook.xml" not in members:
        raise DataError(f"{file}: is an archive but no .xlsx workbook (save it as .xlsx or CSV)")
    # Any part may be pointed to as a sheet or as the table of texts: all are counted as both.
    found = {name: _measured(file, name, data) for name, data in members.items()}
    longest = max((part.longest for part in found.values()), default=0)
    for name, part in found.items():
        part.check(f"{file}: {name[:60]}", longest)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def _members(file: Path, archive: zipfile.ZipFile) -> dict[str, bytes]:
    """Unpack the XML of an archive; the sizes it states are summed first and hold while it is unpacked."""
    infos = archive.infolist()
    if len(infos) > MAX_MEMBERS:
        raise DataError(f"{file}: {len(infos)} parts are more than the {MAX_MEMBERS} a workbook may have")
    wanted = [one for one in infos if one.filename.endswith((".xml", ".rels"))]
    total = sum(one.file_size for one in wanted)
    if total > MAX_UNPACKED:
        raise DataError(
            f"{file}: unpacks to {total / 1e6:.0f} MB, more than the {MAX_UNPACKED / 1e6:.0f} MB that are read "
            "(save the one sheet as CSV)"
        )
    out: dict[str, bytes] = {}
    for one in wanted:
        if one.filename in out:
            raise DataError(f"{file}: part {one.filename[:60]!r} stands twice in it (save it again)")
        with archive.open(one) as part:
            data = part.read(one.file_size + 1)
        if len(data) > one.file_size:
            raise DataError(f"{file}: part {one.filename[:60]!r} is larger than it says (save it again)")
        out[one.filename] = data
    return out


@dataclass(slots=True)
class _Size:
    """What one part holds: cells, those that point to a shared text, the rectangle around them, the longest text."""

    cells: int = 0
    pointed: int = 0
    rows: int = 0
    columns: int = 0
    longest: int = 0

    def check(self, place: str, longest: int) -> None:
        if self.cells > MAX_CELLS:
            raise DataError(
                f"{place}: {self.cells} cells are more than the {MAX_CELLS} of a sheet that are read "
                "(save it as CSV, split by wafer)"
            )
        if self.rows * self.columns > MAX_AREA:
            raise DataError(
                f"{place}: {self.rows} rows by {self.columns} columns are more than the {MAX_AREA} cells that are "
                "read (delete stray cells far from the table, or save it as CSV)"
            )
        if self.pointed * longest > MAX_TEXT:
            raise DataError(
                f"{place}: its texts are too long to be read ({self.pointed} cells, up to {longest} characters "
                "each; save it as CSV)"
            )


def _measured(file: Path, name: str, data: bytes) -> _Size:
    """Return what a part holds; refuse what is no plain XML, and places that are none."""
    size = _Size()
    in_row = text_at = 0
    place, most = f"{file}: {name[:60]}", max(1000, len(data))

    def start(tag: str, about: dict[str, str]) -> None:
        nonlocal in_row, text_at
        local = tag.rpartition(":")[2]
        for key in _COUNTS & about.keys():  # a library may make room for as many
            if not (
                about[key].isascii()
                and about[key].isdigit()
                and len(about[key]) < 9
                and int(about[key]) < most
            ):
                raise DataError(
                    f"{place}: {local[:20]} of {key} {about[key][:20]!r}: must be what it holds (save it again)"
                )
        if local == "c":
            in_row += 1
            size.cells += 1
            size.pointed += about.get("t") == "s"
            if "r" not in about:  # it follows the one before it
                size.columns = max(size.columns, in_row)
            elif found := _PLACE.match(about["r"]):
                size.columns = max(size.columns, _column(found[1]))
                size.rows = max(size.rows, int(found[2]))
            else:
                raise DataError(f"{place}: a cell at {about['r'][:20]!r}: must be as B7 (save it again)")
        elif local == "row":
            in_row = 0
            if "r" in about and not _ROW.match(about["r"]):
                raise DataError(f"{place}: a row of number {about['r'][:20]!r}: must be as 7 (save it again)")
            size.rows = max(size.rows + 1, int(about.get("r", 0)))
        elif local == "si":
            if text_at:  # up to the next one is as long as it can be
                size.longest = max(size.longest, parser.CurrentByteIndex - text_at)
            text_at = parser.CurrentByteIndex

    def doctype(*_: object) -> None:
        raise DataError(f"{place}: declares a document type, which no workbook does (save it again)")

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = doctype
    parser.StartElementHandler = start
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise DataError(
            f"{place} cannot be read: {str(error)[:80]} (save it again as .xlsx or CSV)"
        ) from None
    if text_at:
        size.longest = max(size.longest, len(data) - text_at)
    return size


def _column(letters: str) -> int:
    out = 0
    for letter in letters:
        out = 26 * out + ord(letter) - 64
    return out
