"""Site maps: what a film gauge wrote about one wafer, as SI numbers.

A site map is a table with a row a site: where (x and y, or radius and angle)
and what (thickness, removal or removal rate), each with its unit declared.
Any site plan is read; three usual ones can be made.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import csv_text
from planish.engine.files import write_whole
from planish.engine.given import of_kind
from planish.engine.record import Record, counted, figure, shortened
from planish.errors import DataError, refuse
from planish.measure.sites.column_map import ColumnMap, column_map
from planish.measure.sites.column_names import ROLES, named
from planish.measure.sites.which import SeveralWafersError
from planish.measure.tables.columns import (
    ANGLES,
    TIMES,
    length_factor,
    parse_units_note,
    rate_unit,
    split_name,
)
from planish.measure.tables.read import Table, check_file, read_table
from planish.units import NM_PER_MIN

Array = NDArray[np.float64]
Quantity = Literal["thickness", "removal", "rate"]

#: No wafer in the trade is larger than 450 mm; a site further out means a wrong unit.
LARGEST_VALUE = 5e-3  # [m] thicker than any film, and than any wafer
LARGEST_RADIUS = 0.225
#: More sites than this on one wafer is a wrong file, not a site map.
MAX_SITES = 1_000_000
#: Two sites closer than this [m] are the same place.
SAME_PLACE = 1e-6

X_NAMES, Y_NAMES = ("x", "x_pos", "pos_x"), ("y", "y_pos", "pos_y")
_R, _THETA = ("r", "radius"), ("theta", "angle", "phi")
SITE_NAMES = ("site", "site_id", "point", "point_id")
WAFER_NAMES = ("wafer", "wafer_id")
_LABELS = (*SITE_NAMES, *WAFER_NAMES, "lot", "lot_id", "slot")
QUANTITIES: dict[str, Quantity] = {
    "thickness": "thickness",
    "thk": "thickness",
    "film_thickness": "thickness",
    "removal": "removal",
    "removed": "removal",
    "rate": "rate",
    "removal_rate": "rate",
}


@dataclass(frozen=True, slots=True, repr=False)
class SiteMap(Record):
    """What was measured on one wafer.

    Attributes
    ----------
    x, y
        From the wafer centre [m], (sites,).
    value
        [m] (``quantity`` "thickness" or "removal") or [m/s] ("rate"), (sites,).
    site
        Site names as written, or "1", "2", ... where the file has none.
    quantity
        What ``value`` is.
    unit
        Of the file.
    source
        Its path.
    named_sites
        Whether the file has names.
    polish_time
        [s], if the file states it.
    wafer_radius
        [m], if the file states it.
    notes
        What had to be assumed, in plain words.
    understood
        How a file that is no plain table was understood, and what of it was left out.
    """

    x: Array
    y: Array
    value: Array
    site: tuple[str, ...]
    quantity: Quantity
    unit: str
    source: str
    named_sites: bool = True
    polish_time: float | None = None
    wafer_radius: float | None = None
    notes: tuple[str, ...] = ()
    understood: tuple[str, ...] = ()

    def _told(self) -> str:
        scale, unit = (NM_PER_MIN, "nm/min") if self.quantity == "rate" else (1e9, "nm")
        mean, low, high = (scale * float(pick(self.value)) for pick in (np.mean, np.min, np.max))
        time = "" if self.polish_time is None else f", polished for {figure(self.polish_time, 's')}"
        return (
            f"{self.quantity} at {counted(len(self), 'site')} of {shortened(self.source, 80)}: mean {mean:.5g} {unit}, "
            f"{low:.5g} to {high:.5g} {unit}{time}"
        )

    @property
    def r(self) -> Array:
        """Distance of each site from the wafer centre [m]."""
        return np.hypot(self.x, self.y)

    def variables(self) -> dict[str, tuple[str, Array | list[str], dict[str, str]]]:
        """Return place, name and value of each site as variables of a dataset, over ``site``; in SI."""
        unit = "m/s" if self.quantity == "rate" else "m"
        return {
            "site_name": ("site", list(self.site), {"long_name": "site as named in the file"}),
            "site_x": ("site", self.x, {"units": "m", "long_name": "from the wafer's centre"}),
            "site_y": ("site", self.y, {"units": "m", "long_name": "from the wafer's centre"}),
            "site_value": ("site", self.value, {"units": unit, "long_name": f"{self.quantity} at the site"}),
        }

    def __len__(self) -> int:
        return len(self.value)


def read_sites(
    path: str | os.PathLike[str],
    *,
    units: Mapping[str, str] | None = None,
    value: str | None = None,
    wafer: str | None = None,
    columns: ColumnMap | Mapping[str, str | Mapping[str, str]] | str | os.PathLike[str] | None = None,
) -> SiteMap:
    """Read the sites of one wafer: a plain table, or a file as a gauge wrote it.

    A plain table (:func:`read_plain_sites`) is read as it is. Else the column names are looked for under
    whatever stands above them, and what was understood and left out is told in ``understood``.

    Parameters
    ----------
    path
        The file: text, Parquet or a workbook (.xlsx).
    units
        Units by column name, which go before what the file says.
    value
        Name of the measured column, where the file has several.
    wafer
        Which wafer to take, where the file has several.
    columns
        What the file does not say of itself: a :class:`~planish.measure.sites.column_map.ColumnMap`, its TOML
        file, or a mapping such as ``{"x": "Pos X", "thickness": "T1"}`` or ``{"units": {"x": "mm"}}``.

    Returns
    -------
    SiteMap
        In SI.

    Raises
    ------
    DataError
        If the file cannot be used, or can be understood in two ways: what to say stands in the message.
    """
    _check_kinds(units, value, wafer)
    told = column_map(columns)
    if told:
        return _as_written(path, told, units, value, wafer)
    try:
        return read_plain_sites(path, units=units, value=value, wafer=wafer)
    except DataError:
        if not _worth_a_look(path):
            raise
        return _as_written(path, told, units, value, wafer)


def read_plain_sites(
    path: str | os.PathLike[str],
    *,
    units: Mapping[str, str] | None = None,
    value: str | None = None,
    wafer: str | None = None,
) -> SiteMap:
    """Read the sites of one wafer from a plain table, CSV or Parquet.

    Parameters
    ----------
    path
        The file. Columns: ``x`` and ``y``, or ``r`` and ``theta``; one of
        ``thickness``, ``removal``, ``rate`` (or the column named by
        ``value``); ``site`` and ``wafer`` if there are any. Units in the
        column names (``x_mm``, ``thickness [nm]``) or in a ``# units:`` line.
        ``# polish_time: 60 s`` and ``# wafer: 300 mm`` are understood.
    units
        Units by column name, which go before what the file says.
    value
        Name of the measured column, where the file has several.
    wafer
        Which wafer to take, where the file has several.

    Returns
    -------
    SiteMap
        In SI.

    Raises
    ------
    DataError
        Naming file and line or column: no unit, unknown unit, cells that are
        not finite numbers, a site given twice, a site off the wafer, a
        thickness below zero, and all that :func:`~planish.measure.tables.read.read_table` refuses.
    """
    _check_kinds(units, value, wafer)
    return sites_of_table(_one_wafer(read_table(path), wafer), units, value)


def _as_written(
    path: str | os.PathLike[str],
    told: ColumnMap,
    units: Mapping[str, str] | None,
    value: str | None,
    wafer: str | None,
) -> SiteMap:
    from planish.measure.sites.dialect import understand

    if value is not None:
        role = QUANTITIES.get(split_name(value)[0], "thickness")
        told = told.merged(ColumnMap(columns={role: value}))
    if units:
        known = {named(name).role or split_name(name)[0]: unit for name, unit in units.items()}
        told = told.merged(ColumnMap(units={role: unit for role, unit in known.items() if role in ROLES}))
    found = understand(path, told, wafer)
    return replace(sites_of_table(found.table, found.units, None), understood=(found.told,))


def sites_of_table(table: Table, units: Mapping[str, str] | None = None, value: str | None = None) -> SiteMap:
    """Return the sites of one wafer from a plain table of theirs alone.

    Parameters
    ----------
    table
        As read.
    units, value
        As of :func:`read_plain_sites`.

    Returns
    -------
    SiteMap
        In SI.

    Raises
    ------
    DataError
        As :func:`read_plain_sites`.
    """
    path = table.path
    if len(table.lines) > MAX_SITES:
        raise DataError(f"{path}: {len(table.lines)} rows are no site map of one wafer (at most {MAX_SITES})")
    declared = _units_of(table, units)
    names = {split_name(h)[0]: h for h in table.header}
    _check_named_once(table, value)
    x, y = _positions(table, names, declared)
    column, quantity = _value_column(table, names, value)
    unit = declared.get(split_name(column)[0])
    if unit is None:
        raise DataError(_no_unit(table.path, column, "nm"))
    factor = _value_factor(table.path, column, unit, quantity)
    measured = table.numbers(column) * factor
    label = next((names[n] for n in SITE_NAMES if n in names), None)
    site = table.text(label) if label else tuple(str(i + 1) for i in range(len(x)))
    radius = _note_value(table, "wafer", "mm", length=True)
    out = SiteMap(
        x=x,
        y=y,
        value=measured,
        site=site,
        quantity=quantity,
        unit=unit,
        source=table.path,
        named_sites=label is not None,
        polish_time=_note_value(table, "polish_time", "s", length=False),
        wafer_radius=None if radius is None else radius / 2,
        notes=tuple(f"{k}: {v}" for k, v in table.notes.items()),
    )
    _check(out, table, column)
    return out


def write_sites(site_map: SiteMap, path: str | os.PathLike[str], *, comments: tuple[str, ...] = ()) -> None:
    """Write a site map as CSV in mm and nm (or nm/min), readable by :func:`read_sites`.

    Parameters
    ----------
    site_map
        To be written.
    path
        Where to; written whole or not at all.
    comments
        Become ``#`` lines at the top.
    """
    rate = site_map.quantity == "rate"
    name = "rate_nm_per_min" if rate else f"{site_map.quantity}_nm"
    scale = NM_PER_MIN if rate else 1e9
    notes = list(comments)
    if site_map.wafer_radius is not None:
        notes.append(f"wafer: {2e3 * site_map.wafer_radius:g} mm")
    if site_map.polish_time is not None:
        notes.append(f"polish_time: {site_map.polish_time:g} s")
    rows = (
        (s, f"{1e3 * x:.3f}", f"{1e3 * y:.3f}", f"{scale * v:.3f}")
        for s, x, y, v in zip(site_map.site, site_map.x, site_map.y, site_map.value, strict=True)
    )
    write_whole(Path(path), csv_text(("site", "x_mm", "y_mm", name), rows, notes))


def _check_kinds(units: object, value: object, wafer: object) -> None:
    for name, given in (("value", value), ("wafer", wafer)):
        if given is not None:
            of_kind(given, str, name, "text, or left out")
    if units is not None and not isinstance(units, Mapping):
        raise DataError(refuse("units", units, "units by column", "such as {'thickness': 'nm'}"))


def _worth_a_look(path: str | os.PathLike[str]) -> bool:
    """Whether a file that is no plain table may be one that a gauge wrote."""
    from planish.measure.tables.grid import MAX_BYTES

    try:
        file = check_file(path)
    except DataError:
        return False
    return file.stat().st_size <= MAX_BYTES


def _one_wafer(table: Table, wafer: str | None) -> Table:
    column = next((h for h in table.header if split_name(h)[0] in WAFER_NAMES), None)
    if column is None:
        if wafer is not None:
            raise DataError(
                refuse(f"{table.path}: wafer", wafer, "in a column named wafer; the file has none")
            )
        return table
    cells = table.text(column)
    wafers = list(dict.fromkeys(cells))
    if wafer is None and len(wafers) == 1:
        return table
    if wafer is None:
        raise SeveralWafersError(
            f"{table.path}: holds {len(wafers)} wafers ({', '.join(wafers[:4])}, ...): "
            "say which one (one file a wafer, or wafer=...)",
            wafers,
        )
    if wafer not in wafers:
        raise DataError(refuse(f"{table.path}: wafer", wafer, f"one of {', '.join(wafers[:12])}"))
    return rows_of_table(table, [i for i, cell in enumerate(cells) if cell == wafer])


def rows_of_table(table: Table, rows: Sequence[int]) -> Table:
    """Return some rows of a table as a table.

    Parameters
    ----------
    table
        As read.
    rows
        Which, from 0.
    """
    return Table(
        table.path,
        table.header,
        tuple(tuple(column[i] for i in rows) for column in table.columns),
        tuple(table.lines[i] for i in rows),
        table.notes,
        table.place,
    )


def _check_named_once(table: Table, value: str | None) -> None:
    """Refuse two columns of one quantity, such as ``x_mm`` beside ``x_um``."""
    wanted = (*X_NAMES, *Y_NAMES, *_R, *_THETA, *(QUANTITIES if value is None else ()))
    seen: dict[str, str] = {}
    for header in table.header:
        name = split_name(header)[0]
        if name in wanted and name in seen:
            raise DataError(
                f"{table.path}: columns {seen[name]!r} and {header!r} could each be {name}: must be one (leave one out)"
            )
        seen[name] = header


def _units_of(table: Table, units: Mapping[str, str] | None) -> dict[str, str]:
    out: dict[str, str] = {}
    for header in table.header:
        name, unit = split_name(header)
        if unit is not None:
            out[name] = unit
    note = table.notes.get("units") or table.notes.get("unit")
    if note:
        out |= parse_units_note(note, f"{table.path}: the line '# units:'")
    if units:
        out |= {split_name(k)[0]: v for k, v in units.items()}
    return out


def _no_unit(path: str, column: str, example: str) -> str:
    return (
        f"{path}: column {column!r} has no unit: write it in the name, such as {column}_{example}, "
        f"or add a line '# units: {column}={example}' at the top"
    )


def _positions(table: Table, names: dict[str, str], units: dict[str, str]) -> tuple[Array, Array]:
    def column(options: tuple[str, ...]) -> str | None:
        return next((n for n in options if n in names), None)

    def length(name: str) -> Array:
        if name not in units:
            raise DataError(_no_unit(table.path, names[name], "mm"))
        factor = length_factor(units[name], f"{table.path}: unit of column {names[name]!r}")
        return table.numbers(names[name]) * factor

    x, y, r, theta = column(X_NAMES), column(Y_NAMES), column(_R), column(_THETA)
    if x and y:
        return length(x), length(y)
    if r and theta:
        if theta not in units:
            raise DataError(_no_unit(table.path, names[theta], "deg"))
        turn = ANGLES.get(units[theta].lower())
        if turn is None:
            raise DataError(
                refuse(f"{table.path}: unit of column {names[theta]!r}", units[theta], "deg or rad")
            )
        radius, angle = length(r), table.numbers(names[theta]) * turn
        return radius * np.cos(angle), radius * np.sin(angle)
    have = ", ".join(table.header)
    raise DataError(
        f"{table.path}: no site positions: columns x and y, or r and theta, are needed; it has {have}"
    )


def _value_column(table: Table, names: dict[str, str], value: str | None) -> tuple[str, Quantity]:
    if value is not None:
        column = table.header[table.index(value, "the measured column")]
        return column, QUANTITIES.get(split_name(column)[0], "thickness")
    known = [n for n in names if n in QUANTITIES]
    if len(known) == 1:
        return names[known[0]], QUANTITIES[known[0]]
    if known:
        raise DataError(
            f"{table.path}: columns {', '.join(names[n] for n in known)} could each be what was measured "
            "(say which: value=...)"
        )
    rest = [n for n in names if n not in (*X_NAMES, *Y_NAMES, *_R, *_THETA, *_LABELS)]
    hint = f"; name the column thickness, or say value={names[rest[0]]}" if rest else ""
    raise DataError(
        f"{table.path}: no column of thickness, removal or rate among {', '.join(table.header)}{hint}"
    )


def _value_factor(path: str, column: str, unit: str, quantity: Quantity) -> float:
    place = f"{path}: unit of column {column!r}"
    if quantity != "rate":
        return length_factor(unit, place)
    factor = rate_unit(unit)
    if factor is None:
        raise DataError(refuse(place, unit, "a length over a time", "such as nm/min or A/min"))
    return factor


def _note_value(table: Table, key: str, example: str, *, length: bool) -> float | None:
    text = table.notes.get(key)
    if text is None:
        return None
    place = f"{table.path}: the line '# {key}:'"
    number, _, unit = text.partition(" ")
    factor = length_factor(unit, place) if length else TIMES.get(unit.lower())
    try:
        out = float(number) * (factor or np.nan)
    except ValueError:
        out = np.nan
    if not (np.isfinite(out) and out > 0):
        raise DataError(refuse(place, text, "a number above zero and its unit", f"such as 60 {example}"))
    return out


def _check(sites: SiteMap, table: Table, column: str) -> None:
    """Refuse sites that cannot be on one wafer."""
    limit = sites.wafer_radius or LARGEST_RADIUS
    far = np.flatnonzero(sites.r > limit * (1 + 1e-9))
    if far.size:
        raise DataError(
            f"{table.at(int(far[0]))}: site {sites.site[far[0]]!r} is {1e3 * sites.r[far[0]]:.6g} mm "
            f"from the centre: "
            f"must be on the wafer, {1e3 * limit:g} mm or less (is the unit of the position right?)"
        )
    if sites.quantity == "thickness":
        below = np.flatnonzero(sites.value < 0)
        if below.size:
            raise DataError(
                f"{table.at(int(below[0]), column)}: thickness {sites.value[below[0]] * 1e9:.6g} nm: "
                f"must be 0 or more"
            )
    if sites.quantity != "rate":
        thick = np.flatnonzero(np.abs(sites.value) > LARGEST_VALUE)
        if thick.size:
            raise DataError(
                f"{table.at(int(thick[0]), column)}: {sites.value[thick[0]] * 1e9:.6g} nm: must be at most "
                f"{LARGEST_VALUE * 1e9:g} nm (is the unit right?)"
            )
    seen: dict[str, int] = {}
    for row, name in enumerate(sites.site):
        if name in seen:
            raise DataError(
                f"{table.at(row)}: site {name!r} was given before, on {table.place} "
                f"{table.lines[seen[name]]} "
                "(name each site once; is this file of several wafers?)"
            )
        seen[name] = row
    twin = same_place(sites.x, sites.y)
    if twin is not None:
        first, again = twin
        raise DataError(
            f"{table.at(again)}: is the same place as {table.place} {table.lines[first]} "
            f"(x {1e3 * sites.x[again]:.6g} mm, y {1e3 * sites.y[again]:.6g} mm): one row a place"
        )


def same_place(x: Array, y: Array, tolerance: float = SAME_PLACE) -> tuple[int, int] | None:
    """Return a pair of rows that lie in one place, one of the first, or None.

    Parameters
    ----------
    x, y
        [m], (sites,).
    tolerance
        How far apart counts as one place [m].

    Returns
    -------
    tuple[int, int] | None
        (earlier, later).
    """
    if len(x) < 2:
        return None
    order = np.lexsort((y, x))  # keeps the order of equal places
    equal = (np.diff(x[order]) == 0) & (np.diff(y[order]) == 0)
    if equal.any():
        # Before the search by distance, whose pairs of n equal places are n^2.
        later = order[1:][equal]
        pick = int(np.argmin(later))
        return int(order[:-1][equal][pick]), int(later[pick])
    from scipy.spatial import cKDTree  # costs start-up time only where a file is read

    points = np.column_stack([x, y])
    distance, nearest = cKDTree(points).query(points, k=2, distance_upper_bound=tolerance * (1 + 1e-12))
    rows = np.flatnonzero(distance[:, 1] <= tolerance)
    if not rows.size:
        return None
    other = np.where(nearest[rows, 0] == rows, nearest[rows, 1], nearest[rows, 0])
    pick = int(np.argmin(np.maximum(rows, other)))
    return int(min(rows[pick], other[pick])), int(max(rows[pick], other[pick]))
