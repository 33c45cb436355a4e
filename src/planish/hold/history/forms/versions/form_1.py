"""Form 1: additions, settings, plans of sites, wafers, maps, events."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
PARTED: dict[str, Any] = {"postgresql_partition_by": "RANGE (polished)", "sqlite_with_rowid": False}


def _words(*names: str) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Text, nullable=False, server_default="") for name in names]


def _figures(*names: str) -> list[sa.Column[Any]]:
    return [sa.Column(name, sa.Float(53), nullable=True) for name in names]


def _bytes(name: str, *, key: bool = False, null: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.LargeBinary, primary_key=key, nullable=null)


def _entry() -> sa.Column[Any]:
    return sa.Column(
        "entry", NUMBER, sa.ForeignKey("entries.id", deferrable=True, initially="DEFERRED"), nullable=False
    )


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "entries",
        sa.Column("id", NUMBER, primary_key=True, autoincrement=True),
        sa.Column("at", sa.BigInteger, nullable=False),
        *_words("what", "who", "why", "source"),
        _bytes("source_digest", null=True),
        sa.Column("added", sa.Integer, nullable=False),
        sa.Column("present", sa.Integer, nullable=False),
    )
    op.create_table("settings", _bytes("key", key=True), sa.Column("paths", sa.Text, nullable=False))
    op.create_table(
        "plans",
        _bytes("key", key=True),
        sa.Column("sites", sa.Integer, nullable=False),
        _bytes("x"),
        _bytes("y"),
        sa.Column("names", sa.Text, nullable=False),
        sa.Column("named", sa.Boolean, nullable=False),
        *_words("unit"),
        *_figures("wafer_radius"),
    )
    op.create_table(
        "wafers",
        sa.Column("polished", sa.BigInteger, primary_key=True),
        _bytes("key", key=True),
        _bytes("digest"),
        _entry(),
        *_words("wafer", "lot", "tool", "head", "platen", "recipe", "pad", "disk", "ring"),
        _bytes("settings", null=True),
        sa.Column("pad_wafers", sa.Integer, nullable=True),
        *_figures("pad_time", "disk_time", "ring_time", "time", "removed", "rate", "cut"),
        *_figures("wiwnu_sigma", "wiwnu_range", "sigma", "minimum", "maximum"),
        sa.Column("sites", sa.Integer, nullable=True),
        *_figures("told_rate", "told_error"),
        sa.Column("error_of_rate", sa.Boolean, nullable=False, server_default=sa.false()),
        sa.Column("kept", sa.Text, nullable=True),
        **PARTED,
    )
    op.create_table(
        "maps",
        sa.Column("polished", sa.BigInteger, primary_key=True),
        _bytes("key", key=True),
        sa.Column("which", sa.Text, primary_key=True),
        _bytes("plan"),
        _bytes("values"),
        **PARTED,
    )
    op.create_table(
        "events",
        _bytes("key", key=True),
        _bytes("digest"),
        _entry(),
        sa.Column("at", sa.BigInteger, nullable=False),
        *_words("kind", "tool", "head", "platen", "part", "note"),
    )
    op.create_index("wafers_by_tool", "wafers", ["tool", "polished"])
    op.create_index("wafers_by_recipe", "wafers", ["recipe", "polished"])
    op.create_index("wafers_by_name", "wafers", ["wafer"])
    op.create_index("events_by_time", "events", ["at"])
