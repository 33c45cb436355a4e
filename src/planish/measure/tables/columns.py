"""What a column's name says: its quantity and its unit.

A unit is declared in the column's name (``thickness_nm``, ``x [mm]``,
``theta (deg)``) or for the whole file in one note line
``# units: x=mm, y=mm, thickness=nm``. A column of a physical quantity without
a unit is refused: guessing between nm and Å is how wafers are lost.
"""

from __future__ import annotations

import re

from planish.errors import DataError, refuse

#: Length units accepted in tables, in metres.
LENGTHS: dict[str, float] = {
    "m": 1.0,
    "cm": 1e-2,
    "mm": 1e-3,
    "um": 1e-6,
    "µm": 1e-6,
    "μm": 1e-6,  # the Greek letter beside the micro sign
    "nm": 1e-9,
    "å": 1e-10,
    "a": 1e-10,
    "angstrom": 1e-10,
    "ka": 1e-7,
    "kå": 1e-7,
    "in": 0.0254,
    "inch": 0.0254,
}
#: Angle units, in radians.
ANGLES: dict[str, float] = {"deg": 0.017453292519943295, "°": 0.017453292519943295, "rad": 1.0}
#: Time units, in seconds.
TIMES: dict[str, float] = {"s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0}


def rate_unit(unit: str) -> float | None:
    """Return the factor of a rate unit such as ``nm/min`` or ``nm_per_min`` to m/s, or None."""
    top, bar, bottom = unit.lower().replace("_per_", "/").partition("/")
    if bar and top in LENGTHS and bottom in TIMES:
        return LENGTHS[top] / TIMES[bottom]
    return None


def split_name(header: str) -> tuple[str, str | None]:
    """Return (name, unit or None) of a column header.

    >>> split_name("thickness [nm]")
    ('thickness', 'nm')
    >>> split_name("rate_nm_per_min")
    ('rate', 'nm_per_min')
    """
    text = header.strip()
    if text.endswith(("]", ")")):
        # By hand: an expression that tries every split takes minutes for a long name.
        closed = max(text.rfind("]", 0, -1), text.rfind(")", 0, -1))
        opened = [at for at in (text.find("[", closed + 1), text.find("(", closed + 1)) if at >= 0]
        unit = text[min(opened) + 1 : -1].strip() if opened else ""
        if unit:
            return text[: min(opened)].strip().lower().replace(" ", "_"), unit
    name = text.lower().replace(" ", "_")
    rate = re.match(r"^(.+)_([^_]+_per_[^_]+)$", name)
    if rate and rate_unit(rate[2]) is not None:
        return rate[1], rate[2]
    stem, bar, unit = name.rpartition("_")
    if bar and stem and (unit in LENGTHS or unit in ANGLES or rate_unit(unit) is not None):
        return stem, unit
    return name, None


def parse_units_note(note: str, place: str) -> dict[str, str]:
    """Return ``{"x": "mm", ...}`` from the text of a ``# units:`` line.

    Raises
    ------
    DataError
        If a piece is not of the form ``name=unit``.
    """
    out: dict[str, str] = {}
    for piece in note.replace(";", ",").split(","):
        if not piece.strip():
            continue
        name, equals, unit = piece.partition("=")
        if not equals or not name.strip() or not unit.strip():
            raise DataError(
                refuse(place, piece.strip(), "of the form name=unit", "such as x=mm, thickness=nm")
            )
        column, told = name.strip().lower(), unit.strip()
        if out.setdefault(column, told) != told:
            raise DataError(
                refuse(place, piece.strip(), f"{column}={out[column]}, as said before it", "state it once")
            )
    return out


def length_factor(unit: str, place: str) -> float:
    """Return the factor from ``unit`` to metres.

    Raises
    ------
    DataError
        If it is not a length unit known here.
    """
    factor = LENGTHS.get(unit.lower())
    if factor is None:
        raise DataError(refuse(place, unit, "a length unit: m, cm, mm, um, nm, A (angstrom), kA or in"))
    return factor
