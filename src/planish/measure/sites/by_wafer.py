"""The sites of every wafer of a file, read once: what a gauge wrote about a month of wafers.

A clean table (plain names with units, numbers and no gaps) is taken column by column, which is some fifty times faster
than cell by cell. Anything else goes to the careful readers, which understand more and say what is wrong where.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.given import as_path
from planish.errors import DataError
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.read import (
    LARGEST_RADIUS,
    LARGEST_VALUE,
    QUANTITIES,
    SITE_NAMES,
    WAFER_NAMES,
    X_NAMES,
    Y_NAMES,
    SiteMap,
    read_sites,
    rows_of_table,
    same_place,
    sites_of_table,
)
from planish.measure.sites.which import SeveralWafersError
from planish.measure.tables import limits
from planish.measure.tables.columns import LENGTHS, split_name
from planish.measure.tables.read import check_file, read_table

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]


def sites_by_wafer(path: str | os.PathLike[str], columns: ColumnMap | None = None) -> dict[str, SiteMap]:
    """Return the sites of each wafer of a file.

    Parameters
    ----------
    path
        Of sites, as :func:`~planish.measure.sites.read.read_sites` takes it, with one wafer or several.
    columns
        What it does not say of itself.

    Returns
    -------
    dict[str, SiteMap]
        By the name of the wafer, in the order of the file; of a file that names none under "".

    Raises
    ------
    DataError
        As ``read_sites``.
    """
    if not columns:
        found = _column_by_column(check_file(as_path(path, "sites")))
        if found is not None:
            return found
    try:
        return {"": read_sites(path, columns=columns)}
    except SeveralWafersError as several:
        wafers = several.wafers
    if columns:
        return {name: read_sites(path, wafer=name, columns=columns) for name in wafers}
    try:
        table = read_table(path)
        label = next(name for name in table.header if split_name(name)[0] in WAFER_NAMES)
        rows: dict[str, list[int]] = {}
        for row, name in enumerate(table.text(label)):
            rows.setdefault(name, []).append(row)
    except (DataError, StopIteration):  # no plain table
        return {name: read_sites(path, wafer=name) for name in wafers}
    return {name: sites_of_table(rows_of_table(table, own)) for name, own in rows.items()}


def _column_by_column(file: Path) -> dict[str, SiteMap] | None:
    """Return the wafers of a clean table; None for any other."""
    try:
        frame = _frame(file)
    except Exception:  # noqa: BLE001  whatever is wrong with it, the careful reader says it
        return None
    if frame is None or not frame.height:
        return None
    roles = _roles(frame.columns)
    if roles is None:
        return None
    numbers = {
        role: _numbers(frame, name) for role, (name, _) in roles.items() if role not in ("site", "wafer")
    }
    x, y, value = numbers["x"], numbers["y"], numbers["value"]
    if x is None or y is None or value is None:
        return None
    x, y, value = (part * roles[role][1] for role, part in (("x", x), ("y", y), ("value", value)))
    quantity = QUANTITIES[split_name(roles["value"][0])[0]]
    if (
        np.hypot(x, y).max() > LARGEST_RADIUS
        or np.abs(value).max() > LARGEST_VALUE
        or (quantity == "thickness" and value.min() < 0)
    ):
        return None
    wafers, sites = _labels(frame, roles["wafer"][0]), None
    if "site" in roles:
        named = _labels(frame, roles["site"][0])
        sites = None if named is None else named.to_list()
    if wafers is None or ("site" in roles and sites is None):
        return None
    return _each(str(file), quantity, split_name(roles["value"][0])[1] or "", wafers, sites, x, y, value)


def _each(
    source: str,
    quantity: str,
    unit: str,
    wafers: pl.Series,
    sites: list[str] | None,
    x: Array,
    y: Array,
    value: Array,
) -> dict[str, SiteMap] | None:
    found: dict[str, SiteMap] = {}
    plan: tuple[Array, Array, tuple[str, ...]] | None = None
    known: set[tuple[bytes, bytes, tuple[str, ...]]] = set()
    for wafer, part in _parts(wafers):
        here, there = x[part], y[part]
        names = _names(sites, part, len(here))
        if (
            plan is None
            or names != plan[2]
            or not (same_numbers(here, plan[0]) and same_numbers(there, plan[1]))
        ):
            plan = (here.copy(), there.copy(), names)
            key = (here.tobytes(), there.tobytes(), names)
            if key not in known and (len(set(names)) < len(names) or same_place(here, there) is not None):
                return None
            known.add(key)
        own = value[part].copy()
        found[wafer] = SiteMap(*plan[:2], own, plan[2], quantity, unit, source, sites is not None)  # type: ignore[arg-type]
    return found


def same_numbers(one: Array, other: Array) -> bool:
    """Return whether two columns hold the same; asked of every wafer, so in a quarter of what NumPy's own question takes.

    Parameters
    ----------
    one, other
        Along one axis.
    """
    return one is other or (one.size == other.size and bool((one == other).all()))


def _names(sites: list[str] | None, part: slice | list[int], count: int) -> tuple[str, ...]:
    if sites is None:
        return tuple(str(at + 1) for at in range(count))
    return tuple(sites[part] if isinstance(part, slice) else [sites[at] for at in part])


def _parts(wafers: pl.Series) -> Iterator[tuple[str, slice | list[int]]]:
    """Yield each wafer with its rows: a slice where they follow one another, as they mostly do."""
    begins = (wafers != wafers.shift()).fill_null(True).arg_true().to_list()
    names = wafers.gather(begins).to_list()
    if len(set(names)) == len(names):
        for name, begin, end in zip(names, begins, [*begins[1:], len(wafers)], strict=True):
            yield name, slice(begin, end)
        return
    rows: dict[str, list[int]] = {}
    for row, name in enumerate(wafers.to_list()):
        rows.setdefault(name, []).append(row)
    yield from rows.items()


def _frame(file: Path) -> pl.DataFrame | None:
    import polars as pl

    if file.suffix.lower() in (".parquet", ".pq"):
        from planish.measure.tables.parquet_limits import check_parquet

        check_parquet(file, limits.MAX_TRACE_CELLS)
        return pl.read_parquet(file)
    with file.open("rb") as raw:
        head = raw.readline(limits.MAX_LINE).decode("utf-8-sig")
    if head.lstrip().startswith("#") or "," not in head or '"' in head:
        return None
    if limits.check_text(file, limits.MAX_TRACE_CELLS).quotes:
        return None
    words = [name for name in head.strip().split(",") if split_name(name)[0] in (*WAFER_NAMES, *SITE_NAMES)]
    return pl.read_csv(file, infer_schema_length=1000, schema_overrides=dict.fromkeys(words, pl.String))


def _roles(names: list[str]) -> dict[str, tuple[str, float]] | None:
    """Return name and factor of each column; None where one is not plain or not told apart."""
    found: dict[str, tuple[str, float]] = {}
    for name in names:
        stem, unit = split_name(name.strip())
        if stem in WAFER_NAMES or stem in SITE_NAMES:
            role, factor = ("wafer" if stem in WAFER_NAMES else "site"), 1.0
        elif stem in X_NAMES or stem in Y_NAMES or stem in QUANTITIES:
            role = "x" if stem in X_NAMES else "y" if stem in Y_NAMES else "value"
            if unit is None or unit.lower() not in LENGTHS or QUANTITIES.get(stem) == "rate":
                return None
            factor = LENGTHS[unit.lower()]
        else:
            return None
        if role in found:
            return None
        found[role] = (name, factor)
    return found if {"wafer", "x", "y", "value"} <= set(found) else None


def _numbers(frame: pl.DataFrame, name: str) -> Array | None:
    column = frame[name]
    if not column.dtype.is_numeric() or column.null_count():
        return None
    values = column.to_numpy().astype(np.float64)
    return values if np.all(np.isfinite(values)) else None


def _labels(frame: pl.DataFrame, name: str) -> pl.Series | None:
    """Return labels as the careful reader has them; None where it would not take them as they are."""
    import polars as pl

    column = frame[name]
    if column.null_count() or not (column.dtype == pl.String or column.dtype.is_integer()):
        return None
    texts = column.cast(pl.String)
    odd = texts.str.contains(r"^['#\s]|\s$|^$") | (texts.str.len_bytes() > limits.MAX_CELL)
    return None if odd.any() else texts
