"""A pool of worker processes, each watched by a thread of its own: one dies, only its piece of work is lost."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import Counter
from concurrent.futures import Future
from dataclasses import dataclass, field

from planish.errors import DataError
from planish.web.child import Child, CutOff, NotWantedError
from planish.web.fair import FairQueue
from planish.web.inside import READY, serve
from planish.web.limits import GB, START, Limits, resident

MOST_WAITING = 200  # questions of one person
GRACE = 2.0  # [s] that work which nobody wants any more may go on: a new worker costs as much
STARTS = 3  # failures one after the other before questions are refused
GROWN = 0.6  # of the memory limit: a worker that still holds so much between two answers is made anew
_STARTING = Limits(START, 4 * GB)


@dataclass(eq=False)
class Task:
    """One question on its way. Its future gets the pickled answer, or a CutOff, or is cancelled."""

    module: str
    name: str
    arguments: tuple[object, ...]
    answer: Future[bytes] = field(default_factory=Future)
    wanted: bool = True


class Pool:
    """Up to ``size`` workers, started when there is work for them and then kept.

    Parameters
    ----------
    size
        How many workers at most.
    limits
        Of time and memory for each question.
    warm
        Module and name of a function that loads what answers need.
    niceness
        How far these workers stand back from others.
    each
        How many workers one person's questions may hold at a time; all without it.
    """

    def __init__(
        self,
        size: int,
        limits: Limits,
        warm: tuple[str, str] | None = None,
        niceness: int = 0,
        each: int | None = None,
        grace: float = GRACE,
    ) -> None:
        self.size, self.limits, self.warm, self.niceness = size, limits, warm, niceness
        self.each = size if each is None else each
        self.grace = grace
        self.ready = threading.Event()
        self._queue: FairQueue[Task] = FairQueue()
        self._free = threading.Condition()
        self._busy: Counter[str] = Counter()
        self._children: set[Child] = set()
        self._threads: list[threading.Thread] = []
        self._idle = self._loading = 0
        self._stopped = False

    def grow(self, count: int) -> None:
        """Start workers until there are ``count``, at most ``size``; returns at once."""
        with self._free:
            self._grow(count)

    def _grow(self, count: int) -> None:
        while len(self._threads) < min(count, self.size) and not self._stopped:
            thread = threading.Thread(target=self._work, daemon=True, name="worker")
            self._threads.append(thread)
            self._loading += 1
            thread.start()

    def _grow_for_queue(self) -> None:
        """Start one more worker if some wait for one; never two at a time, they would load at half the speed."""
        if not self._loading and self._idle < len(self._queue):
            self._grow(len(self._threads) + 1)

    def put(self, owner: str, task: Task) -> None:
        """Let a question wait for its owner's turn.

        Raises
        ------
        DataError
            Where this person has too many waiting, or the server stops.
        """
        with self._free:
            if self._stopped:
                raise DataError("the server is stopping")
            if self._queue.waiting(owner) >= MOST_WAITING:
                raise DataError(f"{MOST_WAITING} questions of yours wait already: wait for their answers")
            if task.answer.running() or task.answer.done():
                return  # somebody else's question, which this one shares
            self._queue.put(owner, task)
            self._grow_for_queue()
            self._free.notify()

    def drop(self, task: Task) -> None:
        """Give up a question: one that waits never starts, one at work is ended unless it is nearly done."""
        with self._free:
            task.wanted = False
            self._queue.drop(task)
        task.answer.cancel()

    def stop(self) -> None:
        """End all workers, also those at work: what they were asked for, nobody will hear."""
        with self._free:
            self._stopped = True
            children = list(self._children)
            self._free.notify_all()
        for child in children:
            child.process.kill()
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join(5.0)
        while (waiting := self._queue.take()) is not None:
            waiting[1].answer.cancel()

    def _work(self) -> None:
        """Keep one worker, and give it one question after the other."""
        child = self._started()
        with self._free:
            self._loading -= 1
            self._grow_for_queue()
        failures = 0
        while not self._stopped:
            if child is None:
                child = self._started()
                failures = 0 if child is not None else failures + 1
                if child is None and failures < STARTS:
                    time.sleep(0.1 * failures)
                    continue
            taken = self._take()
            if taken is None:
                break
            owner, task = taken
            try:
                child = self._answer(child, task)
            finally:
                with self._free:
                    self._busy[owner] -= 1
                    self._free.notify_all()
        if child is not None:
            self._end(child)

    def _started(self) -> Child | None:
        try:
            child = Child(serve, (self.warm, self.niceness, self.limits.memory))
        except OSError:  # no more processes or memory
            return None
        with self._free:
            self._children.add(child)
        with contextlib.suppress(CutOff, NotWantedError):
            if child.hear(_STARTING, time.monotonic(), lambda: not self._stopped) == READY:
                self.ready.set()
                return child
        self._end(child)
        return None

    def _end(self, child: Child) -> None:
        child.kill()
        with self._free:
            self._children.discard(child)

    def _take(self) -> tuple[str, Task] | None:
        with self._free:
            self._idle += 1
            try:
                while not self._stopped:
                    taken = self._queue.take(lambda owner: self._busy[owner] < self.each)
                    if taken is None:
                        self._free.wait()
                        continue
                    owner, task = taken
                    if task.wanted and task.answer.set_running_or_notify_cancel():
                        self._queue.drop(task)  # it may wait for several people
                        self._busy[owner] += 1
                        return owner, task
                return None
            finally:
                self._idle -= 1

    def _answer(self, child: Child | None, task: Task) -> Child | None:
        """Have a question answered; return the worker if it can go on."""
        question = (task.module, task.name, task.arguments)
        if child is not None:
            try:
                child.send(question)
            except OSError:  # it died while it had nothing to do
                self._end(child)
                child = None
        if child is None:
            child = self._started()
            with contextlib.suppress(OSError):
                if child is not None:
                    child.send(question)
        if child is None:
            task.answer.set_exception(CutOff("the server cannot start a worker now; try again in a minute"))
            return None
        began = time.monotonic()

        def wanted() -> bool:
            return not self._stopped and (task.wanted or time.monotonic() - began < self.grace)

        try:
            task.answer.set_result(child.hear(self.limits, began, wanted))
        except CutOff as error:
            self._end(child)
            task.answer.set_exception(error)
            return None
        except NotWantedError:
            self._end(child)
            task.answer.set_exception(CutOff("nobody waits for this any more"))
            return None
        held = resident(child.process.pid or 0)
        if held is not None and held > GROWN * self.limits.memory:
            self._end(child)
            return None
        return child
