"""Where a history is kept: a file of one's own, or a database that a team shares; and what is said when it cannot be used."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from json import JSONDecodeError
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from planish.engine.files import write_whole
from planish.engine.private import FILE, private_folder, user_folder
from planish.errors import DataError, refuse

VARIABLE = "PLANISH_HISTORY"
NAME = "history.sqlite"
OWN = "own"
WAITS = 60.0  # [s] for who writes at the same time
PAGE = 8192  # bytes: a map of a hundred sites fits beside its neighbours
ALLOWED = "the path of a file, sqlite:///FILE, or postgresql+pg8000://USER@HOST/NAME"


ASKED_OF_POSTGRESQL = {"unix_sock", "application_name"}


def place_of(url: str | Path | None) -> URL:
    """Return where a history is.

    Parameters
    ----------
    url
        A path, or a URL; unless given, or as "own", the file in the folder $PLANISH_HISTORY, or in planish/history of the
        user's data folder.

    Raises
    ------
    DataError
        For a URL that is none, and for a database that is neither SQLite nor PostgreSQL.
    """
    if url is None or url == OWN:
        return URL.create("sqlite", database=str(user_folder("history", VARIABLE) / NAME))
    text = str(url)
    if isinstance(url, Path) or "://" not in text:
        if not text.strip() or "\0" in text:
            raise DataError(refuse("--db", text, ALLOWED))
        return URL.create("sqlite", database=text)
    try:
        found = make_url(text)
        kind = found.get_backend_name()
    except (ArgumentError, ValueError):
        raise DataError(refuse("--db", hidden(text), ALLOWED)) from None
    if kind not in ("sqlite", "postgresql"):
        raise DataError(refuse("--db", hidden(text), ALLOWED, f"{kind[:20]} is not among them"))
    if kind == "sqlite":
        if not found.database or found.database == ":memory:" or found.query:
            raise DataError(refuse("--db", hidden(text), "sqlite:/// and the path of a file"))
        return URL.create("sqlite", database=found.database)
    if not found.database:
        raise DataError(
            refuse("--db", hidden(text), "a URL that ends in the name of a database", "as .../planish")
        )
    if not found.username:
        raise DataError(refuse("--db", hidden(text), "a URL that names its user", "as ...://USER@HOST/NAME"))
    if unknown := sorted(set(found.query) - ASKED_OF_POSTGRESQL):
        allowed = (
            f"without {unknown[0][:40]!r}: only {', '.join(sorted(ASKED_OF_POSTGRESQL))} may stand after '?'"
        )
        raise DataError(refuse("--db", hidden(text), allowed))
    return found.set(drivername="postgresql+pg8000")


def hidden(text: str) -> str:
    """Return a URL for a refusal, without a password that it holds.

    Parameters
    ----------
    text
        As given.
    """
    head, sign, rest = text.partition("://")
    who, at, where = rest.rpartition("@")
    return f"{head}{sign}{who.partition(':')[0]}{at}{where}" if at else text


def called(place: URL) -> str:
    """Return what a history is called in refusals and answers: never with its password.

    Parameters
    ----------
    place
        From :func:`place_of`.
    """
    if place.get_backend_name() == "sqlite":
        return str(place.database)
    return hidden(place.render_as_string(hide_password=False)).replace("+pg8000", "")


def is_there(place: URL) -> bool:
    """Return whether there may be something at a place: a file that is there; of a server that is not known yet.

    Parameters
    ----------
    place
        From :func:`place_of`.
    """
    return place.get_backend_name() != "sqlite" or Path(str(place.database)).exists()


def make_file(place: URL) -> None:
    """Make the file of a history that only this user may read, where there is none.

    Parameters
    ----------
    place
        From :func:`place_of`.

    Raises
    ------
    DataError
        Where it cannot be made, or is a folder.
    """
    if place.get_backend_name() != "sqlite":
        return
    path = Path(str(place.database))
    if path.is_dir():
        raise DataError(
            f"{path}: is a folder: must be the file of a history (name one in it, as {path / NAME})"
        )
    if path.exists():
        return
    try:
        if path.parent == user_folder("history", VARIABLE):
            private_folder(path.parent)
        elif not path.parent.is_dir():
            raise DataError(f"{path}: there is no folder {path.parent}; make it, or name another")
        write_whole(path, b"", mode=FILE, new=True)
    except FileExistsError:
        return  # somebody else was first
    except OSError as error:
        raise DataError(f"{path}: cannot be made ({error.strerror}); name another file by --db") from None


def connect(place: URL) -> Engine:
    """Return what asks the database; nothing is asked yet.

    Parameters
    ----------
    place
        From :func:`place_of`.

    Raises
    ------
    DataError
        Where the driver of PostgreSQL is not installed.
    """
    if place.get_backend_name() != "sqlite":
        try:
            return create_engine(place, pool_size=1, max_overflow=4, pool_pre_ping=True)
        except (ModuleNotFoundError, NoSuchModuleError):
            raise DataError(
                "--db: PostgreSQL needs the driver pg8000, which is not installed: pip install 'planish[team]'"
            ) from None
    engine = create_engine(place, connect_args={"timeout": WAITS})
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _set_up(connection: Any, record: object) -> None:
    # Transactions begin where ``_begin`` says, tables are made inside of them too.
    connection.isolation_level = None
    for line in (
        f"PRAGMA page_size = {PAGE}",
        "PRAGMA journal_mode = WAL",
        "PRAGMA synchronous = FULL",
        "PRAGMA foreign_keys = ON",
    ):
        try:
            connection.execute(line)
        except sqlite3.OperationalError as error:
            if "readonly" not in str(error):  # a file that may only be read keeps its journal as it is
                raise


def _begin(connection: Any) -> None:
    writes = connection.get_execution_options().get("writes", False)
    # Who will write waits for the others now: two that read first and write then would stop one another.
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def answering(place: URL) -> Iterator[None]:
    """Turn what a database says when it cannot into a refusal of one line.

    Parameters
    ----------
    place
        From :func:`place_of`.

    Raises
    ------
    DataError
        Naming the place, what is wrong, and what to do.
    """
    try:
        yield
    except DBAPIError as error:
        raise DataError(f"{called(place)}: {_why(error.orig or error)}") from None
    except sqlite3.Error as error:  # while a connection is set up
        raise DataError(f"{called(place)}: {_why(error)}") from None
    except (SQLAlchemyError, OSError) as error:
        raise DataError(f"{called(place)}: {_why(error)}") from None
    except (UnicodeDecodeError, JSONDecodeError) as error:  # text that planish cannot have written
        raise DataError(f"{called(place)}: {_DAMAGED} ({type(error).__name__})") from None


_DAMAGED = "is damaged: a part of it is cut off or overwritten (take the last copy of it)"
#: Words of a driver, and what they mean to a person.
_MEANING = (
    ("file is not a database", "is no history: must be a file that planish made (name another by --db)"),
    ("malformed", _DAMAGED),
    ("disk image", _DAMAGED),
    ("file is encrypted", "is no history: must be a file that planish made (name another by --db)"),
    ("readonly", "may only be read by this user: must be writable to add to it (ask its owner)"),
    ("read-only", "may only be read by this user: must be writable to add to it (ask its owner)"),
    ("permission denied", "this user may not do that there: must be allowed to read and add rows (ask its owner)"),
    ("unable to open", "cannot be opened: must be a file that this user may read, in a folder that they may write in"),
    ("is locked", f"somebody else has been writing for {WAITS:g} s: try again when they are done"),
    ("is full", "the disk is full: nothing was added (make room and try again)"),
    ("only grows", "rows of a history are never changed or taken out: add what is right, with the reason why"),
    ("password", "the server does not let this user in: must be a user and password that it knows"),
    ("does not exist", "there is no such database or user on the server: make it (createdb), or name another by --db"),
    ("create a connection", "no server answers there: must be running, at this host and port"),
    ("Connection refused", "no server answers there: must be running, at this host and port"),
)  # fmt: skip


def _why(error: BaseException) -> str:
    said = _words(error)
    low = said.lower()
    for words, meaning in _MEANING:
        if words.lower() in low:
            return meaning
    return f"the database says: {said[:200]}"


def _words(error: BaseException) -> str:
    """Return what a driver says; that of PostgreSQL gives fields by letter."""
    first = error.args[0] if error.args else ""
    if isinstance(first, dict):
        return str(first.get("M", first))
    return " ".join(str(error).split()) or type(error).__name__
