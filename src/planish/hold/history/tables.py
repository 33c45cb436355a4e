"""The tables of a history, as its newest form has them.

A wafer is one row of figures; what it shares with others stands once: its settings, and the plan of its sites. The maps lie
apart from the figures, each as one array of bytes, so that a chart of a month reads none of them. Rows are only ever added.

Moments are whole microseconds since 1970 (UTC); figures are in SI; ``key`` says which thing a row is, ``digest`` all that is
said of it (:mod:`planish.hold.history.keys`). The first columns of the primary key of wafers and maps are moment and key: on
SQLite that is the order in which the rows lie in the file, on PostgreSQL it is what the months are parted by.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

METADATA = MetaData()
#: What PostgreSQL keeps a month apart.
BY_MONTH = ("wafers", "maps")
_PARTED: dict[str, Any] = {"postgresql_partition_by": "RANGE (polished)", "sqlite_with_rowid": False}
# SQLite numbers rows by itself only where the key is an INTEGER.
_NUMBER = BigInteger().with_variant(Integer(), "sqlite")


def _numbered() -> Column[int]:
    return Column("id", _NUMBER, primary_key=True, autoincrement=True)


def _bytes(name: str, *, key: bool = False, null: bool = False) -> Column[bytes]:
    return Column(name, LargeBinary, primary_key=key, nullable=null)


def _word(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, server_default="")


def _figure(name: str) -> Column[float]:
    return Column(name, Float(53), nullable=True)


def _entry() -> Column[int]:
    # Deferred: how many rows an addition has is known, and written beside it, once they are in.
    return Column(
        "entry", _NUMBER, ForeignKey("entries.id", deferrable=True, initially="DEFERRED"), nullable=False
    )


#: Who added what, when and why: a row for each addition.
ENTRIES = Table(
    "entries",
    METADATA,
    _numbered(),
    Column("at", BigInteger, nullable=False),
    _word("what"),
    _word("who"),
    _word("why"),
    _word("source"),
    _bytes("source_digest", null=True),
    Column("added", Integer, nullable=False),
    Column("present", Integer, nullable=False),
)
#: Settings that wafers shared: paths of keys of the setup to text, as JSON.
SETTINGS = Table("settings", METADATA, _bytes("key", key=True), Column("paths", Text, nullable=False))
#: Where sites lie: little-endian doubles [m], and their names as JSON.
PLANS = Table(
    "plans",
    METADATA,
    _bytes("key", key=True),
    Column("sites", Integer, nullable=False),
    _bytes("x"),
    _bytes("y"),
    Column("names", Text, nullable=False),
    Column("named", Boolean, nullable=False),
    _word("unit"),
    _figure("wafer_radius"),
)
WAFERS = Table(
    "wafers",
    METADATA,
    Column("polished", BigInteger, primary_key=True),
    _bytes("key", key=True),
    _bytes("digest"),
    _entry(),
    *(_word(name) for name in ("wafer", "lot", "tool", "head", "platen", "recipe", "pad", "disk", "ring")),
    _bytes("settings", null=True),
    Column("pad_wafers", Integer, nullable=True),
    *(_figure(name) for name in ("pad_time", "disk_time", "ring_time", "time", "removed", "rate", "cut")),
    *(_figure(name) for name in ("wiwnu_sigma", "wiwnu_range", "sigma", "minimum", "maximum")),
    Column("sites", Integer, nullable=True),
    *(_figure(name) for name in ("told_rate", "told_error")),
    Column("error_of_rate", Boolean, nullable=False, server_default="0"),
    Column("kept", Text, nullable=True),
    Index("wafers_by_tool", "tool", "polished"),
    Index("wafers_by_recipe", "recipe", "polished"),
    Index("wafers_by_name", "wafer"),
    **_PARTED,
)
#: Site values of a wafer: little-endian doubles [m], as read.
MAPS = Table(
    "maps",
    METADATA,
    Column("polished", BigInteger, primary_key=True),
    _bytes("key", key=True),
    Column("which", Text, primary_key=True),
    _bytes("plan"),
    _bytes("values"),
    **_PARTED,
)
EVENTS = Table(
    "events",
    METADATA,
    _bytes("key", key=True),
    _bytes("digest"),
    _entry(),
    Column("at", BigInteger, nullable=False),
    *(_word(name) for name in ("kind", "tool", "head", "platen", "part", "note")),
    Index("events_by_time", "at"),
)
DECISIONS = Table(
    "decisions",
    METADATA,
    _numbered(),
    _entry(),
    Column("at", BigInteger, nullable=False),
    *(_word(name) for name in ("what", "who", "why", "tool", "recipe")),
    Column("changes", Text, nullable=False),
    Column("answers", _NUMBER, ForeignKey("decisions.id"), nullable=True, unique=True),
    Index("decisions_by_time", "at"),
)
