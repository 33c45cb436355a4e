"""What lies in the data folder for each person: moved from name to id, and deleted when the person leaves.

It works on the folder alone, so the command can do it with the server running or not; a server that runs
looks every second who is still there (`Watch`).
"""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.web.private import write_private

if TYPE_CHECKING:
    from planish.web.accounts import Account, Accounts
    from planish.web.jobs import Jobs
    from planish.web.uploads import Uploads

MAPS = "columns"  # folder of the column maps
LINGER = 60.0  # [s] that a running server goes on clearing: what ran when the person left may still write


def settle(folder: Path, accounts: Accounts) -> list[str]:
    """Bring a folder in order before it is used: name to id where that is due, and leavers' data away.

    Returns notes of what was done.
    """
    notes = []
    for account in accounts.people().values():
        if account.unmoved:
            files, jobs = _move(folder, account)
            accounts.moved(account.id)
            if files or jobs:
                notes.append(
                    f"{account.name}: {files} files and {jobs} jobs now lie under an id of their own"
                )
    for person, name in accounts.leaving().items():
        clear(folder, person)
        accounts.left(person)
        notes.append(f"{name}: has left; what was still there of theirs is deleted")
    return notes


def _move(folder: Path, account: Account) -> tuple[int, int]:
    from planish.web.uploads import home_of

    old, new = home_of(folder / "files", account.name), home_of(folder / "files", account.id)
    files = 0
    if old.is_dir() and not new.exists():
        files = sum(1 for _ in old.glob("*/about.json"))
        old.rename(new)
    jobs = 0
    for path, told in _jobs(folder):
        if told.get("owner") == account.name:
            write_private(path, json.dumps({**told, "owner": account.id}).encode())
            jobs += 1
    return files, jobs


def _jobs(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    found = []
    for path in sorted((folder / "jobs").glob("**/job.json")):
        try:
            told = json.loads(path.read_text())
        except (OSError, ValueError):
            continue
        if isinstance(told, dict):
            found.append((path, told))
    return found


def clear(folder: Path, person: str) -> tuple[int, int]:
    """Delete files, column maps and jobs of a person; return how many files and jobs there were."""
    from planish.web.column_maps import ColumnMaps
    from planish.web.uploads import home_of

    ColumnMaps(folder / MAPS).clear(person)
    home = home_of(folder / "files", person)
    files = sum(1 for _ in home.glob("*/about.json"))
    if home.exists():
        shutil.rmtree(home)
    jobs = [path for path, told in _jobs(folder) if told.get("owner") == person]
    for path in jobs:
        shutil.rmtree(path.parent, ignore_errors=True)
    return files, len(jobs)


def remove(folder: Path, name: str) -> tuple[int, int]:
    """Take a person out: first their access, then sessions, files, jobs; returns how many files and jobs.

    Killed on the way, the rest is done by the next start of a server or the next command.

    Raises
    ------
    DataError
        If there is no such person.
    """
    from planish.web.accounts import Accounts
    from planish.web.log import Log
    from planish.web.sessions import Sessions

    accounts = Accounts(folder / "people.json")
    settle(folder, accounts)
    gone = accounts.remove(name)
    sessions = Sessions(folder / "sessions.sqlite")
    sessions.end_all(gone.id)
    sessions.close()
    files, jobs = clear(folder, gone.id)
    accounts.left(gone.id)
    Log(folder).note("person removed", name, gone.id, files=files, jobs=jobs)
    return files, jobs


class Watch:
    """Notices in a running server that somebody was taken out, stops their jobs and clears what still comes."""

    def __init__(self, accounts: Accounts, jobs: Jobs, uploads: Uploads) -> None:
        self._accounts, self._jobs, self._uploads = accounts, jobs, uploads
        self._here = self._ids()
        self._gone: dict[str, float] = {}

    def _ids(self) -> set[str]:
        return {account.id for account in self._accounts.people().values()}

    def look(self) -> None:
        """Look once; call it every second or so."""
        here, now = self._ids(), time.monotonic()
        self._gone |= dict.fromkeys(self._here - here, now + LINGER)
        self._here = here
        for person, until in list(self._gone.items()):
            for job in self._jobs.of(person):
                self._jobs.stop(job)  # one that runs is stopped now and cleared the next time
            data = self._uploads.folder.parent
            if (
                self._uploads.home(person).exists()
                or (data / MAPS / self._uploads.home(person).name).exists()
            ):
                clear(data, person)
            if now > until:
                del self._gone[person]
