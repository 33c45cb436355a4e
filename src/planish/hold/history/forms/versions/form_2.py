"""Form 2: decisions; and no row of any table is changed or taken out any more."""

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = "1"

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLES = ("entries", "settings", "plans", "wafers", "maps", "events", "decisions")
SAID = "a history only grows"


def upgrade() -> None:
    """Make the table of decisions, and what refuses a change."""
    op.create_table(
        "decisions",
        sa.Column("id", NUMBER, primary_key=True, autoincrement=True),
        sa.Column(
            "entry",
            NUMBER,
            sa.ForeignKey("entries.id", deferrable=True, initially="DEFERRED"),
            nullable=False,
        ),
        sa.Column("at", sa.BigInteger, nullable=False),
        *(
            sa.Column(name, sa.Text, nullable=False, server_default="")
            for name in ("what", "who", "why", "tool", "recipe")
        ),
        sa.Column("changes", sa.Text, nullable=False),
        sa.Column("answers", NUMBER, sa.ForeignKey("decisions.id"), nullable=True, unique=True),
    )
    op.create_index("decisions_by_time", "decisions", ["at"])
    if op.get_bind().dialect.name == "sqlite":
        for table in TABLES:
            for what in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_stay_{what.lower()} BEFORE {what} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{SAID}'); END"
                )
        return
    op.execute(
        "CREATE FUNCTION only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$BEGIN RAISE EXCEPTION '{SAID}'; END$$"
    )
    for table in TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_stay BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION only_grows()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_whole BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION only_grows()"
        )
