"""Long work in processes of its own: progress, cancelling, and results that outlive the page and the server."""

from __future__ import annotations

import contextlib
import json
import secrets
import shutil
import threading
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, PlanishError
from planish.web import kept
from planish.web.child import Child, CutOff, NotWantedError
from planish.web.costs import check_job
from planish.web.fair import FairQueue
from planish.web.kept import Job
from planish.web.limits import GB, READING, Limits, job_limits, side_by_side

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

__all__ = ["Job", "Jobs", "work"]

KINDS = ("lot", "die", "trade-off", "tune", "fit")
PER_PERSON = 4  # waiting or running
KEPT = 60  # ended ones of one person
DISK = 4 * GB  # [bytes] that all kept answers may take
READ = 0.2  # the share at which a die's job has read its layout
NICENESS = 5


def work(channel: Connection, kind: str, options: dict[str, Any], folder: str, memory: int) -> None:
    """Run one job; what it reports goes through ``channel`` as JSON: (kind of message, value)."""
    from planish.web.depth import JOBS
    from planish.web.inside import bound_memory, settle

    settle(NICENESS)
    bound_memory(memory)

    def say(what: str, value: object) -> None:
        with contextlib.suppress(OSError):
            channel.send_bytes(json.dumps([what, value]).encode())

    try:
        JOBS[kind](options, Path(folder), lambda share: say("share", share))
        kept.write_marker(Path(folder))
        say("done", "")
    except PlanishError as error:
        say("failed", str(error))
    except MemoryError:
        say("failed", Limits(0, memory).took_much())
    except OSError as error:
        say("failed", f"its answer could not be written ({error.strerror or error})")
    except (ArithmeticError, ValueError, TypeError) as error:
        say("failed", f"these values have no answer together ({type(error).__name__}: {error})")


class Jobs:
    """All jobs of this server, kept under ``folder``.

    Parameters
    ----------
    at_once
        How many run side by side; as many as slow work without it.
    limits
        Of time and memory for each.
    disk
        How much [bytes] all kept answers may take.
    team
        Keep one place free of any one person's jobs.
    """

    def __init__(
        self,
        folder: Path,
        *,
        at_once: int | None = None,
        limits: Limits | None = None,
        disk: int = DISK,
        team: bool = False,
    ) -> None:
        self.folder = folder
        self.at_once = side_by_side() if at_once is None else at_once
        self.limits = job_limits() if limits is None else limits
        self.disk = disk
        self.each = max(1, self.at_once - 1) if team else self.at_once
        self._queue: FairQueue[Job] = FairQueue()
        self._options: dict[str, dict[str, Any]] = {}
        self._lock = threading.RLock()
        self._running: Counter[str] = Counter()
        self._threads: set[threading.Thread] = set()
        self._jobs = {job.id: job for job in kept.read_all(folder)}
        with self._lock:
            self._tidy()

    def start(self, kind: str, title: str, owner: str, options: dict[str, Any]) -> Job:
        """Queue a job.

        Raises
        ------
        DataError
            For an unknown kind, options that cannot end within the limits, where this person has too many
            waiting, or where it cannot be written down.
        """
        if kind not in KINDS:
            raise DataError(f"kind = {kind!r}: must be one of {', '.join(KINDS)}")
        check_job(kind, options, self.limits)
        with self._lock:
            open_now = sum(j.owner == owner and j.open for j in self._jobs.values())
            if open_now >= PER_PERSON:
                raise DataError(f"jobs: {open_now} of yours are waiting or running: wait for one or stop one")
            job = Job(secrets.token_hex(8), kind, title[:80], owner)
            try:
                kept.keep(self.place(job), job)
            except DataError:
                shutil.rmtree(self.place(job), ignore_errors=True)
                raise
            self._jobs[job.id] = job
            self._options[job.id] = options
            self._queue.put(owner, job)
            self._next()
        return job

    def get(self, job_id: str, owner: str | None = None) -> Job:
        """Return a job; with ``owner``, only that person's."""
        job = self._jobs.get(job_id) if kept.ID.fullmatch(job_id) else None
        if job is None or (owner is not None and job.owner != owner):
            raise DataError(f"job = {job_id!r}: no such job (it may have been cleared)")
        return job

    def of(self, owner: str) -> list[Job]:
        """Return the jobs of one person, the newest first."""
        with self._lock:
            mine = [job for job in self._jobs.values() if job.owner == owner]
        return sorted(mine, key=lambda job: -job.made)

    def place(self, job: Job) -> Path:
        """Return the folder of a job's result."""
        return self.folder / job.id

    def stop(self, job: Job, message: str = "") -> None:
        """Stop a job: one that waits never starts, one that runs is ended; take away one that has ended."""
        with self._lock:
            if not job.open:
                self._forget(job)
                return
            if job.state == "waiting":
                self._queue.drop(job)
                del self._options[job.id]
            self._end(job, "stopped", message)

    def close(self) -> None:
        """Stop everything, and wait until it has ended."""
        with self._lock:
            for job in [job for job in self._jobs.values() if job.open]:
                doing = "ran" if job.state == "running" else "waited"
                self.stop(job, f"the server was stopped while this {doing}")
            threads = list(self._threads)
        for thread in threads:
            thread.join(15.0)

    def _next(self) -> None:
        """Start what may start now; the lock is held."""
        while self._running.total() < self.at_once:
            taken = self._queue.take(lambda owner: self._running[owner] < self.each)
            if taken is None:
                return
            owner, job = taken
            options = self._options.pop(job.id)
            job.state = "running"
            self._running[owner] += 1
            thread = threading.Thread(
                target=self._run, args=(job, options), daemon=True, name=f"job {job.id}"
            )
            self._threads.add(thread)
            thread.start()

    def _run(self, job: Job, options: dict[str, Any]) -> None:
        """Run one job to its end; what it half wrote goes before the next one starts."""
        child: Child | None = None
        state, message = "failed", "the server could not run this"  # stays only after a defect of ours
        try:
            self._write_down(job)
            child = Child(work, (job.kind, options, str(self.place(job)), self.limits.memory))
            state, message = self._listen(job, child, own_file=options.get("file") is not None)
        except CutOff as error:
            message = str(error)
        except NotWantedError:
            pass  # stopped, and told so
        except OSError as error:
            message = f"no process can be started now ({error.strerror or error})"
        finally:
            if child is not None:
                child.kill()
            with self._lock:
                if job.state == "running":
                    self._end(job, state, message)
                if job.state != "done":
                    kept.sweep(self.place(job))
                self._running[job.owner] -= 1
                self._threads.discard(threading.current_thread())
                self._next()

    def _listen(self, job: Job, child: Child, own_file: bool) -> tuple[str, str]:
        """Return how the job ended; somebody's own file is read within the limits of quick work."""
        began = time.monotonic()
        while True:
            limits = READING if own_file and job.share < READ else self.limits
            what, value = json.loads(child.hear(limits, began, lambda: job.state == "running"))
            if what != "share":
                return str(what), str(value)
            job.share = min(max(float(value), 0.0), 1.0)

    def _end(self, job: Job, state: str, message: str) -> None:
        """Write down how a job ended; the lock is held."""
        job.state, job.message, job.ended = state, message, time.time()
        if state == "done":
            job.share, job.size = 1.0, kept.size(self.place(job))
        self._write_down(job)
        self._tidy()

    def _write_down(self, job: Job) -> None:
        """Write a job down; where that fails, its message says so."""
        try:
            kept.keep(self.place(job), job)
        except DataError as error:
            lost = f"{error}; it will be lost when the server stops"
            job.message = f"{job.message}; {lost}" if job.message else lost

    def _tidy(self) -> None:
        """Keep the last of each person's jobs, and all answers within the disk they may take; the lock is held."""
        by_owner: dict[str, list[Job]] = {}
        for job in sorted(self._jobs.values(), key=lambda job: job.made):
            if not job.open:
                by_owner.setdefault(job.owner, []).append(job)
        for ended in by_owner.values():
            for old in ended[:-KEPT]:
                self._forget(old)
        for job in kept.to_clear(self._jobs.values(), self.disk):
            kept.sweep(self.place(job))
            job.state, job.size = "cleared", 0
            job.message = f"to make room: the runs of everyone may take {self.disk / GB:g} GB"
            self._write_down(job)

    def _forget(self, job: Job) -> None:
        self._jobs.pop(job.id, None)
        shutil.rmtree(self.place(job), ignore_errors=True)
