"""Many independent pieces of work at once, on Dask: threads or processes here, a cluster by its address.

Results come back in the order of the pieces and do not depend on how many
workers there are, because a piece knows nothing of the others.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from planish.engine.parent import end_with
from planish.errors import PlanishError, refuse

Piece = TypeVar("Piece")
Answer = TypeVar("Answer")
KEPT = 600  # [s] that idle processes wait for more work
BATCHES = 4  # a worker: few enough that what all pieces share travels seldom, enough to end together
Progress = Callable[[int, int], None]


class CancelledError(PlanishError):
    """The work was stopped from outside before it was done."""


class Cancel:
    """A switch that stops work between two pieces; safe to throw from any thread."""

    def __init__(self) -> None:
        self._event = threading.Event()

    def stop(self) -> None:
        """Ask for the stop."""
        self._event.set()

    @property
    def asked(self) -> bool:
        """Whether the stop was asked for."""
        return self._event.is_set()


@dataclass(frozen=True, slots=True)
class _Course:
    """How far the work is, for who is told and who may stop it."""

    pieces: int
    progress: Progress | None
    cancel: Cancel | None
    each: Callable[[int, Any], None] | None

    def heed(self, done: int) -> None:
        """Raise where the stop was asked for in time."""
        if self.cancel is not None and self.cancel.asked and done < self.pieces:
            raise CancelledError(f"stopped after {done} of {self.pieces} pieces")

    def hand(self, index: int, answer: Any) -> None:
        """Give an answer to who wants each as it comes."""
        if self.each is not None:
            self.each(index, answer)

    def tell(self, done: int) -> None:
        if self.progress is not None:
            self.progress(done, self.pieces)


@contextmanager
def stopped_by_interrupt() -> Iterator[Cancel]:
    """Give a switch that the first Ctrl-C throws; the second one interrupts as usual.

    Only the main thread may ask for signals: elsewhere the switch is one that nobody throws.
    """
    cancel = Cancel()
    if threading.current_thread() is not threading.main_thread():
        yield cancel
        return
    before = signal.getsignal(signal.SIGINT)

    def thrown(*_: object) -> None:
        cancel.stop()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, thrown)
    try:
        yield cancel
    finally:
        signal.signal(signal.SIGINT, before)


def run_all(
    work: Callable[[Piece], Answer],
    pieces: Iterable[Piece],
    *,
    workers: int | None = None,
    processes: bool = False,
    address: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    each: Callable[[int, Answer], None] | None = None,
) -> list[Answer]:
    """Return ``[work(piece) for piece in pieces]``, computed side by side.

    Parameters
    ----------
    work
        A function of one piece. On a cluster it and the pieces are pickled.
    pieces
        What it is called with.
    workers
        Threads or processes here (default: all cores). Work on large arrays lets go of the interpreter
        lock, so threads serve it; work of many small steps needs processes.
    processes
        Use processes, which are kept for the next call and end with this one; ``work`` and the pieces are pickled, in few
        batches. Progress is then told, and a stop obeyed, between batches.
    address
        Of a Dask scheduler ("tcp://host:8786"), which then decides on workers.
    progress
        Called with (done, all) after each piece, from one thread at a time.
    cancel
        Pieces not begun when it is thrown are not done.
    each
        Called with (place, answer) of each piece as soon as its answer is there, in whatever order they come, from
        one thread at a time. Pieces then go to processes one by one: let each be worth the way.

    Returns
    -------
    list[Answer]
        In the order of the pieces.

    Raises
    ------
    CancelledError
        If it was thrown in time.
    PlanishError
        For a bad number of workers, or a cluster that cannot be reached. Whatever ``work`` raises comes
        through as it is.
    """
    todo = list(pieces)
    if workers is not None and workers < 1:
        raise PlanishError(refuse("workers", workers, "1 or more"))
    if not todo:
        return []
    course = _Course(len(todo), progress, cancel, each)
    if address is not None:
        return _on_cluster(work, todo, address, course)
    count = min(workers or os.cpu_count() or 1, len(todo))
    if processes and count > 1:
        return _in_processes(work, todo, count, course)
    return _here(work, todo, count, course)


def _here(
    work: Callable[[Piece], Answer], todo: Sequence[Piece], workers: int, course: _Course
) -> list[Answer]:
    lock = threading.Lock()
    done = 0

    def one(index: int, piece: Piece) -> Answer:
        nonlocal done
        course.heed(done)
        answer = work(piece)
        with lock:
            course.hand(index, answer)
            done += 1
            course.tell(done)
        return answer

    if workers == 1:
        return [one(index, piece) for index, piece in enumerate(todo)]
    import dask

    tasks = [
        dask.delayed(one, pure=False)(i, piece, dask_key_name=f"piece-{i:09d}")
        for i, piece in enumerate(todo)
    ]
    return list(dask.compute(*tasks, scheduler="threads", num_workers=workers, traverse=False))


def _in_processes(
    work: Callable[[Piece], Answer], todo: Sequence[Piece], workers: int, course: _Course
) -> list[Answer]:
    import dask
    from dask.callbacks import Callback
    from joblib.externals.loky import get_reusable_executor

    count = len(todo) if course.each is not None else min(workers * BATCHES, len(todo))
    ends = [len(todo) * (i + 1) // count for i in range(count)]
    batches = [todo[begin:end] for begin, end in zip([0, *ends], ends, strict=False)]
    tasks = [
        dask.delayed(_each, pure=False)(work, batch, dask_key_name=f"batch-{i:09d}")
        for i, batch in enumerate(batches)
    ]
    done = 0

    def told(key: str, answers: list[Answer], *_rest: Any) -> None:
        nonlocal done
        if not str(key).startswith("batch-"):
            return
        batch = int(str(key).removeprefix("batch-"))
        for place, answer in enumerate(answers, start=ends[batch] - len(batches[batch])):
            course.hand(place, answer)
        done += len(batches[batch])
        course.tell(done)
        course.heed(done)

    course.heed(0)
    with _interrupts_held_back():  # processes are started with the first piece
        pool = get_reusable_executor(
            max_workers=workers, timeout=KEPT, initializer=end_with, initargs=(os.getpid(),)
        )
        pool.submit(len, ()).result()
    try:
        with Callback(posttask=told):
            answers = dask.compute(
                *tasks, scheduler="processes", pool=pool, chunksize=1, traverse=False, optimize_graph=False
            )
    except (CancelledError, KeyboardInterrupt):
        pool.shutdown(wait=False, kill_workers=True)  # what they are at, nobody waits for
        raise
    return [answer for batch in answers for answer in batch]


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Start processes that Ctrl-C passes by: it reaches all of a terminal, and the one that gave out the work decides.

    A process is born with the signals held back that its parent holds back. What comes meanwhile comes after.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    from joblib.externals.loky.backend import resource_tracker as loky_tracker

    for tracker in (resource_tracker, loky_tracker):  # these let go of held signals when they start
        tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _each(work: Callable[[Piece], Answer], batch: Sequence[Piece]) -> list[Answer]:
    return [work(piece) for piece in batch]


def _on_cluster(
    work: Callable[[Piece], Answer], todo: Sequence[Piece], address: str, course: _Course
) -> list[Answer]:
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise PlanishError(
            "cluster: the library for it is missing (install planish with the extra [cluster])"
        ) from None
    try:
        client = Client(address, timeout=10, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as exc:
        raise PlanishError(refuse("cluster", address, "a Dask scheduler that answers", str(exc))) from None
    answers: list[Any] = [None] * len(todo)
    with client:
        futures = client.map(work, todo, pure=False)
        index = {future.key: i for i, future in enumerate(futures)}
        waiting = as_completed(futures, loop=client.loop)
        for done, future in enumerate(waiting, start=1):
            place = index[future.key]
            answers[place] = future.result()
            course.hand(place, answers[place])
            course.tell(done)
            try:
                course.heed(done)
            except CancelledError:
                client.cancel(futures)
                raise
    return answers
