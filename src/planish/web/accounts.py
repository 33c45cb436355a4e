"""People of a team: names, scrypt-hashed passwords, roles; and the book of approvals.

Roles: ``view`` looks and compares, ``work`` also brings data and runs jobs, ``approve`` also approves
setups. Passwords are hashed with scrypt (RFC 7914; N = 2^15, r = 8, p = 1) and a salt of their own.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import re
import secrets
import threading
import time
from pathlib import Path
from typing import Any, Literal

from planish.errors import DataError

SOURCES: tuple[str, ...] = ("Password hashing: RFC 7914 (scrypt), parameters common practice",)
Role = Literal["view", "work", "approve"]
ROLES: tuple[Role, ...] = ("view", "work", "approve")
SHORTEST = 10
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]{0,63}")
_COST = {"n": 2**15, "r": 8, "p": 1, "maxmem": 64 * 1024 * 1024, "dklen": 32}
TRIES, PAUSE = 5, 60.0


class Accounts:
    """Accounts in one JSON file, readable by its owner only."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._failed: dict[str, list[float]] = {}
        self._nobody = secrets.token_bytes(16)
        self._lock = threading.Lock()

    def _read(self) -> dict[str, dict[str, str]]:
        try:
            found: dict[str, dict[str, str]] = json.loads(self.path.read_text())
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as error:
            raise DataError(f"{self.path}: cannot be read as accounts ({error})") from None
        return found

    def names(self) -> dict[str, str]:
        """Return the role of each name."""
        return {name: entry["role"] for name, entry in self._read().items()}

    def add(self, name: str, password: str, role: str) -> None:
        """Add a person, or give one another password or role.

        Raises
        ------
        DataError
            For a name, role or password that will not do.
        """
        from planish.engine.files import write_whole

        if not _NAME.fullmatch(name):
            raise DataError(f"name = {name!r}: must be 1 to 64 letters, digits, or . _ @ -")
        if role not in ROLES:
            raise DataError(f"role = {role!r}: must be one of {', '.join(ROLES)}")
        if len(password) < SHORTEST:
            raise DataError(f"password: must have at least {SHORTEST} characters")
        salt = secrets.token_bytes(16)
        with self._lock:
            people = self._read()
            people[name] = {"role": role, "salt": salt.hex(), "hash": hashed(password, salt).hex()}
            write_whole(self.path, json.dumps(people, indent=1).encode())
            os.chmod(self.path, 0o600)

    def remove(self, name: str) -> None:
        """Take a person out."""
        from planish.engine.files import write_whole

        with self._lock:
            people = self._read()
            if people.pop(name, None) is None:
                raise DataError(f"name = {name!r}: no such person")
            write_whole(self.path, json.dumps(people, indent=1).encode())
            os.chmod(self.path, 0o600)

    def check(self, name: str, password: str) -> str | None:
        """Return the role of a person who gives the right password, else None.

        An unknown name takes as long as a wrong password. After five failures a name waits a minute.

        Raises
        ------
        DataError
            While the name has to wait.
        """
        now = time.monotonic()
        with self._lock:
            recent = [at for at in self._failed.get(name, []) if now - at < PAUSE]
            self._failed = {k: v for k, v in self._failed.items() if v and now - v[-1] < PAUSE}
            if len(recent) >= TRIES:
                raise DataError("sign in: too many tries for this name: wait a minute")
        entry = self._read().get(name)
        salt = bytes.fromhex(entry["salt"]) if entry else self._nobody
        given = hashed(password[:1024], salt)
        if entry is not None and hmac.compare_digest(given, bytes.fromhex(entry["hash"])):
            with self._lock:
                self._failed.pop(name, None)
            return entry["role"]
        with self._lock:
            self._failed.setdefault(name, [])[:] = [*recent, now]
        return None

    def role(self, name: str) -> str | None:
        """Return the present role of a name, None if it is gone."""
        entry = self._read().get(name)
        return entry["role"] if entry else None


def hashed(password: str, salt: bytes) -> bytes:
    """Return the scrypt hash of a password."""
    return hashlib.scrypt(password.encode("utf-8", "surrogatepass"), salt=salt, **_COST)  # type: ignore[call-overload, no-any-return]


class Approvals:
    """The book of approvals: one line each, each with the hash of the line before, so that none can be changed unseen."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()

    def entries(self) -> list[dict[str, Any]]:
        """Return all entries, the oldest first."""
        try:
            lines = self.path.read_text().splitlines()
        except FileNotFoundError:
            return []
        return [json.loads(line) for line in lines if line.strip()]

    def add(self, person: str, digest: str, title: str, note: str) -> dict[str, Any]:
        """Write an approval down and return it."""
        with self._lock:
            before = self.entries()
            entry: dict[str, Any] = {
                "at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
                "person": person,
                "setup": digest,
                "title": title,
                "note": note,
                "before": before[-1]["hash"] if before else "",
            }
            entry["hash"] = chained(entry)
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a") as book:
                book.write(json.dumps(entry) + "\n")
                book.flush()
                os.fsync(book.fileno())
        return entry

    def whole(self) -> bool:
        """Return whether every line still carries the hash of the one before it."""
        last = ""
        for entry in self.entries():
            told = {key: value for key, value in entry.items() if key != "hash"}
            if entry["before"] != last or entry["hash"] != chained(told):
                return False
            last = entry["hash"]
        return True


def chained(entry: dict[str, Any]) -> str:
    """Return the hash of an entry, which holds that of the one before."""
    return hashlib.sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()
