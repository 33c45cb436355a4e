"""What stands above a gauge's table: notes, the wafer, the units."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from planish.errors import DataError
from planish.measure.sites.column_names import MEASURED, POSITIONS, unit_of
from planish.measure.tables.grid import Grid

MOST_ROWS = 1000
_WAFER = re.compile(r"(wafer|substrate|slot)\s*(id|no|nr|number|name)?\.?")
_SIZE = re.compile(r"(wafer|substrate)?\s*(size|diameter)(\s*[\[(](?P<unit>[^\])]*)[\])])?")
_LENGTH = re.compile(r"\d+(\.\d+)?\s*(mm|cm|in|inch)\.?")


@dataclass(slots=True)
class Preamble:
    """What was found above the column names.

    Attributes
    ----------
    notes
        ``# key: value`` lines, and the wafer's size, as :class:`~planish.measure.tables.read.Table` keeps them.
    units
        By role, from lines such as ``Thickness unit: nm``.
    wafer
        Its name, or "".
    rows
        How many there are.
    """

    notes: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    wafer: str = ""
    rows: int = 0


def read_preamble(grid: Grid, until: int) -> Preamble:
    """Read the rows of a grid above its column names.

    Parameters
    ----------
    grid
        The file.
    until
        Number of rows above the names.

    Returns
    -------
    Preamble
        What they say.

    Raises
    ------
    DataError
        If two lines contradict each other.
    """
    out = Preamble(rows=until)
    for line, cells in grid.rows[:until]:
        key, value = _said(cells)
        if not key:
            continue
        place = f"{grid.path}: {grid.place} {line}"
        if cells[0].startswith("#"):
            _keep(out.notes, key, value, place)
        low = key.strip("# ").lower()
        if value and _WAFER.fullmatch(low) and not _LENGTH.fullmatch(value.lower()):
            _keep(named := {"wafer": out.wafer} if out.wafer else {}, "wafer", value, place)
            out.wafer = named["wafer"]
        elif found := _SIZE.fullmatch(low):
            text = f"{value} {found['unit']}" if found["unit"] else value
            if _LENGTH.fullmatch(text.lower()):
                number, unit = re.fullmatch(r"([\d.]+)\s*(\w+)\.?", text.lower()).groups()  # type: ignore[union-attr]
                _keep(out.notes, "wafer", f"{number} {unit}", place)
        elif "unit" in low and (unit_ := unit_of(value)):
            for role in _meant(low):
                _keep(out.units, role, unit_, place)
    return out


def _meant(key: str) -> tuple[str, ...]:
    """Roles whose unit a line states; none for a bare ``unit``, which may be either's."""
    measured = tuple(role for role in MEASURED if role in key or (role == "thickness" and "thk" in key))
    if measured:
        return measured
    return POSITIONS[:3] if re.search(r"coord|position|location|x/y|x, ?y|\bxy\b", key) else ()


def _said(cells: tuple[str, ...]) -> tuple[str, str]:
    """Return key and value of a row such as ``Wafer: 7``, ``Wafer = 7`` or ``Wafer | 7``."""
    first = cells[0].lstrip("#").strip()
    for sign in (":", "="):
        key, found, value = first.partition(sign)
        if found and value.strip():
            return key.strip().lower(), value.strip()
    rest = [cell for cell in cells[1:] if cell]
    return first.rstrip(":= ").lower(), rest[0].strip() if len(rest) == 1 else ""


def _keep(kept: dict[str, str], key: str, value: str, place: str) -> None:
    if kept.setdefault(key, value) != value:
        raise DataError(
            f"{place}: {key} = {value[:60]!r}, where a line above has {kept[key][:60]!r} (state it once)"
        )
