"""Long work in processes of its own: progress, cancelling, and results that outlive the page and the server."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import re
import secrets
import shutil
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, PlanishError

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

AT_ONCE = 1  # running, in all
PER_PERSON = 4  # waiting or running
KEPT = 60
LONGEST = 3600.0  # [s]
_ID = re.compile(r"[0-9a-f]{16}")


@dataclass
class Job:
    """One job as the page sees it. ``state``: waiting, running, done, failed, stopped."""

    id: str
    kind: str
    title: str
    owner: str
    state: str = "waiting"
    share: float = 0.0
    message: str = ""
    made: float = field(default_factory=time.time)
    ended: float | None = None
    process: Any = field(default=None, repr=False)

    def told(self) -> dict[str, Any]:
        """Return the job as plain data."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__ if name != "process"}


def work(kind: str, options: dict[str, Any], folder: str, channel: Connection) -> None:
    """Run one job; what it reports goes through ``channel`` as (kind of message, value)."""
    from planish.web.depth import JOBS
    from planish.web.workers import _quiet

    _quiet()

    def tell(share: float) -> None:
        with contextlib.suppress(OSError):
            channel.send(("share", share))

    try:
        JOBS[kind](options, Path(folder), tell)
        channel.send(("done", ""))
    except PlanishError as error:
        channel.send(("failed", str(error)))
    except (ArithmeticError, ValueError, MemoryError, TypeError) as error:
        channel.send(("failed", f"these values have no answer together ({type(error).__name__}: {error})"))


class Jobs:
    """All jobs of this server, kept under ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._jobs: dict[str, Job] = {}
        self._queue: list[tuple[str, dict[str, Any]]] = []
        self._lock = threading.Lock()
        self._running: set[str] = set()
        self._read_kept()

    def start(self, kind: str, title: str, owner: str, options: dict[str, Any]) -> Job:
        """Queue a job.

        Raises
        ------
        DataError
            For an unknown kind, or where this person has too many waiting.
        """
        if kind not in ("lot", "die"):
            raise DataError(f"kind = {kind!r}: must be lot or die")
        with self._lock:
            open_now = sum(
                j.owner == owner and j.state in ("waiting", "running") for j in self._jobs.values()
            )
            if open_now >= PER_PERSON:
                raise DataError(f"jobs: {open_now} of yours are waiting or running: wait for one or stop one")
            job = Job(secrets.token_hex(8), kind, title[:80], owner)
            self._jobs[job.id] = job
            self._queue.append((job.id, options))
        self._keep(job)
        self._next()
        return job

    def get(self, job_id: str, owner: str | None = None) -> Job:
        """Return a job; with ``owner``, only that person's."""
        job = self._jobs.get(job_id) if _ID.fullmatch(job_id) else None
        if job is None or (owner is not None and job.owner != owner):
            raise DataError(f"job = {job_id!r}: no such job (it may have been cleared)")
        return job

    def of(self, owner: str) -> list[Job]:
        """Return the jobs of one person, the newest first."""
        mine = [job for job in self._jobs.values() if job.owner == owner]
        return sorted(mine, key=lambda job: -job.made)

    def place(self, job: Job) -> Path:
        """Return the folder of a job's result."""
        return self.folder / job.id

    def stop(self, job: Job) -> None:
        """Stop a job that waits or runs; take away one that has ended."""
        if job.state in ("waiting", "running"):
            process = job.process
            self._end(job, "stopped", "")
            if process is not None and process.is_alive():
                process.terminate()
        else:
            self._forget(job)

    def close(self) -> None:
        """Stop everything that runs."""
        for job in list(self._jobs.values()):
            if job.state in ("waiting", "running"):
                self.stop(job)

    def _next(self) -> None:
        with self._lock:
            if len(self._running) >= AT_ONCE or not self._queue:
                return
            job_id, options = self._queue.pop(0)
            job = self._jobs.get(job_id)
            if job is None or job.state != "waiting":
                threading.Thread(target=self._next, daemon=True).start()
                return
            self._running.add(job_id)
            job.state = "running"
        threading.Thread(target=self._watch, args=(job, options), daemon=True).start()

    def _watch(self, job: Job, options: dict[str, Any]) -> None:
        context = multiprocessing.get_context("spawn")
        mine, theirs = context.Pipe(duplex=False)
        place = self.place(job)
        place.mkdir(parents=True, exist_ok=True)
        process = context.Process(target=work, args=(job.kind, options, str(place), theirs), daemon=True)
        try:
            process.start()
            job.process = process
            theirs.close()
            self._listen(job, mine, process)
        finally:
            process.join(timeout=5)
            job.process = None
            with self._lock:
                self._running.discard(job.id)
            self._next()

    def _listen(self, job: Job, channel: Connection, process: Any) -> None:
        began = time.monotonic()
        while job.state == "running":
            try:
                if not channel.poll(0.25):
                    if time.monotonic() - began > LONGEST:
                        process.terminate()
                        self._end(job, "failed", "took longer than an hour; ask for less")
                    continue
                kind, value = channel.recv()
            except (EOFError, OSError):
                if job.state == "running":
                    self._end(job, "failed", "the process ended early; it may have run out of memory")
                return
            if kind == "share":
                job.share = min(max(float(value), 0.0), 1.0)
            elif kind == "done":
                job.share = 1.0
                self._end(job, "done", "")
            else:
                self._end(job, "failed", str(value))

    def _end(self, job: Job, state: str, message: str) -> None:
        job.state, job.message, job.ended = state, message, time.time()
        self._keep(job)
        ended = sorted((j for j in self._jobs.values() if j.ended), key=lambda j: j.made)
        for old in ended[:-KEPT]:
            self._forget(old)

    def _forget(self, job: Job) -> None:
        self._jobs.pop(job.id, None)
        shutil.rmtree(self.place(job), ignore_errors=True)

    def _keep(self, job: Job) -> None:
        from planish.engine.files import write_whole

        with contextlib.suppress(OSError):
            write_whole(self.place(job) / "job.json", json.dumps(job.told()).encode())

    def _read_kept(self) -> None:
        for path in sorted(self.folder.glob("*/job.json")):
            try:
                told = json.loads(path.read_text())
                job = Job(**told)
            except (OSError, ValueError, TypeError):
                continue
            if job.state in ("waiting", "running"):
                job.state, job.message = "failed", "the server was stopped while this ran"
            self._jobs[job.id] = job
