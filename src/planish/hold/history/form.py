"""The form of a history's tables: brought to the newest where it is older, refused where it is newer than this planish."""

from __future__ import annotations

from pathlib import Path

from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, inspect, text

from planish.errors import DataError

FORMS = Path(__file__).parent / "forms"
#: The one number by which those who make or change tables at the same time wait for one another on PostgreSQL.
LOCK = 7_210_316_845_112


def newest() -> str:
    """Return the newest form that this planish knows."""
    return str(ScriptDirectory(str(FORMS)).get_current_head())


def form_of(connection: Connection) -> str | None:
    """Return the form of the tables of a database, None where there are none.

    Parameters
    ----------
    connection
        To it.
    """
    return MigrationContext.configure(connection).get_current_revision()


def check_form(connection: Connection, what: str) -> bool:
    """Return whether a database has the newest form.

    Parameters
    ----------
    connection
        To it.
    what
        It is called, for refusals.

    Raises
    ------
    DataError
        For tables of a newer planish, and for those of somebody else.
    """
    form = form_of(connection)
    if form is None:
        others = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
        if others:
            raise DataError(
                f"{what}: holds tables of something else ({', '.join(others[:3])}): must be a history or empty (name another "
                "by --db)"
            )
        return False
    try:
        ScriptDirectory(str(FORMS)).get_revision(form)
    except CommandError:
        raise DataError(
            f"{what}: its tables have form {form[:20]!r}: must be at most form {newest()!r}, the newest that this planish "
            "knows (update planish)"
        ) from None
    return form == newest()


def bring_up(connection: Connection, upto: str = "head") -> None:
    """Make the tables, or bring them to the newest form, in the transaction at hand.

    Parameters
    ----------
    connection
        Whose transaction writes.
    upto
        The form to stop at.
    """
    if connection.dialect.name != "sqlite":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
    script = ScriptDirectory(str(FORMS))
    context = MigrationContext.configure(connection)
    steps = list(script.iterate_revisions(upto, context.get_current_revision() or "base"))
    with Operations.context(context):
        for step in reversed(steps):
            step.module.upgrade()
            context.stamp(script, step.revision)
