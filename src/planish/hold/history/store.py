"""A history's database in use: opened when first asked, its tables made or brought up, every question in a transaction."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import URL, Connection, Engine

from planish.errors import DataError
from planish.hold.history.form import bring_up, check_form, form_of
from planish.hold.history.place import answering, called, connect, is_there, make_file


class Store:
    """The database of a history.

    Parameters
    ----------
    place
        From :func:`~planish.hold.history.place.place_of`.
    """

    def __init__(self, place: URL) -> None:
        self.place = place
        self._engine: Engine | None = None
        self._ready = False

    @property
    def name(self) -> str:
        """What it is called, without a password."""
        return called(self.place)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that asks; what it sees is of one moment.

        Yields
        ------
        Connection
            In a transaction.

        Raises
        ------
        DataError
            Where there is no history, or it cannot be asked.
        """
        with answering(self.place):
            engine = self._opened(write=False)
            with engine.connect() as connection, connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection that adds: all that it does is there when the block ends without an error, else nothing of it.

        Yields
        ------
        Connection
            In a transaction.

        Raises
        ------
        DataError
            Where nothing can be written.
        """
        with self.connected() as connection, connection.begin():
            yield connection

    @contextmanager
    def connected(self) -> Iterator[Connection]:
        """Give a connection that will write, without a transaction.

        Yields
        ------
        Connection
            To a history that is there, of the newest form.

        Raises
        ------
        DataError
            Where nothing can be written.
        """
        with answering(self.place):
            engine = self._opened(write=True)
            with engine.connect() as connection:
                yield connection.execution_options(writes=True)

    def close(self) -> None:
        """Let go of the database; asked again, it is opened again."""
        if self._engine is not None:
            self._engine.dispose()
        self._engine, self._ready = None, False

    def _opened(self, *, write: bool) -> Engine:
        if not write and not is_there(self.place):
            raise DataError(_none_yet(self.name))
        if self._engine is None:
            self._engine = connect(self.place)
        if not self._ready:
            if write:
                make_file(self.place)
            self._check(self._engine, write)
            self._ready = True
        return self._engine

    def _check(self, engine: Engine, write: bool) -> None:
        with engine.connect() as connection, connection.begin():
            if check_form(connection, self.name):
                return
            if not write and form_of(connection) is None:
                raise DataError(_none_yet(self.name))
        with engine.connect() as connection, connection.execution_options(writes=True).begin():
            bring_up(connection)


def _none_yet(name: str) -> str:
    return (
        f"{name}: there is no history yet: must hold one (planish log add FILE makes it, --db names another)"
    )
