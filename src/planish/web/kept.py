"""Jobs on disk: a folder each with ``job.json``, what was found, and last of all a list of it.

A folder whose list is there and agrees with its files holds a whole answer, whatever its ``job.json`` still says.
"""

from __future__ import annotations

import contextlib
import json
import logging
import re
import shutil
import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from planish.engine.files import write_whole
from planish.errors import DataError

ID = re.compile(r"[0-9a-f]{16}")
WHOLE = "whole.json"
TOLD = "job.json"
_LOG = logging.getLogger(__name__)


@dataclass(eq=False)
class Job:
    """One job as the page sees it. ``state``: waiting, running, done, failed, stopped, or cleared (to make room)."""

    id: str
    kind: str
    title: str
    owner: str
    state: str = "waiting"
    share: float = 0.0
    message: str = ""
    made: float = field(default_factory=time.time)
    ended: float | None = None
    size: int = 0  # [bytes] on disk

    @property
    def open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in ("waiting", "running")

    def told(self) -> dict[str, Any]:
        """Return the job as plain data."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def write_marker(folder: Path) -> None:
    """Write down that the answer in a folder is whole: names and sizes of its files."""
    files = {path.name: path.stat().st_size for path in _found(folder)}
    write_whole(folder / WHOLE, json.dumps({"ended": time.time(), "files": files}), mode=0o600)


def marked_whole(folder: Path) -> float | None:
    """Return when the answer in a folder was whole, None if it is not."""
    try:
        marker = json.loads((folder / WHOLE).read_text())
        files = {str(name): int(size) for name, size in marker["files"].items()}
        ended = float(marker["ended"])
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None
    there = {path.name: path.stat().st_size for path in _found(folder)}
    return ended if files and all(there.get(name) == size for name, size in files.items()) else None


def keep(folder: Path, job: Job) -> None:
    """Write a job down.

    Raises
    ------
    DataError
        Where it cannot be written.
    """
    try:
        write_whole(folder / TOLD, json.dumps(job.told()), mode=0o600)
    except OSError as error:
        _LOG.exception("job %s", job.id)
        raise DataError(f"job {job.id}: cannot be written down ({error.strerror or error})") from None


def sweep(folder: Path) -> None:
    """Take away what a job found or half wrote; that there was a job stays written."""
    for path in folder.iterdir() if folder.is_dir() else ():
        if path.name == TOLD:
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                path.unlink()


def size(folder: Path) -> int:
    """Return how much a job's answer takes [bytes]."""
    return sum(path.stat().st_size for path in _found(folder))


def _found(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    own = (TOLD, WHOLE)
    return [p for p in folder.iterdir() if p.is_file() and p.name not in own and not p.name.startswith(".")]


def read_all(folder: Path) -> list[Job]:
    """Return the jobs of a server that ran before, and put right what its end left open.

    What was whole is done, what was cut off has failed and its half-written files are swept. A folder
    without a job in it is taken away.
    """
    jobs = []
    for place in sorted(folder.iterdir()) if folder.is_dir() else ():
        if not place.is_dir() or not ID.fullmatch(place.name):
            continue
        if not (place / TOLD).is_file():
            shutil.rmtree(place, ignore_errors=True)
            continue
        try:
            told = json.loads((place / TOLD).read_text())
            job = Job(**{name: told[name] for name in Job.__dataclass_fields__ if name in told})
        except (OSError, ValueError, TypeError):
            _LOG.warning("%s: cannot be read as a job; left as it is", place / TOLD)
            continue
        _put_right(place, job)
        jobs.append(job)
    return jobs


def _put_right(place: Path, job: Job) -> None:
    before = job.told()
    if job.open:
        ended = marked_whole(place)
        if ended is not None:
            job.state, job.share, job.message, job.ended = "done", 1.0, "", ended
        else:
            job.message = f"the server was stopped while this {'ran' if job.state == 'running' else 'waited'}"
            job.state, job.ended = "failed", time.time()
    if job.state != "done":
        sweep(place)
    job.size = size(place)
    if job.told() != before:
        with contextlib.suppress(DataError):  # logged; it is found again the next time
            keep(place, job)


def to_clear(jobs: Iterable[Job], most: int) -> list[Job]:
    """Return whose answers go, in order, so that all that are kept take at most ``most`` bytes.

    The person who holds most gives first, their oldest first.
    """
    held: dict[str, list[Job]] = defaultdict(list)
    for job in sorted(jobs, key=lambda job: job.made):
        if not job.open and job.size:
            held[job.owner].append(job)
    sizes = {owner: sum(job.size for job in theirs) for owner, theirs in held.items()}
    going = []
    while sum(sizes.values()) > most:
        owner = max(sizes, key=lambda name: sizes[name])
        job = held[owner].pop(0)
        sizes[owner] -= job.size
        going.append(job)
    return going
