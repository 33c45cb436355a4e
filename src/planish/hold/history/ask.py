"""Rows asked of the tables: wafers that are chosen, their maps, events and decisions."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Connection, Row, func, select, tuple_

from planish.errors import DataError
from planish.hold.history.chosen import MOST
from planish.hold.history.tables import DECISIONS, ENTRIES, EVENTS, MAPS, PLANS, SETTINGS, WAFERS
from planish.measure.sites.read import SiteMap

if TYPE_CHECKING:
    from planish.hold.history.chosen import Chosen

MAPS_AT_ONCE = 300
Key = tuple[int, bytes]


def wafer_rows(connection: Connection, which: Chosen, names: Sequence[str]) -> Sequence[Row[Any]]:
    """Return columns of the wafers that are meant, in the order of time.

    Parameters
    ----------
    connection
        To a history.
    which
        Wafers.
    names
        Of columns.

    Raises
    ------
    DataError
        For more than are brought at once.
    """
    order = (WAFERS.c.polished, WAFERS.c.key)
    asked = select(*(WAFERS.c[name] for name in names)).where(*which.of_wafers())
    if which.last is not None:
        newest = asked.order_by(*(each.desc() for each in order)).limit(which.last)
        return list(reversed(connection.execute(newest).all()))
    rows = connection.execute(asked.order_by(*order).limit(MOST + 1)).all()
    if len(rows) > MOST:
        raise DataError(
            f"history: more than {MOST} wafers are meant: must be fewer (say --tool, --month, --since or --last)"
        )
    return rows


def count_wafers(connection: Connection) -> int:
    """Return how many wafers there are.

    Parameters
    ----------
    connection
        To a history.
    """
    return int(connection.execute(select(func.count()).select_from(WAFERS)).scalar_one())


def events(connection: Connection, which: Chosen, begin: int, end: int) -> list[dict[str, Any]]:
    """Return what happened at the places that are meant, in the order of time.

    Parameters
    ----------
    connection
        To a history.
    which
        Places.
    begin, end
        Of the time [µs since 1970], both in it.
    """
    table = EVENTS.c
    columns = (table.at, table.kind, table.tool, table.head, table.platen, table.part, table.note)
    asked = select(*columns).where(*which.of_events(), table.at >= begin, table.at <= end)
    return [dict(row._mapping) for row in connection.execute(asked.order_by(table.at, table.key))]


def kinds(connection: Connection) -> list[str]:
    """Return what kinds of events there are.

    Parameters
    ----------
    connection
        To a history.
    """
    return sorted(connection.execute(select(EVENTS.c.kind).distinct()).scalars())


def decisions(connection: Connection, last: int) -> list[dict[str, Any]]:
    """Return the newest decisions, in the order of time.

    Parameters
    ----------
    connection
        To a history.
    last
        How many.
    """
    rows = connection.execute(select(DECISIONS).order_by(DECISIONS.c.id.desc()).limit(last)).mappings()
    return [{**row, "changes": json.loads(row["changes"])} for row in reversed(rows.all())]


def entries(connection: Connection, last: int) -> list[dict[str, Any]]:
    """Return the newest additions, in the order of time: what, when, who, why.

    Parameters
    ----------
    connection
        To a history.
    last
        How many.
    """
    rows = connection.execute(select(ENTRIES).order_by(ENTRIES.c.id.desc()).limit(last)).mappings()
    return [dict(row) for row in reversed(rows.all())]


def settings(connection: Connection, wanted: set[bytes]) -> dict[bytes, dict[str, str]]:
    """Return settings by their key.

    Parameters
    ----------
    connection
        To a history.
    wanted
        Keys.
    """
    found: dict[bytes, dict[str, str]] = {}
    for part in _parts(sorted(wanted)):
        rows = connection.execute(select(SETTINGS.c.key, SETTINGS.c.paths).where(SETTINGS.c.key.in_(part)))
        found |= {bytes(key): json.loads(paths) for key, paths in rows}
    return found


def maps(connection: Connection, wanted: Sequence[Key]) -> dict[Key, dict[str, SiteMap]]:
    """Return the maps of wafers: "before" and "after", or "removal", as they were read.

    Parameters
    ----------
    connection
        To a history.
    wanted
        Moment and key of each wafer.
    """
    plans: dict[bytes, Any] = {}
    found: dict[Key, dict[str, SiteMap]] = {}
    for part in _parts(wanted):
        which = tuple_(MAPS.c.polished, MAPS.c.key).in_(part)
        rows = connection.execute(select(MAPS).where(which)).all()
        lacking = {bytes(row.plan) for row in rows} - set(plans)
        if lacking:
            of_plans = connection.execute(select(PLANS).where(PLANS.c.key.in_(lacking))).all()
            plans |= {bytes(plan.key): plan for plan in of_plans}
        for row in rows:
            key = (row.polished, bytes(row.key))
            found.setdefault(key, {})[row.which] = _site_map(plans[bytes(row.plan)], row)
    return found


def _site_map(plan: Any, row: Any) -> SiteMap:
    x, y, values = (np.frombuffer(bytes(part), "<f8") for part in (plan.x, plan.y, row[-1]))
    return SiteMap(
        x.astype(np.float64),
        y.astype(np.float64),
        values.astype(np.float64),
        tuple(json.loads(plan.names)),
        "removal" if row.which == "removal" else "thickness",
        plan.unit,
        f"history, {row.which}",
        named_sites=plan.named,
        wafer_radius=plan.wafer_radius,
    )


def _parts(wanted: Sequence[Any]) -> Iterator[list[Any]]:
    for start in range(0, len(wanted), MAPS_AT_ONCE):
        yield list(wanted[start : start + MAPS_AT_ONCE])
