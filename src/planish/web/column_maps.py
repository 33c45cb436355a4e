"""Column maps that people keep: how the gauge writes whose files they brought. Each is its person's own.

A map lies in a file of its own in its person's folder. One that was made while looking at a file knows that file's column
names, and another file with the same names is read by it.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import threading
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from planish.errors import DataError
from planish.web.private import private_folder, write_private
from planish.web.uploads import home_of

PER_PERSON = 60
MOST_BYTES = 256 * 1024  # of one, with the column names that it was made for
_ID = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True, slots=True)
class KeptMap:
    """One column map. ``header`` is empty where it was brought as a file; ``told`` is as its TOML file has it."""

    id: str
    name: str
    made: float
    told: dict[str, Any]
    header: list[str]


class ColumnMaps:
    """The column maps of everyone, under ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()

    def home(self, owner: str) -> Path:
        """Return the folder of a person's maps."""
        return home_of(self.folder, owner)

    def of(self, owner: str) -> list[KeptMap]:
        """Return a person's maps, the newest first."""
        found = []
        for path in self.home(owner).glob("[!.]*.json"):
            try:
                found.append(KeptMap(**json.loads(path.read_text())))
            except (OSError, ValueError, TypeError):
                continue
        return sorted(found, key=lambda one: (-one.made, one.id))

    def get(self, owner: str, map_id: str) -> KeptMap:
        """Return a person's map.

        Raises
        ------
        DataError
            If this person has no such map.
        """
        for one in self.of(owner) if _ID.fullmatch(map_id) else ():
            if one.id == map_id:
                return one
        raise DataError(f"column map = {map_id[:40]!r}: no such column map of yours (bring it again)")

    def keep(
        self, owner: str, name: str, told: dict[str, Any], header: list[str]
    ) -> tuple[KeptMap, list[str]]:
        """Keep a map in place of the one for the same column names; the oldest go where there are too many, and are named.

        Raises
        ------
        DataError
            Where it is too large.
        """
        made = KeptMap(secrets.token_hex(8), name, time.time(), told, header)
        content = json.dumps(asdict(made)).encode()
        if len(content) > MOST_BYTES:
            raise DataError(
                f"column map {name!r}: too large with its column names to be kept (at most {MOST_BYTES // 1024} KiB)"
            )
        notes = []
        with self._lock:
            for old in self.of(owner):
                if header and old.header == header:
                    self._path(owner, old.id).unlink(missing_ok=True)
            private_folder(self.folder)
            write_private(self._path(owner, made.id), content)
            for old in self.of(owner)[PER_PERSON:]:
                self._path(owner, old.id).unlink(missing_ok=True)
                notes.append(f"column map {old.name} was taken away: one person may keep {PER_PERSON}")
        return made, notes

    def forget(self, owner: str, map_id: str) -> None:
        """Take a map away.

        Raises
        ------
        DataError
            If this person has no such map.
        """
        self._path(owner, self.get(owner, map_id).id).unlink(missing_ok=True)

    def clear(self, owner: str) -> None:
        """Take all maps of a person away."""
        if self.home(owner).exists():
            shutil.rmtree(self.home(owner))

    def _path(self, owner: str, map_id: str) -> Path:
        return self.home(owner) / f"{map_id}.json"
