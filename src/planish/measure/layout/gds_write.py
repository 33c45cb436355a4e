"""Rectangles and records written as a GDSII file: what test layouts and tests of the reader need, no more."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import whole_file
from planish.errors import DataError

Rects = NDArray[np.int32]


def write_rects(
    path: str | os.PathLike[str],
    rects: Rects | Iterable[Rects],
    *,
    layer: tuple[int, int] = (1, 0),
    name: str = "TOP",
) -> Path:
    """Write rectangles [nm] as one flat GDSII cell, whole or not at all.

    Parameters
    ----------
    path
        The file to write.
    rects
        (k, 4), or an iterable of such parts, so that large layouts need not be held.
    layer
        Layer and datatype.
    name
        Of the cell.

    Raises
    ------
    DataError
        If the place cannot be written.
    """
    parts = [rects] if isinstance(rects, np.ndarray) else rects
    return write_records(path, [structure(name, (boundaries(p, layer) for p in parts))])


def write_records(path: str | os.PathLike[str], structures: Iterable[Iterable[bytes]]) -> Path:
    """Write structures (see :func:`structure`) as a GDSII library in nanometres, whole or not at all.

    Parameters
    ----------
    path
        The file to write.
    structures
        Of the library, each as its records.

    Raises
    ------
    DataError
        If the place cannot be written.
    """
    target = Path(path)
    try:
        with whole_file(target) as out:
            out.write(_record(0x0002, struct.pack(">h", 600)))
            out.write(_record(0x0102, _DATE))
            out.write(_record(0x0206, _name("PLANISH")))
            # 0.001 user units (micrometres) and 1e-9 m, as the format's base-16 reals.
            out.write(_record(0x0305, bytes.fromhex("3e4189374bc6a7f03944b82fa09b5a54")))
            for piece in structures:
                for data in piece:
                    out.write(data)
            out.write(_record(0x0400))
    except OSError as exc:
        raise DataError(f"{target}: cannot be written ({exc.strerror or exc})") from exc
    return target


def structure(name: str, elements: Iterable[bytes]) -> Iterable[bytes]:
    """The records of one cell.

    Parameters
    ----------
    name
        Of the cell.
    elements
        Their records, in order.
    """
    yield _record(0x0502, _DATE) + _record(0x0606, _name(name))
    yield from elements
    yield _record(0x0700)


def boundaries(rects: Rects, layer: tuple[int, int]) -> bytes:
    """The records of rectangles, 64 bytes each.

    Parameters
    ----------
    rects
        (k, 4) [nm]: x0, y0, x1, y1.
    layer
        Layer and datatype.
    """
    r = np.asarray(rects)
    out = np.zeros(len(r), dtype=_BOUNDARY)
    out["head"] = (0x0004, 0x0800, 0x0006, 0x0D02)
    out["layer"] = layer[0]
    out["middle"] = (0x0006, 0x0E02)
    out["datatype"] = layer[1]
    out["xy_head"] = (0x002C, 0x1003)
    out["xy"] = r[:, [0, 1, 2, 1, 2, 3, 0, 3, 0, 1]]
    out["tail"] = (0x0004, 0x1100)
    return out.tobytes()


_DATE = struct.pack(">12h", *(2000, 1, 1, 0, 0, 0) * 2)  # fixed, so that the same layout is the same file
_BOUNDARY = np.dtype(
    [
        ("head", ">u2", 4),
        ("layer", ">u2"),
        ("middle", ">u2", 2),
        ("datatype", ">u2"),
        ("xy_head", ">u2", 2),
        ("xy", ">i4", 10),
        ("tail", ">u2", 2),
    ]
)


def array_of(name: str, at: tuple[int, int], counts: tuple[int, int], step: tuple[int, int]) -> bytes:
    """The records of an array of a cell: columns along x, rows along y [nm].

    Parameters
    ----------
    name
        Of the cell that is placed.
    at
        Of its first copy [nm].
    counts
        Columns and rows.
    step
        From column to column, and from row to row [nm].
    """
    x, y = at
    points = (x, y, x + counts[0] * step[0], y, x, y + counts[1] * step[1])
    return (
        _record(0x0B00)
        + _record(0x1206, _name(name))
        + _record(0x1302, struct.pack(">hh", *counts))
        + _record(0x1003, struct.pack(">6i", *points))
        + _record(0x1100)
    )


def _record(kind: int, data: bytes = b"") -> bytes:
    return struct.pack(">HH", len(data) + 4, kind) + data


def _name(text: str) -> bytes:
    raw = text.encode("ascii")
    return raw + b"\0" * (len(raw) % 2)
