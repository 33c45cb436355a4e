"""Which sign parts the decimals in a file, and cells as plain numbers by it.

``1,012`` is 1.012 to one spreadsheet and 1012 to another. The cells of a file decide together; where they do
not, it is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

from planish.errors import DataError
from planish.measure.tables.read import number

Decimal = Literal["point", "comma"]

#: How fabs write that there is no value.
MISSING = frozenset(
    (
        "",
        "-",
        "--",
        "---",
        "nan",
        "n/a",
        "na",
        "n.a.",
        "null",
        "none",
        "#n/a",
        "#na",
        "missing",
        "no data",
        "?",
    )
)
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(,\d{3})+\Z", re.ASCII)  # 1,012
_BOTH_POINT = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d*\Z", re.ASCII)  # 1,012.5
_BOTH_COMMA = re.compile(r"[+-]?\d{1,3}(\.\d{3})+,\d*\Z", re.ASCII)  # 1.012,5
_COMMA = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?\Z", re.ASCII)


def missing(text: str) -> bool:
    """Whether a cell says that nothing was measured there.

    Parameters
    ----------
    text
        Of the cell.
    """
    return text.lower() in MISSING or not text.strip("*")


def decimal_sign(cells: Iterable[str], place: str) -> tuple[Decimal, bool]:
    """Return the decimal sign of a file, and whether some numbers are in groups of three digits.

    Parameters
    ----------
    cells
        That are to be numbers; others are passed over.
    place
        For the refusal.

    Returns
    -------
    tuple[Decimal, bool]
        "point" where nothing speaks for the comma.

    Raises
    ------
    DataError
        If the cells speak for both, or one could be either.
    """
    point = comma = either = ""
    grouped = False
    for cell in cells:
        if "," not in cell:
            point = point or (cell if "." in cell and _number(cell) else "")
        elif _BOTH_POINT.match(cell):
            point, grouped = cell, True
        elif _BOTH_COMMA.match(cell):
            comma, grouped = cell, True
        elif _GROUPED_COMMA.match(cell) and not cell.lstrip("+-").startswith("0"):
            either = either or cell
            if cell.count(",") > 1:
                point, grouped = cell, True
        elif _COMMA.match(cell):
            comma = comma or cell
    if point and comma:
        raise DataError(
            f"{place}: {point[:20]!r} and {comma[:20]!r} stand in one table: must have one decimal sign "
            "(say which: --decimal point or --decimal comma)"
        )
    if either and not comma and not grouped:
        raise DataError(
            f"{place}: {either[:20]!r} may be a decimal comma or a group of three digits: must be told "
            "(say --decimal comma or --decimal point)"
        )
    return ("comma" if comma else "point"), grouped or bool(either and not comma)


def plain_number(text: str, decimal: Decimal) -> str:
    """Return a cell's number with a decimal point and no groups; what is no number stays as it is.

    Parameters
    ----------
    text
        Of the cell.
    decimal
        The sign of the file.

    Returns
    -------
    str
        For ``float``.

    Raises
    ------
    ValueError
        For a number with a decimal point where the file has commas: it may be a group of three digits.
    """
    if decimal == "comma":
        if _COMMA.match(text):
            return text.replace(",", ".")
        if _BOTH_COMMA.match(text):
            return text.replace(".", "").replace(",", ".")
        if "." in text and _number(text):
            raise ValueError(text)
        return text
    return text.replace(",", "") if _BOTH_POINT.match(text) or _GROUPED_COMMA.match(text) else text


def _number(text: str) -> bool:
    try:
        number(text)
    except ValueError:
        return False
    return True
