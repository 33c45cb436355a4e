"""Who is signed in, and which browsers are known: a table on disk that outlives the server.

A browser holds a random token and nothing else; the table holds the token's hash (SHA-256), so that who reads
the table cannot sign in with it. A session ends at sign-out, after two hours without a request, after twelve
hours, when the person's password changes and when the person is taken out (times common practice, no source).
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import sqlite3
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from planish.web.private import FILE, private_folder

IDLE = 2 * 3600.0  # [s]
LONGEST = 12 * 3600.0  # [s]
KNOWN = 180 * 86400.0  # [s] that a browser stays known after its last sign-in
TOUCH = 60.0  # [s] between two notes that a session is in use
PER_PERSON = 20  # sessions, and known browsers
_TABLES = """
create table if not exists sessions
    (hash text primary key, person text not null, stamp text not null, made real not null, seen real not null);
create table if not exists devices (hash text primary key, person text not null, seen real not null);
create index if not exists sessions_of on sessions (person);
create index if not exists devices_of on devices (person);
"""


@dataclass(frozen=True, slots=True)
class Session:
    """One sign-in: whose it is, the password's stamp at the time, and whether its use is to be noted."""

    hash: str
    person: str
    stamp: str
    stale: bool


class Sessions:
    """The table. Another process may end sessions in it at any time."""

    def __init__(self, path: Path, clock: Callable[[], float] = time.time) -> None:
        self.path = path
        self.note = ""
        self._clock = clock
        self._lock = threading.Lock()
        private_folder(path.parent)
        try:
            self._table = self._opened()
        except sqlite3.DatabaseError as error:
            aside = path.with_name(f"{path.name}.damaged-{int(clock())}")
            os.replace(path, aside)  # noqa: TID251  nothing is written, it is put aside
            os.chmod(aside, FILE)
            for ending in ("-wal", "-shm"):
                with contextlib.suppress(FileNotFoundError):
                    os.unlink(f"{path}{ending}")
            self.note = (
                f"{path.name}: is damaged ({error}); put aside as {aside.name}, everybody signs in anew"
            )
            self._table = self._opened()
        # Reading has a connection of its own, so that no request waits for another's write to reach the disk.
        self._reading = threading.Lock()
        self._reader = sqlite3.connect(path, timeout=5, isolation_level=None, check_same_thread=False)

    def _opened(self) -> sqlite3.Connection:
        # Made empty with its mode, which the database gives to files of its own too.
        os.close(os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, FILE))  # noqa: TID251
        table = sqlite3.connect(self.path, timeout=5, isolation_level=None, check_same_thread=False)
        try:
            table.execute("pragma journal_mode = wal")  # a writer does not keep readers waiting
            table.execute("pragma synchronous = full")  # what has ended stays ended
            table.executescript(_TABLES)
            now = self._clock()
            table.execute("delete from sessions where seen < ? or made < ?", (now - IDLE, now - LONGEST))
            table.execute("delete from devices where seen < ?", (now - KNOWN,))
        except BaseException:
            table.close()
            raise
        return table

    def open(self, person: str, stamp: str) -> str:
        """Begin a session and return its token; the oldest of a person's goes where there are too many."""
        token, now = secrets.token_urlsafe(32), self._clock()
        with self._lock:
            self._table.execute(
                "insert into sessions values (?, ?, ?, ?, ?)", (_hash(token), person, stamp, now, now)
            )
            self._trim("sessions", person)
        return token

    def find(self, token: str) -> Session | None:
        """Return the session of a token, None if there is none or it is over."""
        now = self._clock()
        with self._reading:
            row = self._reader.execute(
                "select person, stamp, made, seen from sessions where hash = ?", (_hash(token),)
            ).fetchone()
        if row is None or now - row[3] > IDLE or now - row[2] > LONGEST:
            return None
        return Session(_hash(token), row[0], row[1], now - row[3] > TOUCH)

    def touch(self, session: Session) -> None:
        """Note that a session is in use."""
        with self._lock:
            self._table.execute("update sessions set seen = ? where hash = ?", (self._clock(), session.hash))

    def end(self, token: str) -> None:
        """End a session."""
        with self._lock:
            self._table.execute("delete from sessions where hash = ?", (_hash(token),))

    def end_all(self, person: str) -> None:
        """End all sessions of a person, and know none of their browsers any more."""
        with self._lock:
            self._table.execute("delete from sessions where person = ?", (person,))
            self._table.execute("delete from devices where person = ?", (person,))

    def trust(self, person: str) -> str:
        """Know a browser from now on, and return the token that it shows."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._table.execute("insert into devices values (?, ?, ?)", (_hash(token), person, self._clock()))
            self._trim("devices", person)
        return token

    def known(self, token: str, person: str = "") -> str:
        """Return the mark (the hash) of a browser that has signed in as this person (or as any) before, else ""."""
        with self._reading:
            row = self._reader.execute(
                "select person, seen from devices where hash = ?", (_hash(token),)
            ).fetchone()
        if row is None or (person and row[0] != person) or self._clock() - row[1] > KNOWN:
            return ""
        return _hash(token)

    def seen(self, mark: str) -> None:
        """Note that a known browser signed in."""
        with self._lock:
            self._table.execute("update devices set seen = ? where hash = ?", (self._clock(), mark))

    def close(self) -> None:
        """Close the table."""
        with self._lock, self._reading:
            self._reader.close()
            self._table.close()

    def _trim(self, table: str, person: str) -> None:
        self._table.execute(
            f"delete from {table} where person = ? and hash not in "
            f"(select hash from {table} where person = ? order by seen desc, rowid desc limit ?)",
            (person, person, PER_PERSON),
        )


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()
