"""What one piece of work may take, and how many run side by side on this machine."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

GB = 1_000_000_000
LOOK = 0.05  # [s] between two looks at how much memory a process holds
START = 600.0  # [s] that a worker may take to load the model; the first one ever compiles it
MOST_WORKERS = 8
PER_WORKER = 2 * GB  # of the machine's memory for each worker
LARGEST_ANSWER = 64 * 1024 * 1024  # [bytes]


@dataclass(frozen=True, slots=True)
class Limits:
    """Time [s] and memory [bytes] that one piece of work may take."""

    seconds: float
    memory: int

    def took_long(self) -> str:
        """Return the words for work that was ended after its time."""
        return f"took longer than {self.seconds:g} s; ask for less"

    def took_much(self) -> str:
        """Return the words for work that was ended over its memory."""
        return f"needed more than {self.memory / GB:.2g} GB of memory; ask for less"


QUICK = Limits(60.0, GB)  # an answer that somebody waits for
READING = QUICK  # the part of a long job that reads somebody's own file


def job_limits() -> Limits:
    """Return what a long job may take: ten minutes, and an eighth of the memory but 1 to 3 GB."""
    return Limits(600.0, min(max(GB, machine_memory() // 8), 3 * GB))


def resident(pid: int) -> int | None:
    """Return the memory [bytes] that a process holds, None where the system does not say (or it is gone)."""
    pages = _pages(pid)
    return None if pages is None else pages[1] * os.sysconf("SC_PAGE_SIZE")


def data_size(pid: int) -> int | None:
    """Return the size [bytes] that RLIMIT_DATA is held against: private memory that can be written, used or not."""
    pages = _pages(pid)
    return None if pages is None else pages[5] * os.sysconf("SC_PAGE_SIZE")


def _pages(pid: int) -> list[int] | None:
    try:
        return [int(word) for word in Path(f"/proc/{pid}/statm").read_text().split()]
    except (OSError, ValueError):
        return None


def machine_memory() -> int:
    """Return the memory of this machine [bytes]; 4 GB where it does not say."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (ValueError, OSError, AttributeError):
        return 4 * GB


def side_by_side() -> int:
    """Return how many pieces of slow work run at once: one a core where memory allows, at least 2, at most 8."""
    return max(2, min(os.cpu_count() or 1, machine_memory() // PER_WORKER, MOST_WORKERS))
