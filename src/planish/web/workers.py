"""Worker processes: the fast ones answer the page, slow ones do lots and dies, others read people's own files.

The event loop only waits. Questions are answered in turn by person. One question asked by several people at
once is answered once, and slow answers that depend on nothing but the question are kept for a while.
"""

from __future__ import annotations

import asyncio
import atexit
import hashlib
import json
import pickle
import threading
from collections import OrderedDict
from concurrent.futures import Future
from typing import Any

from planish.errors import PlanishError
from planish.web.inside import call
from planish.web.limits import QUICK, side_by_side
from planish.web.pool import Pool, Task

__all__ = ["Refused", "Workers", "call"]

KEPT = 64 * 1024 * 1024  # [bytes] of slow answers
PAUSE = 2.0  # [s] after the first worker is ready before the others load


class Refused(PlanishError):
    """What was asked cannot be answered; the message says what to do."""


class Workers:
    """The pools, and the answers that are shared.

    Parameters
    ----------
    fast, slow
        How many workers answer the page, and how many do lots and dies (by cores and memory, at least 2).
    team
        Keep one slow worker free of any one person's questions.
    """

    def __init__(self, fast: int = 2, slow: int | None = None, *, team: bool = False) -> None:
        self.fast = fast
        slow = side_by_side() if slow is None else slow
        each = max(1, slow - 1) if team else None
        reading = ("planish.web.own_data", "warm")
        deep = ("planish.web.depth", "warm")
        self.pools = {
            "fast": Pool(fast, QUICK, ("planish.web.answers", "warm")),
            "slow": Pool(slow, QUICK, deep, each=each),
            "files": Pool(2, QUICK, reading, niceness=2, each=1 if team else None),
        }
        self._lock = threading.Lock()
        self._asked: dict[str, _Shared] = {}
        self._newest: dict[tuple[str, str], _Waiter] = {}
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._stopped = threading.Event()

    def start(self) -> None:
        """Start a worker that loads the model, and the others once it has; returns at once.

        They come one after the other because the first answer needs one, and all the cores there are.
        """
        atexit.register(self.stop)
        self.pools["fast"].grow(1)
        threading.Thread(target=self._start_others, daemon=True, name="start").start()

    def _start_others(self) -> None:
        self.pools["fast"].ready.wait()
        if not self._stopped.wait(PAUSE):
            self.pools["fast"].grow(self.fast)
            self.pools["slow"].grow(1)

    async def ask(
        self,
        pool: str,
        name: str,
        *arguments: Any,
        module: str = "planish.web.answers",
        owner: str = "",
        newest: str | None = None,
    ) -> Any:
        """Return the answer of ``module.name(*arguments)`` from a worker.

        Parameters
        ----------
        pool
            "fast", "slow" or "files".
        name, *arguments, module
            What is asked.
        owner
            Who asks; owners take turns.
        newest
            Of an owner's questions with the same word here, only the newest is answered.

        Raises
        ------
        Refused
            Where the input cannot be used, or a newer question came.
        CutOff
            Where the work took too long or too much.
        """
        key = _digest(pool, module, name, arguments)
        written = self._kept_answer(key)
        if written is None:
            waiter = self._join(key, pool, Task(module, name, arguments), owner, newest)
            try:
                written = await asyncio.wrap_future(waiter.answer)
            finally:
                self._leave(waiter)
        done, answer = pickle.loads(written)
        if not done:
            raise Refused(answer)
        if pool == "slow":
            self._keep(key, written)
        return answer

    def stop(self) -> None:
        """End all workers, also those at work: what they were asked for, nobody will hear."""
        self._stopped.set()
        atexit.unregister(self.stop)
        for pool in self.pools.values():
            pool.ready.set()
            pool.stop()

    def _join(self, key: str, pool: str, task: Task, owner: str, newest: str | None) -> _Waiter:
        """Let a question wait, together with others that ask the same."""
        with self._lock:
            shared = self._asked.get(key)
            if shared is None or not shared.task.wanted or shared.task.answer.done():
                shared = _Shared(key, self.pools[pool], task)
                task.answer.add_done_callback(shared.tell)
            waiter = _Waiter(shared)
            shared.pool.put(owner, shared.task)
            shared.waiters.append(waiter)
            self._asked[key] = shared
            older = None
            if newest is not None:
                waiter.word = (owner, newest)
                older = self._newest.get(waiter.word)
                self._newest[waiter.word] = waiter
        if older is not None:
            older.give_up(Refused("a newer question of yours took the place of this one"))
            self._leave(older)
        if shared.task.answer.done():  # between the two looks at it
            shared.tell(shared.task.answer)
        return waiter

    def _leave(self, waiter: _Waiter) -> None:
        """Take somebody out who waits no longer; a question that nobody waits for is given up."""
        with self._lock:
            shared = waiter.shared
            if waiter in shared.waiters:
                shared.waiters.remove(waiter)
            if waiter.word is not None and self._newest.get(waiter.word) is waiter:
                del self._newest[waiter.word]
            if shared.waiters:
                return
            if self._asked.get(shared.key) is shared:
                del self._asked[shared.key]
            if not shared.task.answer.done():
                shared.pool.drop(shared.task)

    def _kept_answer(self, key: str) -> bytes | None:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def _keep(self, key: str, written: bytes) -> None:
        with self._lock:
            self._kept[key] = written
            self._kept.move_to_end(key)
            while sum(map(len, self._kept.values())) > KEPT:
                self._kept.popitem(last=False)


class _Waiter:
    """Somebody who waits for a shared answer."""

    def __init__(self, shared: _Shared) -> None:
        self.shared = shared
        self.answer: Future[bytes] = Future()
        self.word: tuple[str, str] | None = None

    def give_up(self, error: BaseException) -> None:
        _settle(self.answer, error=error)


class _Shared:
    """One question that several may wait for."""

    def __init__(self, key: str, pool: Pool, task: Task) -> None:
        self.key, self.pool, self.task = key, pool, task
        self.waiters: list[_Waiter] = []

    def tell(self, answer: Future[bytes]) -> None:
        """Hand the answer to all who wait."""
        for waiter in list(self.waiters):
            if answer.cancelled():
                waiter.give_up(Refused("the server is stopping"))
            elif (error := answer.exception()) is not None:
                waiter.give_up(error)
            else:
                _settle(waiter.answer, answer.result())


def _settle(future: Future[bytes], result: bytes = b"", error: BaseException | None = None) -> None:
    """Give a future its end, unless it has one."""
    from concurrent.futures import InvalidStateError
    from contextlib import suppress

    with suppress(InvalidStateError):
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(result)


def _digest(pool: str, module: str, name: str, arguments: tuple[Any, ...]) -> str:
    # not sorted: the order of tables in a setup file is part of it
    return hashlib.sha256(json.dumps([pool, module, name, arguments]).encode()).hexdigest()
