"""Cells of a table of runs: quantities with their units, counts, names of files, and values of a setup."""

from __future__ import annotations

import math
import re
from pathlib import Path

from planish.errors import DataError, refuse
from planish.measure.runs.columns import ROLES, Column, factor
from planish.measure.tables.decimals import Decimal, plain_number
from planish.measure.tables.read import number

#: Largest value of each role in SI: beyond it the unit is wrong.
_MOST = {
    "time": 1e7,
    "rate": 1e-5,
    "sd": 1e-5,
    "pad_time": 1e8,
    "disk_time": 1e8,
    "ring_time": 1e8,
    "cut": 1e-5,
    "pad_wafers": 1e5,
}
_ABOVE_ZERO = ("time", "rate", "cut")
QUANTITY = re.compile(r"([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(\D.*)?", re.ASCII)


def setting(cell: str, unit: str | None, decimal: Decimal) -> str:
    """Return a cell as it would stand in a setup file.

    Parameters
    ----------
    cell
        As written; one that is no number stays as it is.
    unit
        Of its column, where the name says one.
    decimal
        Sign of the table.
    """
    found = QUANTITY.fullmatch(cell)
    if found is None:
        return cell
    try:
        value = plain_number(found[1], decimal)
        number(value)
    except ValueError:
        return cell
    if found[2]:  # the cell's own unit, or words behind a number
        return cell if value == found[1] else f"{value} {found[2].strip()}"
    return f"{value} {unit or ''}".strip()


def quantity(cell: str, column: Column, where: str, decimal: Decimal) -> tuple[float, str]:
    """Return the SI value of a cell, and the unit that it was in.

    Parameters
    ----------
    cell
        A number, maybe with its unit.
    column
        That it stands in.
    where
        Its place, for the refusal.
    decimal
        Sign of the table.

    Raises
    ------
    DataError
        For what is no number, has no unit or one of something else, or cannot be.
    """
    found = QUANTITY.fullmatch(cell)
    words = ROLES[column.role][0]
    try:
        value = number(plain_number(found[1], decimal)) if found else None
    except ValueError:
        value = None
    if found is None or value is None:
        raise DataError(refuse(where, cell[:40], f"a number: the {words}", "or empty where there is none"))
    unit = (found[2] or "").strip() or column.unit
    if unit is None:
        example = {"time": "s", "rate": "nm/min", "rate or length": "nm/min"}[ROLES[column.role][1]]
        raise DataError(
            refuse(
                where,
                cell[:40],
                "a number with its unit",
                f"as {cell[:20]} {example}, or {column.header[:40]} [{example}]",
            )
        )
    si = value * factor(unit, column.role, where)
    least = "above 0" if column.role in _ABOVE_ZERO else "0 or more"
    if not 0 <= si <= _MOST[column.role] or (si == 0 and column.role in _ABOVE_ZERO):
        raise DataError(refuse(where, cell[:40], f"{least} and a {words} that can be", "is the unit right?"))
    return si, unit.replace("_per_", "/")


def count(cell: str, where: str, decimal: Decimal) -> int:
    """Return a number of wafers.

    Parameters
    ----------
    cell
        As written.
    where
        Its place, for the refusal.
    decimal
        Sign of the table.

    Raises
    ------
    DataError
        For anything but a whole number, 0 or more.
    """
    try:
        value = number(plain_number(cell, decimal))
    except ValueError:
        value = -1.0
    if not (value >= 0 and value == int(value) and value <= _MOST["pad_wafers"]):
        raise DataError(refuse(where, cell[:40], "a whole number of wafers, 0 or more", "0 on a new pad"))
    return int(value)


def file_beside(folder: Path, name: str, where: str) -> Path:
    """Return a file that a table names: beside it or below, as nobody's other files are its business.

    Parameters
    ----------
    folder
        Of the table.
    name
        As written.
    where
        Its place, for the refusal.

    Raises
    ------
    DataError
        For a name that leads elsewhere, and a file that is not there.
    """
    path = Path(name.replace("\\", "/"))
    if "\0" in name or path.is_absolute() or re.match(r"[A-Za-z]:", name):
        raise DataError(
            refuse(where, name[:80], "the name of a file relative to the table", "put it beside the table")
        )
    whole = (folder / path).resolve()
    if not whole.is_relative_to(folder.resolve()):
        raise DataError(refuse(where, name[:80], "a file in the folder of the table or below it"))
    if not whole.is_file():
        raise DataError(refuse(where, name[:80], "a file that exists", f"looked in {folder}"))
    return folder / path


def figure(cell: str, where: str, decimal: Decimal) -> float:
    """Return a number that is kept as it stands, in whatever unit.

    Parameters
    ----------
    cell
        As written.
    where
        Its place, for the refusal.
    decimal
        Sign of the table.

    Raises
    ------
    DataError
        For anything but a finite number.
    """
    try:
        value = number(plain_number(cell, decimal))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise DataError(refuse(where, cell[:40], "a finite number", "or empty where there is none"))
    return value
