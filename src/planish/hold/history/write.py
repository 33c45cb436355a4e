"""Rows put into the tables: what is there already stays, what says something else of the same thing is refused.

One round trip takes many rows: SQLite is handed them one by one in the same process; PostgreSQL gets them as one text of
JSON, whose numbers it reads to the last bit.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

from sqlalchemy import Connection, Table, func, select, text, tuple_

from planish.errors import DataError
from planish.hold.history.form import LOCK
from planish.hold.history.moments import months_over, told
from planish.hold.history.records import Row, WaferRecord
from planish.hold.history.tables import BY_MONTH, ENTRIES, EVENTS, MAPS, PLANS, SETTINGS, WAFERS

T = TypeVar("T")
AT_ONCE = 1000
ASKED_AT_ONCE = 300  # keys; SQLite takes some thousand values in a question


def put(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> int:
    """Put rows into a table, those left as they are whose key is there; returns how many are new.

    Parameters
    ----------
    connection
        Whose transaction writes.
    table
        Of the history.
    rows
        Each with all columns.
    """
    new = 0
    for part in _parts(rows, AT_ONCE):
        names = list(part[0])
        if connection.dialect.name == "sqlite":
            values = [tuple(row[name] for name in names) for row in part]
            found = connection.exec_driver_sql(_plain(connection, table, names), values)
        else:
            found = connection.execute(_from_json(connection, table, names), {"rows": _json(part)})
        new += found.rowcount
    return new


def _plain(connection: Connection, table: Table, names: Sequence[str]) -> str:
    columns = ", ".join(connection.dialect.identifier_preparer.quote(name) for name in names)
    asked = ", ".join("?" * len(names))
    return f"INSERT INTO {table.name} ({columns}) VALUES ({asked}) ON CONFLICT DO NOTHING"


def _from_json(connection: Connection, table: Table, names: Sequence[str]) -> Any:
    quote = connection.dialect.identifier_preparer.quote
    columns = ", ".join(quote(name) for name in names)
    types = ", ".join(f"{quote(name)} {table.c[name].type.compile(connection.dialect)}" for name in names)
    return text(
        f"INSERT INTO {table.name} ({columns}) SELECT {columns} FROM json_to_recordset(CAST(:rows AS json)) AS given({types}) "
        "ON CONFLICT DO NOTHING"
    )


def _json(rows: Sequence[Mapping[str, Any]]) -> str:
    def plain(value: Any) -> Any:
        return "\\x" + value.hex() if isinstance(value, bytes) else value

    return json.dumps([{name: plain(value) for name, value in row.items()} for row in rows], allow_nan=False)


def put_wafers(connection: Connection, records: Sequence[WaferRecord], entry: int) -> int:
    """Put wafers with their settings and maps into the tables; returns how many are new.

    Parameters
    ----------
    connection
        Whose transaction writes; on PostgreSQL the months are there (:func:`make_months`).
    records
        Each wafer once.
    entry
        The addition that they are of.

    Raises
    ------
    DataError
        For a wafer that is there with other figures.
    """
    rows = [{**record.row, "entry": entry} for record in records]
    new = put(connection, WAFERS, rows)
    if new < len(rows):
        _check_alike(connection, records)
        if not new:
            return 0
    put(
        connection,
        SETTINGS,
        _once({"key": one.row["settings"], "paths": one.settings} for one in records if one.settings),
    )
    put(connection, PLANS, _once(plan for one in records for plan, _ in one.maps))
    put(connection, MAPS, [row for one in records for _, row in one.maps])
    return new


def _check_alike(connection: Connection, records: Sequence[WaferRecord]) -> None:
    for part in _parts(records, ASKED_AT_ONCE):
        which = tuple_(WAFERS.c.polished, WAFERS.c.key).in_(
            [(one.row["polished"], one.row["key"]) for one in part]
        )
        found = connection.execute(select(WAFERS.c.key, WAFERS.c.digest, WAFERS.c.entry).where(which))
        there = {bytes(key): (bytes(digest), entry) for key, digest, entry in found}
        for one in part:
            digest, entry = there[one.row["key"]]
            if digest != one.row["digest"]:
                raise DataError(_otherwise(connection, one, entry))


def _otherwise(connection: Connection, one: WaferRecord, entry: int) -> str:
    at, source = connection.execute(select(ENTRIES.c.at, ENTRIES.c.source).where(ENTRIES.c.id == entry)).one()
    return (
        f"{one.place}: wafer {one.row['wafer']!r} of {told(one.row['polished'])}: has other figures than those added on "
        f"{told(at)[:10]} from {source[:60]!r}: must be the same (a wafer that was measured again has a moment of its own)"
    )


def put_events(connection: Connection, rows: Sequence[Row], entry: int, places: Sequence[str]) -> int:
    """Put events into their table; returns how many are new.

    Parameters
    ----------
    connection
        Whose transaction writes.
    rows
        Each event once.
    entry
        The addition that they are of.
    places
        Of each row, for refusals.

    Raises
    ------
    DataError
        For an event that is there with other words.
    """
    new = put(connection, EVENTS, [{**row, "entry": entry} for row in rows])
    if new < len(rows):
        for part in _parts(list(zip(rows, places, strict=True)), ASKED_AT_ONCE):
            which = EVENTS.c.key.in_([row["key"] for row, _ in part])
            there = {
                bytes(key): bytes(digest)
                for key, digest in connection.execute(select(EVENTS.c.key, EVENTS.c.digest).where(which))
            }
            for row, place in part:
                if there[row["key"]] != row["digest"]:
                    raise DataError(
                        f"{place}: {row['kind']} of {told(row['at'])}: is there with other words: must be the same (another "
                        "event has a moment of its own)"
                    )
    return new


def next_entry(connection: Connection) -> int:
    """Return the number of the addition to come.

    Parameters
    ----------
    connection
        Whose transaction writes.
    """
    if connection.dialect.name == "sqlite":  # nobody else writes meanwhile
        return int(connection.execute(select(func.coalesce(func.max(ENTRIES.c.id), 0))).scalar_one()) + 1
    asked = text("SELECT nextval(pg_get_serial_sequence('entries', 'id'))")
    return int(connection.execute(asked).scalar_one())


def make_months(connection: Connection, moments: Sequence[int]) -> None:
    """Make the months of PostgreSQL that are not there, in a transaction of their own.

    Parameters
    ----------
    connection
        Without a transaction, so that nobody waits for the rows that come after.
    moments
        Of the wafers to be added [µs since 1970].
    """
    if connection.dialect.name == "sqlite":
        return
    wanted = [
        (f"{table}_{name}", table, begin, end)
        for name, begin, end in months_over(list(moments))
        for table in BY_MONTH
    ]
    with connection.begin():
        there = select(text("relname")).select_from(text("pg_class")).where(text("relname = ANY(:names)"))
        have = set(connection.execute(there, {"names": [name for name, *_ in wanted]}).scalars())
    lacking = [one for one in wanted if one[0] not in have]
    if not lacking:
        return
    with connection.begin():
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        for name, table, begin, end in lacking:
            connection.execute(
                text(
                    f"CREATE TABLE IF NOT EXISTS {name} PARTITION OF {table} FOR VALUES FROM ({begin}) TO ({end})"
                )
            )


def _parts(rows: Sequence[T], most: int) -> Iterator[Sequence[T]]:
    for start in range(0, len(rows), most):
        yield rows[start : start + most]


def _once(rows: Iterator[Row]) -> list[Row]:
    """Return each row once, in one order for all who write at the same time, so that no two wait for one another."""
    found = {row["key"]: row for row in rows}
    return [found[key] for key in sorted(found)]
