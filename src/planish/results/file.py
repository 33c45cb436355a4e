"""An answer as a file: fields, figures and the call behind them in one NetCDF with a checksum over all its bytes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import write_whole
from planish.errors import DataError
from planish.results.plain import Columns, flat, tabled

if TYPE_CHECKING:
    import xarray as xr

    from planish.results.asked import Asked

FILE_KIND = "planish result"
_MARK = "planish-sha256:"
_DIGITS = 64
_AGAIN = "take the copy you have, or compute and save it again"
_GIVEN = "given_"  # before the number of an array that the call was given


@dataclass(frozen=True, slots=True)
class Content:
    """What a file holds; ``version`` of the planish that wrote it ("" in files that name none).

    ``asked`` and ``given``: the call as it was written, and its arrays; None and none in files without it.
    """

    kind: str
    data: xr.Dataset
    figures: dict[str, Any]
    tables: dict[str, Columns]
    notes: tuple[str, ...]
    sources: list[str]
    version: str
    asked: dict[str, Any] | None = None
    given: tuple[NDArray[Any], ...] = ()


def write(target: Path, content: Content, call: Asked | None) -> Path:
    """Write an answer and the call behind it, whole or not at all.

    Parameters
    ----------
    target
        The file.
    content
        The answer.
    call
        What it was asked by; None where that is not kept.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    DataError
        Where it cannot be written.
    """
    data = content.data.copy()
    data.attrs.update(
        file=FILE_KIND,
        kind=content.kind,
        version=content.version,
        summary=json.dumps(flat(content.figures)),
        figures=json.dumps(content.figures),
        tables=json.dumps(content.tables),
        notes=json.dumps(content.notes),
        sources=json.dumps(content.sources),
    )
    if call is not None:
        told, arrays = call.written()
        for number, values in enumerate(arrays):
            name = f"{_GIVEN}{number}"
            stored = values.astype(np.int8) if values.dtype == bool else values
            dims = tuple(f"{name}_{axis}" for axis in range(values.ndim))
            data[name] = (dims, stored, {"units": "SI", "long_name": "given to the call"})
        told["dtypes"] = [str(values.dtype) for values in arrays]
        data.attrs["asked"] = json.dumps(told)
    # The first attribute of all, so that its place in the file is the first that looks like it.
    data.attrs = {"checksum": f"{_MARK}{'0' * _DIGITS}", **data.attrs}
    raw = bytearray(data.to_netcdf(engine="scipy"))
    at = raw.index(_MARK.encode()) + len(_MARK)
    raw[at : at + _DIGITS] = _checksum(raw).encode()
    try:
        write_whole(target, bytes(raw))
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise DataError(f"{target}: cannot be written ({reason}); give a place that can") from None
    return target


def read(place: Path) -> Content:
    """Return what a file holds; every byte is checked against its checksum before anything reads it.

    Raises
    ------
    DataError
        If the file is missing, was not written by planish, or is damaged.
    """
    import io

    import xarray as xr

    try:
        content = place.read_bytes()
    except FileNotFoundError:
        raise DataError(f"{place}: no such file (give a file written by save)") from None
    except OSError as exc:
        raise DataError(f"{place}: cannot be read ({exc.strerror or exc})") from None
    _check(place, content)
    try:
        with xr.open_dataset(io.BytesIO(content), engine="scipy") as opened:
            data = opened.load()
        return _told(data)
    except Exception as exc:  # a file with a checksum of its own making can raise anything
        raise DataError(
            f"{place}: not a result file ({type(exc).__name__}); give a file written by save"
        ) from exc


def _told(data: xr.Dataset) -> Content:
    attrs = dict(data.attrs)
    version = str(attrs.get("version", ""))
    told = json.loads(attrs["figures"] if version else attrs["summary"])
    notes = json.loads(attrs["notes"]) if version else told.pop("notes", [])
    sources = json.loads(attrs["sources"])
    if attrs["file"] != FILE_KIND or not isinstance(told, dict) or not isinstance(sources, list):
        raise ValueError("not one of ours")
    asked = json.loads(attrs["asked"]) if "asked" in attrs else None
    given = []
    for number, kind in enumerate(asked["dtypes"] if asked else ()):
        given.append(np.asarray(data[f"{_GIVEN}{number}"].values).astype(kind))
    for name in ("checksum", "figures", "tables", "notes", "asked"):
        data.attrs.pop(name, None)
    return Content(
        kind=str(attrs["kind"]),
        data=data.drop_vars([f"{_GIVEN}{number}" for number in range(len(given))]),
        figures=told,
        tables=json.loads(attrs["tables"]) if version else tabled(told),
        notes=tuple(map(str, notes)),
        sources=sources,
        version=version,
        asked=asked,
        given=tuple(given),
    )


def _check(place: Path, content: bytes) -> None:
    """Refuse bytes that are not those that were saved."""
    if content[:3] != b"CDF":
        raise DataError(f"{place}: not a result file (no NetCDF); give a file written by save")
    at = content.find(_MARK.encode()) + len(_MARK)
    if at < len(_MARK):
        raise DataError(
            f"{place}: a NetCDF file without the checksum that planish writes: not by planish, or damaged ({_AGAIN})"
        )
    told = content[at : at + _DIGITS]
    blank = bytearray(content)
    blank[at : at + _DIGITS] = b"0" * _DIGITS
    if told != _checksum(blank).encode():
        raise DataError(f"{place}: damaged: its content does not fit its checksum ({_AGAIN})")


def _checksum(content: bytearray) -> str:
    import hashlib

    return hashlib.sha256(content).hexdigest()
