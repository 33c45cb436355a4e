"""People of a team: names, ids, scrypt-hashed passwords, roles, in one file that its owner alone may read.

Roles: ``view`` looks and compares, ``work`` also brings data and runs jobs, ``approve`` also approves
setups. Passwords are hashed with scrypt (RFC 7914; N = 2^15, r = 8, p = 1) and a salt of their own.

A name can go and come back; an id belongs to one person for ever, and what a person brings, runs and is
signed in with hangs on the id. ``stamp`` changes with the password: what was signed in before is out.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from planish.errors import DataError
from planish.web.private import locked, write_private

SOURCES: tuple[str, ...] = ("Password hashing: RFC 7914 (scrypt), parameters common practice",)
Role = Literal["view", "work", "approve"]
ROLES: tuple[Role, ...] = ("view", "work", "approve")
SHORTEST = 10
LONGEST = 1024
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]{0,63}")
_COST = {"n": 2**15, "r": 8, "p": 1, "maxmem": 64 * 1024 * 1024, "dklen": 32}
_LEAVING = ".leaving"  # no name begins with a point


@dataclass(frozen=True, slots=True)
class Account:
    """One person. ``unmoved``: files and jobs still lie under the name, as before there were ids."""

    name: str
    id: str
    role: str
    stamp: str
    salt: str
    hash: str
    unmoved: bool = False


class Accounts:
    """Accounts in one JSON file. Several processes may change it; each sees at once what another wrote."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._nobody = secrets.token_bytes(16)
        self._lock = threading.Lock()
        self._seen: tuple[int, ...] = ()
        self._people: dict[str, Account] = {}
        self._leaving: dict[str, str] = {}

    def people(self) -> dict[str, Account]:
        """Return everybody by name; the file is read anew when it has changed.

        People of before there were ids are given one, and keep it.
        """
        with self._lock:
            if self._load():
                with locked(self.path):
                    self._load()
                    self._write()
            return dict(self._people)

    def names(self) -> dict[str, str]:
        """Return the role of each name."""
        return {name: account.role for name, account in self.people().items()}

    def find(self, name: str) -> Account | None:
        """Return the person of a name, None if there is none."""
        return self.people().get(name)

    def by_id(self, person: str) -> Account | None:
        """Return the person of an id, None if they are gone."""
        return next((a for a in self.people().values() if a.id == person), None)

    def add(self, name: str, password: str, role: str) -> Account:
        """Add a person, or give one another password or role.

        Raises
        ------
        DataError
            For a name, role or password that will not do.
        """
        if not _NAME.fullmatch(name):
            raise DataError(f"name = {name!r}: must be 1 to 64 letters, digits, or . _ @ -")
        if role not in ROLES:
            raise DataError(f"role = {role!r}: must be one of {', '.join(ROLES)}")
        secret = _secret(password)
        with self._changing():
            before = self._people.get(name)
            made = Account(name, before.id if before else secrets.token_hex(8), role, *secret)
            self._people[name] = made
        return made

    def change(self, account: Account, old: str, new: str) -> Account | None:
        """Give a person a new password who knows the old one; None where they do not.

        Raises
        ------
        DataError
            For a password that will not do, or where the account changed meanwhile.
        """
        _check(new)
        if not _right(account, old):
            return None
        if old == new:
            raise DataError("new password: must differ from the old one")
        secret = _secret(new)
        with self._changing():
            now = self._people.get(account.name)
            if now is None or now.stamp != account.stamp:
                raise DataError("password: was changed meanwhile; sign in again")
            made = Account(now.name, now.id, now.role, *secret)
            self._people[now.name] = made
        return made

    def remove(self, name: str) -> Account:
        """Take a person out; their id is noted as leaving until `left` says that their data are gone."""
        with self._changing():
            gone = self._people.pop(name, None)
            if gone is None:
                raise DataError(f"name = {name!r}: no such person")
            self._leaving[gone.id] = name
        return gone

    def leaving(self) -> dict[str, str]:
        """Return the ids, with names, whose data are still to be deleted."""
        self.people()
        return dict(self._leaving)

    def left(self, person: str) -> None:
        """Note that the data of a leaver are gone."""
        with self._changing():
            self._leaving.pop(person, None)

    def moved(self, person: str) -> None:
        """Note that files and jobs of a person now lie under the id."""
        with self._changing():
            for name, a in list(self._people.items()):
                if a.id == person:
                    self._people[name] = Account(a.name, a.id, a.role, a.stamp, a.salt, a.hash)

    def check(self, name: str, password: str) -> Account | None:
        """Return the person who gives the right password, else None.

        An unknown name takes as long as a wrong password. How often this may be asked is not limited here
        (see `planish.web.tries`).
        """
        account = self.find(name)
        if account is None:
            hashed(password[:LONGEST], self._nobody)
            return None
        return account if _right(account, password) else None

    @contextmanager
    def _changing(self) -> Iterator[None]:
        with self._lock, locked(self.path):
            self._load(anew=True)
            yield
            self._write()

    def _load(self, anew: bool = False) -> bool:
        """Read the file if it has changed; True where it holds people without an id."""
        try:
            told = self.path.stat()
            mark = (told.st_mtime_ns, told.st_size, told.st_ino)
            if mark == self._seen and not anew:
                return False
            found = json.loads(self.path.read_text())
            people, incomplete = _people(found)
            leaving = {str(k): str(v) for k, v in found.get(_LEAVING, {}).items()}
        except FileNotFoundError:
            self._seen, self._people, self._leaving = (), {}, {}
            return False
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            raise DataError(f"{self.path}: cannot be read as accounts ({error})") from None
        self._seen, self._people, self._leaving = mark, people, leaving
        return incomplete

    def _write(self) -> None:
        told: dict[str, Any] = {}
        for name, a in self._people.items():
            told[name] = {"id": a.id, "role": a.role, "stamp": a.stamp, "salt": a.salt, "hash": a.hash}
            if a.unmoved:
                told[name]["unmoved"] = True
        if self._leaving:
            told[_LEAVING] = self._leaving
        write_private(self.path, json.dumps(told, indent=1).encode())
        state = self.path.stat()
        self._seen = (state.st_mtime_ns, state.st_size, state.st_ino)


def _people(found: dict[str, Any]) -> tuple[dict[str, Account], bool]:
    people, incomplete = {}, False
    for name, entry in found.items():
        if name == _LEAVING:
            continue
        old = "id" not in entry
        incomplete |= old
        people[name] = Account(
            name,
            secrets.token_hex(8) if old else entry["id"],
            entry["role"],
            secrets.token_hex(8) if old else entry["stamp"],
            entry["salt"],
            entry["hash"],
            old or bool(entry.get("unmoved")),
        )
    return people, incomplete


def _check(password: str) -> None:
    if len(password) < SHORTEST:
        raise DataError(f"password: must have at least {SHORTEST} characters")
    if len(password) > LONGEST:
        raise DataError(f"password: must have at most {LONGEST} characters")


def _secret(password: str) -> tuple[str, str, str]:
    """Return a new stamp, a new salt, and the hash."""
    _check(password)
    salt = secrets.token_bytes(16)
    return secrets.token_hex(8), salt.hex(), hashed(password, salt).hex()


def _right(account: Account, password: str) -> bool:
    given = hashed(password[:LONGEST], bytes.fromhex(account.salt))
    return hmac.compare_digest(given, bytes.fromhex(account.hash))


def hashed(password: str, salt: bytes) -> bytes:
    """Return the scrypt hash of a password."""
    return hashlib.scrypt(password.encode("utf-8", "surrogatepass"), salt=salt, **_COST)  # type: ignore[call-overload, no-any-return]
