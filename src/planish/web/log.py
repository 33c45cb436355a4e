"""The log: who signed in, failed to, ran, deleted and approved what, in a book that shows changes; and approvals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planish.web.book import Book, Read

KINDS = (
    "signed in",
    "sign-in failed",
    "sign-ins refused",
    "signed out",
    "password changed",
    "password change failed",
    "person added",
    "person changed",
    "person removed",
    "file deleted",
    "job stopped",
    "job deleted",
    "run",
    "approved",
    "note",
)


class Log:
    """The log of one data folder. The server and the command write the same one."""

    def __init__(self, folder: Path) -> None:
        self.book = Book(folder / "log.jsonl")

    def note(self, what: str, person: str = "", id: str = "", address: str = "", **more: Any) -> None:
        """Write down what happened: one of `KINDS`, by whom, from where.

        Raises
        ------
        NotWritten
            Where the disk does not take it.
        """
        assert what in KINDS, what
        told = {"what": what, "person": person, "id": id, "address": address, **more}
        self.book.add({key: value for key, value in told.items() if value != ""})

    def read(self, last: int) -> tuple[list[dict[str, Any]], Read]:
        """Return the last entries (0: all), the oldest first, and the whole book."""
        found = self.book.read()
        return found.entries[-last:], found


class Approvals(Book):
    """The book of approvals."""

    def approve(self, person: str, id: str, digest: str, title: str, note: str) -> dict[str, Any]:
        """Write an approval down and return it."""
        return self.add({"person": person, "id": id, "setup": digest, "title": title, "note": note})
