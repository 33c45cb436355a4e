"""What was done to a controlled step: one record an event, only ever added to.

The record is the step's memory too: whoever reads it from its first line on comes to the same state, for the control is
deterministic. Any store that adds and reads back in order can hold it (:class:`Journal`); here a text file does, a line of
JSON an event. A line is written by one write at the file's end and flushed to the disk; a line that a crash left
half written stands alone, is told, and counts for nothing.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from planish.engine.files import append_line, locked
from planish.errors import DataError, refuse

KINDS = ("begun", "on", "off", "advised", "approved", "declined", "ran", "measured", "changed")
LONGEST = 1_000_000  # characters of a line: a longer one is none of ours
MOST_ENTRIES = 1_000_000


@dataclass(frozen=True, slots=True)
class Entry:
    """One event: ``what`` (one of :data:`KINDS`), ``when`` (text, as the caller's clock says it), ``who``, ``why``, and ``details``."""

    what: str
    when: str
    who: str
    why: str
    details: dict[str, Any]


class Journal(Protocol):
    """Where events are kept, in order."""

    def add(self, entry: Entry) -> None:
        """Add one event, whole or not at all."""

    def entries(self) -> Iterator[Entry]:
        """Yield all events, the first one first."""

    def alone(self) -> AbstractContextManager[None]:
        """Keep others from adding while the block reads, decides and adds."""


class JournalFile:
    """A journal in a text file, a line of JSON an event."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.torn: list[int] = []  # lines that were not written to their end

    def add(self, entry: Entry) -> None:
        """Add one event at the file's end."""
        line = json.dumps(
            {"what": entry.what, "when": entry.when, "who": entry.who, "why": entry.why, **entry.details},
            ensure_ascii=True,
            allow_nan=False,
        )
        try:
            append_line(self.path, line)
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise DataError(f"{self.path}: cannot be added to ({reason}): no move is made") from None

    def entries(self) -> Iterator[Entry]:
        """Yield all events."""
        try:
            text = self.path.read_text(encoding="utf-8", errors="replace")
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise DataError(f"{self.path}: cannot be read ({reason}); name another folder") from None
        lines = text.split("\n")
        if len(lines) > MOST_ENTRIES:
            raise DataError(
                refuse(f"{self.path}: lines", len(lines), f"at most {MOST_ENTRIES}", "begin anew")
            )
        self.torn = []
        for number, line in enumerate(lines, 1):
            if not line.strip():
                continue
            if not line.rstrip().endswith("}") or number == len(lines):
                self.torn.append(number)  # cut off: nothing was done upon it
                continue
            yield self._read(number, line)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Hold the file's lock."""
        with locked(self.path):
            yield

    def _read(self, number: int, line: str) -> Entry:
        place = f"{self.path}: line {number}"
        try:
            found = json.loads(line) if len(line) <= LONGEST else None
        except ValueError:
            found = None
        if not isinstance(found, dict):
            raise DataError(refuse(place, line[:40], "an event in JSON", "restore the file from its copy"))
        missing = [name for name in ("what", "when", "who", "why") if not isinstance(found.get(name), str)]
        if missing:
            raise DataError(
                refuse(f"{place}: {missing[0]}", found.get(missing[0]), "text", "restore the file")
            )
        if found["what"] not in KINDS:
            raise DataError(refuse(f"{place}: what", found["what"], f"one of {', '.join(KINDS)}"))
        what, when, who, why = (found.pop(name) for name in ("what", "when", "who", "why"))
        return Entry(what, when, who, why, found)
