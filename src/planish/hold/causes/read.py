"""The wafers of a ranking as they are given: site files before and after, a table beside them, and what happened when."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, Union

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.charts.samples import Data, Table, table_of
from planish.measure.sites.column_map import ColumnMap, column_map
from planish.measure.sites.read import SiteMap
from planish.measure.sites.wafers import read_wafers
from planish.predict.lot.events import Event, EventLike, read_events

Array = NDArray[np.float64]
Maps: TypeAlias = Union[str, "os.PathLike[str]", Sequence[SiteMap]]
MOST_WAFERS = 1500
TIMES = {"s": 1.0, "min": 60.0, "h": 3600.0}
COLUMNS = ("time", "temperature", "friction", "torque", "pad", "disk")


@dataclass(frozen=True, slots=True, repr=False)
class Given(Record):
    """What was given, read.

    Attributes
    ----------
    before, after
        Thickness maps, (wafers,); None where there is none after.
    columns
        By the names of :data:`COLUMNS`: time [s], temperature [K or °C], friction or torque, ``pad`` wafers or seconds that it
        had polished before, ``disk`` seconds of use before; (wafers,).
    pad_in_time
        Whether ``pad`` is in seconds.
    happened
        Events by row, counted from 1.
    said
        What was left out.
    source
        For refusals.
    """

    before: tuple[SiteMap, ...]
    after: tuple[SiteMap | None, ...]
    columns: Mapping[str, Array]
    pad_in_time: bool
    happened: tuple[Event, ...]
    said: tuple[str, ...]
    source: str


def given(
    before: Maps,
    after: Maps,
    table: Data | None,
    named: Mapping[str, str | None],
    events: Iterable[EventLike],
    columns: ColumnMap | str | os.PathLike[str] | None,
    site_plan: str | None,
    sheet: str | None,
    decimal: str | None,
) -> Given:
    """Read the wafers.

    Parameters
    ----------
    before, after
        Site files with a row a wafer or a row a site, folders of them, or maps.
    table
        With a row a wafer in the order of ``before``.
    named
        Its columns by the names of :data:`COLUMNS`.
    events
        What happened before which row.
    columns, site_plan
        How the site files are written.
    sheet, decimal
        Of the table.

    Returns
    -------
    Given
        In the order of ``before``.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    written = column_map(columns)
    if site_plan is not None:
        written = written.merged(ColumnMap(site_plan=site_plan))
    first, second = _maps(before, "before", written), _maps(after, "after", written)
    ordered, said = _paired(first, second)
    wafers = len(first)
    source = first[0][1].source
    wanted = {name: column for name, column in named.items() if column is not None}
    if "friction" in wanted and "torque" in wanted:
        raise DataError(
            refuse("torque", wanted["torque"], "left out where friction is given", "they tell the same")
        )
    if wanted and table is None:
        raise DataError(
            refuse("table", None, f"given, to hold the columns {', '.join(wanted.values())}", "a row a wafer")
        )
    found: dict[str, Array] = {}
    in_time = False
    if table is not None:
        if not wanted:
            raise DataError(
                refuse("table", str(table)[:80], f"one of whose columns is named ({', '.join(COLUMNS)})")
            )
        rows = table_of(table, list(wanted.values()), sheet, decimal)
        if rows.count != wafers:
            raise DataError(
                f"{rows.path}: {rows.count} rows: must be as many as there are wafers before the polish, {wafers}, in their order"
            )
        for name, column in wanted.items():
            found[name], of_time = _column(rows, name, column)
            in_time = in_time or (name == "pad" and of_time)
    return Given(
        tuple(one for _, one in first),
        ordered,
        found,
        in_time,
        read_events(events, wafers),
        tuple(said),
        source,
    )


def _maps(maps: Maps, when: str, columns: ColumnMap) -> list[tuple[str, SiteMap]]:
    if isinstance(maps, str | os.PathLike):
        found = read_wafers(maps, columns)
    elif isinstance(maps, Sequence) and maps and all(isinstance(one, SiteMap) for one in maps):
        found = [("", one) for one in maps if isinstance(one, SiteMap)]
    else:
        raise DataError(refuse(when, str(maps)[:60], "a file or folder of sites, or a list of site maps"))
    return [(name.rsplit(", wafer ", 1)[-1], one) for name, one in found]


def _paired(
    first: list[tuple[str, SiteMap]], second: list[tuple[str, SiteMap]]
) -> tuple[tuple[SiteMap | None, ...], list[str]]:
    """Return the maps after in the order of those before: by name where names are shared, else one by one."""
    names, others = [name for name, _ in first], dict(second)
    if len(set(names)) == len(names) and len(others) == len(second) and set(names) & set(others):
        alone = [name for name in others if name not in set(names)]
        said = [f"only after the polish, left out: {', '.join(alone[:8])}"] if alone else []
        return tuple(others.get(name) for name in names), said
    if len(first) != len(second):
        raise DataError(
            f"{second[0][1].source}: {len(second)} wafers after the polish and {len(first)} before: must be as many, or of the "
            "same names"
        )
    return tuple(one for _, one in second), []


def _column(rows: Table, name: str, column: str) -> tuple[Array, bool]:
    """Return a column in SI, and whether it is a time."""
    values = rows.numbers(column, f"the column of {name}")
    written = rows.names[rows.index(column, f"the column of {name}")]
    unit = (
        written.rstrip("])").replace("(", "[").rsplit("[", 1)[-1].strip()
        if written[-1:] in ("]", ")")
        else ""
    )
    place = f"{rows.path}: column {written[:40]!r}"
    if name in ("friction", "torque", "time", "pad", "disk") and np.nanmin(values) < 0:
        raise DataError(refuse(place, float(np.nanmin(values)), "0 or more"))
    if name in ("friction", "torque", "time") and np.nanmin(values) == 0:
        raise DataError(refuse(place, 0.0, "above 0", "leave a cell empty where nothing was measured"))
    if name in ("time", "disk"):
        scale = TIMES.get(unit or ("s" if name == "time" else "h"))
        if scale is None:
            raise DataError(refuse(f"{place}: unit", unit, "s, min or h"))
        return values * scale, True
    if name == "pad" and unit in TIMES:
        return values * TIMES[unit], True
    if name == "pad" and unit not in ("", "wafers", "wafer", "1"):
        raise DataError(refuse(f"{place}: unit", unit, "wafers, s, min or h"))
    return values, False


def placed(told: Given, cycle: float) -> tuple[NDArray[np.int64], tuple[Event, ...]]:
    """Return which wafer of a lot each row is, from 0, and what happens in that lot.

    The lot begins with a new pad and disk; where the table tells how many wafers the pad had polished, it begins so many earlier.

    Parameters
    ----------
    told
        What was given.
    cycle
        Polish time of a wafer [s], for pads whose use is a time.

    Returns
    -------
    tuple
        (rows,) and events by wafer, from 1.

    Raises
    ------
    DataError
        For a use of the pad that stands still, and a lot longer than is followed.
    """
    count = len(told.before)
    events: list[Event] = []
    at = np.arange(count)
    use = told.columns.get("pad")
    if use is not None:
        if np.any(np.isnan(use)):
            row = int(np.argmax(np.isnan(use))) + 1
            raise DataError(
                refuse(f"{told.source}: row {row}: use of the pad", "empty", "a number in each row")
            )
        ages = np.round(use / cycle if told.pad_in_time else use).astype(np.int64)
        at[0] = ages[0]
        for row in range(1, count):
            gained = int(ages[row] - ages[row - 1])
            if gained == 0 and not told.pad_in_time:
                raise DataError(
                    refuse(f"{told.source}: row {row + 1}: wafers on the pad", int(ages[row]), "another than in the row above",
                           "it counts the wafers before the row's")
                )  # fmt: skip
            if gained < 0:
                at[row] = at[row - 1] + 1 + ages[row]
                events.append(Event(int(at[row] - ages[row]) + 1, "pad"))
            else:
                at[row] = at[row - 1] + max(gained, 1)
    if at[-1] >= MOST_WAFERS:
        raise DataError(
            f"{told.source}: a lot of {int(at[-1]) + 1} wafers must be followed: must be at most {MOST_WAFERS} (leave older rows out)"
        )
    disk = told.columns.get("disk")
    if disk is not None:
        known = np.flatnonzero(np.isfinite(disk))
        for row, last in zip(known.tolist(), [None, *known[:-1].tolist()], strict=True):
            if last is None or disk[row] < disk[last]:
                events.append(Event(int(at[row]) + 1, "disk", float(disk[row])))
    for event in told.happened:
        moved = replace(event, wafer=int(at[event.wafer - 1]) + 1)
        if not any(
            one.kind == event.kind in ("pad", "disk") and abs(one.wafer - moved.wafer) <= 1 for one in events
        ):
            events.append(moved)
    return at, tuple(sorted(events, key=lambda one: one.wafer))
