"""How large a Parquet table becomes when it is read, found from its footer and page headers alone.

Readers of the format make room for what these say, and a few hundred bytes can say gigabytes. So the
sizes are added up first, page by page, without unpacking any.

Format: Apache Parquet in the compact protocol of Apache Thrift: the README of parquet-format and
thrift-compact-protocol.md (read); the field numbers of parquet.thrift (from memory). Checked in the tests against
files of an independent writer.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, BinaryIO

from planish.errors import DataError

#: Bytes that all pages may take when unpacked.
MAX_UNPACKED = 256 * 1024 * 1024
MAX_FOOTER = 4 * 1024 * 1024
MAX_PAGES = 100_000
MAX_COLUMNS = 512
_HEADER = 1 << 16  # a page header with its statistics
_DEPTH = 16

# Field numbers of the format.
_SCHEMA, _ROWS, _GROUPS = 2, 3, 4
_CHILDREN = 5
_COLUMNS, _META = 1, 3
_VALUES, _PACKED, _DATA_AT, _DICTIONARY_AT = 5, 7, 9, 11
_UNPACKED_SIZE, _PACKED_SIZE = 2, 3
_DATA, _DICTIONARY, _DATA_V2 = 5, 7, 8


class _Damaged(Exception):
    """The bytes are not what the format says."""


def check_parquet(file: Path, cells: int) -> None:
    """Refuse a Parquet file of too many cells, or that unpacks to too much; nothing is unpacked.

    Parameters
    ----------
    file
        The table.
    cells
        It may have.

    Raises
    ------
    DataError
        Saying how large it is, what the limit is and what to do; or that the file is damaged.
    """
    try:
        with file.open("rb") as raw:
            _check(file, raw, cells)
    except (_Damaged, OSError) as problem:
        raise DataError(f"{file}: is not a readable Parquet file: {problem} (write it again)") from None


def _check(file: Path, raw: BinaryIO, cells: int) -> None:
    size = raw.seek(0, 2)
    if size < 12:
        raise _Damaged("it is too short")
    raw.seek(size - 8)
    tail = raw.read(8)
    length = int.from_bytes(tail[:4], "little")
    if tail[4:] != b"PAR1":
        raise _Damaged("its last bytes are not those of the format")
    if length > min(MAX_FOOTER, size - 8):
        raise _Damaged(f"a footer of {length} bytes")
    raw.seek(size - 8 - length)
    footer = _Thrift(raw.read(length)).struct()
    schema = _list(footer, _SCHEMA)
    count = len(schema) - 1
    if any(_whole(element, _CHILDREN, 0) for element in schema[1:]):
        raise DataError(f"{file}: has columns inside columns (a table of plain columns is read)")
    if count > MAX_COLUMNS:
        raise DataError(f"{file}: {count} columns are more than the {MAX_COLUMNS} that are read")
    rows = _whole(footer, _ROWS)
    if rows * count > cells:
        raise DataError(
            f"{file}: {rows} rows of {count} columns are more than the {cells} cells that are read at once "
            "(split it by wafer)"
        )
    total = pages = 0
    for group in _list(footer, _GROUPS):
        for column in _list(group, _COLUMNS):
            meta = column.get(_META)
            if not isinstance(meta, dict):
                raise _Damaged("a column without its description")
            if _whole(meta, _VALUES) > rows:
                raise _Damaged("a column with more values than rows")
            at = min(_whole(meta, _DATA_AT), _whole(meta, _DICTIONARY_AT, size) or size)
            end = at + _whole(meta, _PACKED)
            if end > size:
                raise _Damaged("a column beyond its end")
            while at < end:
                at, unpacked = _page(raw, at, end, rows)
                total, pages = total + unpacked, pages + 1
                if total > MAX_UNPACKED:
                    raise DataError(
                        f"{file}: unpacks to more than the {MAX_UNPACKED // 2**20} MiB that are read at once "
                        "(split it by wafer)"
                    )
                if pages > MAX_PAGES:
                    raise DataError(f"{file}: more than {MAX_PAGES} pages (write it again with larger ones)")


def _page(raw: BinaryIO, at: int, end: int, rows: int) -> tuple[int, int]:
    """Return where the next page begins, and the unpacked size of the one at ``at`` [bytes]."""
    raw.seek(at)
    thrift = _Thrift(raw.read(min(_HEADER, end - at)))
    header = thrift.struct()
    unpacked, packed = _whole(header, _UNPACKED_SIZE), _whole(header, _PACKED_SIZE)
    for kind in (_DATA, _DATA_V2, _DICTIONARY):
        about = header.get(kind)
        if isinstance(about, dict) and _whole(about, 1) > (unpacked if kind == _DICTIONARY else rows):
            raise _Damaged("a page with more values than there are")
    return at + thrift.at + packed, unpacked


def _list(struct: dict[int, Any], field: int) -> list[dict[int, Any]]:
    found = struct.get(field)
    if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
        raise _Damaged(f"field {field} is missing or of the wrong kind")
    return found


def _whole(struct: dict[int, Any], field: int, default: int | None = None) -> int:
    found = struct.get(field, default)
    if not isinstance(found, int) or found < 0:
        raise _Damaged(f"field {field} is missing or not a count")
    return found


class _Thrift:
    """The compact protocol, read to plain dicts by field number; every length is checked against the bytes."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at, self.depth = data, 0, 0

    def struct(self) -> dict[int, Any]:
        out: dict[int, Any] = {}
        self.depth += 1
        if self.depth > _DEPTH:
            raise _Damaged("structures nested too deep")
        field = 0
        while True:
            head = self._byte()
            if head == 0:
                self.depth -= 1
                return out
            step, kind = head >> 4, head & 15
            field = field + step if step else self._signed()
            # A boolean's value is its kind.
            out[field] = kind == 1 if kind in (1, 2) else self._value(kind)

    def _value(self, kind: int) -> Any:
        if kind in (1, 2, 3):
            return self._byte()
        if kind in (4, 5, 6):
            return self._signed()
        if kind == 7:
            return self._take(8)
        if kind == 8:
            return self._take(self._count())
        if kind in (9, 10):
            head = self._byte()
            count, inner = head >> 4, head & 15
            count = self._count() if count == 15 else count
            self.depth += 1
            if self.depth > _DEPTH or count > len(self.data) - self.at:
                raise _Damaged("a list longer than the bytes there are")
            items = [self._value(inner) for _ in range(count)]
            self.depth -= 1
            return items
        if kind == 12:
            return self.struct()
        raise _Damaged(f"a field of unknown kind {kind}")

    def _byte(self) -> int:
        if self.at >= len(self.data):
            raise _Damaged("it is cut short")
        self.at += 1
        return self.data[self.at - 1]

    def _take(self, count: int) -> bytes:
        if count > len(self.data) - self.at:
            raise _Damaged("it is cut short")
        self.at += count
        return self.data[self.at - count : self.at]

    def _count(self) -> int:
        value = 0
        for shift in range(0, 70, 7):
            byte = self._byte()
            value |= (byte & 127) << shift
            if byte < 128:
                return value
        raise _Damaged("a number that does not end")

    def _signed(self) -> int:
        value = self._count()
        return (value >> 1) ^ -(value & 1)
