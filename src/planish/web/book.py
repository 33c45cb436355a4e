"""A book that is only ever added to: JSON lines, each with the hash of the line before, and a count beside it.

The hashes show that a line was changed or taken out. The count (``NAME.tail``: how many lines there are, the
last hash, the size) shows what the hashes cannot: that the end was cut off. A line that a killed process left
unfinished was never counted; the book goes on after it and says so.
None of this stops somebody who may write in the folder and makes the whole book anew.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
import time
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planish.errors import DataError
from planish.web.private import FILE, locked, write_private

LONGEST = 500  # characters of a text in an entry
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")  # general categories of the Unicode standard


class NotWritten(DataError):
    """An entry could not be written down."""


@dataclass(frozen=True, slots=True)
class Read:
    """A book as read. ``reasons`` says why it is not whole, ``notes`` what else is odd in it."""

    entries: list[dict[str, Any]]
    reasons: list[str]
    notes: list[str]

    @property
    def whole(self) -> bool:
        """Whether nothing was changed or taken out."""
        return not self.reasons


def plain(text: str) -> str:
    """Return text in which nothing moves a cursor, turns the reading order or breaks a line."""
    return "".join(ascii(c)[1:-1] if unicodedata.category(c) in _HIDDEN else c for c in text)


def chained(entry: dict[str, Any]) -> str:
    """Return the hash of an entry, which holds that of the one before."""
    return hashlib.sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()


class Book:
    """One book: a file of JSON lines and its count. Several processes may add to it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.beside = path.with_name(path.name + ".tail")
        self._lock = threading.Lock()

    def add(self, told: dict[str, Any]) -> dict[str, Any]:
        """Write an entry down, on the disk before this returns; "at", "before" and "hash" are put in here.

        Raises
        ------
        NotWritten
            Where the disk does not take it.
        """
        entry = {"at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())}
        entry |= {key: plain(v)[:LONGEST] if isinstance(v, str) else v for key, v in told.items()}
        try:
            with self._lock, locked(self.path):
                tail, loose = self._tail()
                entry["before"] = tail["last"]
                entry["hash"] = chained(entry)
                line = b"\n" * loose + json.dumps(entry).encode() + b"\n"
                handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, FILE)  # noqa: TID251  a book only grows
                with os.fdopen(handle, "ab") as book:  # noqa: TID251
                    book.write(line)
                    book.flush()
                    os.fsync(book.fileno())
                self._count(tail["lines"] + 1, entry["hash"])
        except OSError as error:
            raise NotWritten(
                f"{self.path.name}: cannot be written ({error.strerror}); free the disk"
            ) from None
        return entry

    def read(self) -> Read:
        """Return all entries, the oldest first, and what is wrong with them."""
        with self._lock:
            try:
                content = self.path.read_bytes()
            except FileNotFoundError:
                content = b""
            tail = self._beside()
        entries, reasons, notes, last = [], [], [], ""
        for number, line in enumerate(content.split(b"\n"), 1):
            entry = _entry(line)
            if entry is None:
                if line.strip():
                    notes.append(f"line {number}: unfinished or unreadable, not an entry")
                continue
            told = {key: value for key, value in entry.items() if key != "hash"}
            if entry["before"] != last:
                reasons.append(
                    f"line {number}: does not follow the entry before it: one is missing or changed"
                )
            elif entry["hash"] != chained(told):
                reasons.append(f"line {number}: was changed after it was written")
            last = entry["hash"]
            entries.append(entry)
        reasons += _against(tail, entries)
        return Read(entries, reasons[:20], notes[:20])

    def adopt(self) -> bool:
        """Count a book of before there were counts; False where that is not needed."""
        with self._lock, locked(self.path):
            if self._beside() is not None or not self.path.exists():
                return False
            tail, _ = self._tail()
            self._count(tail["lines"], tail["last"])
        return True

    def _count(self, lines: int, last: str) -> None:
        told = {"lines": lines, "last": last, "size": self.path.stat().st_size}
        write_private(self.beside, json.dumps(told).encode())

    def _beside(self) -> dict[str, Any] | None:
        try:
            found = json.loads(self.beside.read_bytes())
            return {"lines": int(found["lines"]), "last": str(found["last"]), "size": int(found["size"])}
        except (FileNotFoundError, ValueError, KeyError, TypeError):
            return None

    def _tail(self) -> tuple[dict[str, Any], bool]:
        """Return where the next entry goes on, and whether the file ends within a line.

        Where the file is shorter than was counted, the next entry still follows the last that was counted, so
        that the gap stays to be seen.
        """
        tail = self._beside()
        size = self.path.stat().st_size if self.path.exists() else 0
        if tail is not None and tail["size"] == size:
            return tail, False
        content = self.path.read_bytes() if size else b""
        found = [entry for line in content.split(b"\n") if (entry := _entry(line)) is not None]
        loose = bool(content) and not content.endswith(b"\n")
        gone = tail is not None and len(found) < tail["lines"]
        if tail is not None and (gone or _last(found, tail["lines"]) != tail["last"]):
            return tail, loose
        return {"lines": len(found), "last": found[-1]["hash"] if found else ""}, loose


def _entry(line: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or not all(isinstance(found.get(k), str) for k in ("before", "hash")):
        return None
    return found


def _last(entries: list[dict[str, Any]], lines: int) -> str:
    """Return the hash of the last of so many entries."""
    return str(entries[lines - 1]["hash"]) if lines else ""


def _against(tail: dict[str, Any] | None, entries: list[dict[str, Any]]) -> list[str]:
    """Return what the count beside the book says against it.

    One entry more than was counted is the trace of a process that was killed between the two writes.
    """
    if tail is None:
        return ["the count beside the book is missing"] if len(entries) > 1 else []
    short = tail["lines"] - len(entries)
    if short > 0:
        return [
            f"{short} {'entry' if short == 1 else 'entries'} fewer than were written: the end was cut off"
        ]
    if short < -1:
        return [f"{-short} entries more than were counted"]
    if _last(entries, tail["lines"]) != tail["last"]:
        return ["the last entry that was counted is not in the book"]
    return []
