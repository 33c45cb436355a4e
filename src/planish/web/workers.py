"""Worker processes: the fast ones answer the page, the slow one does lots and dies; the event loop only waits.

Refusals come back as data, so that no exception has to cross between processes.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import multiprocessing
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from planish.errors import PlanishError


class Refused(PlanishError):
    """What was asked cannot be answered; the message says what to do."""


def call(module: str, name: str, arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    """Run one function in a worker; (True, answer), or (False, message) where the input was refused."""
    import importlib

    function: Callable[..., Any] = getattr(importlib.import_module(module), name)
    try:
        return True, function(*arguments)
    except PlanishError as error:
        return False, str(error)
    except (ArithmeticError, ValueError, MemoryError, RecursionError, TypeError) as error:
        # Values that pass each check alone and overflow together. The page must hear of it, not hang;
        # the log keeps where it came from, since it may as well be a defect of ours.
        logging.getLogger(__name__).warning("%s.%s", module, name, exc_info=True)
        return (
            False,
            f"these values have no answer together ({type(error).__name__}: {error}); undo the last change",
        )


def _quiet() -> None:
    import os
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"


class Workers:
    """Pools that are made anew if a process dies."""

    def __init__(self, fast: int = 2) -> None:
        self.fast = fast
        self._pools: dict[str, ProcessPoolExecutor] = {}
        self._stopped = False

    def start(self) -> None:
        """Start a worker that loads the model, and the others once it has; returns at once.

        They come one after the other because the first answer needs one, and all the cores there are.
        """
        first = self._submit("fast", "planish.web.answers", "warm", ())
        first.add_done_callback(self._start_others)

    def _start_others(self, first: Future[Any]) -> None:
        def start() -> None:
            with contextlib.suppress(RuntimeError, BrokenProcessPool):  # stopped meanwhile
                for _ in range(self.fast):
                    self._submit("fast", "planish.web.answers", "warm", ())

        if not first.cancelled() and not self._stopped:
            timer = threading.Timer(2.0, start)
            timer.daemon = True
            timer.start()

    def _submit(self, pool: str, module: str, name: str, arguments: tuple[Any, ...]) -> Future[Any]:
        if self._stopped:
            raise RuntimeError("the workers are stopped")
        if pool not in self._pools:
            size = self.fast if pool == "fast" else 1
            self._pools[pool] = ProcessPoolExecutor(
                size, mp_context=multiprocessing.get_context("spawn"), initializer=_quiet
            )
        return self._pools[pool].submit(call, module, name, arguments)

    async def ask(self, pool: str, name: str, *arguments: Any, module: str = "planish.web.answers") -> Any:
        """Return the answer of ``module.name(*arguments)`` from a worker.

        Raises
        ------
        Refused
            Where the input cannot be used.
        """
        for attempt in (1, 2):
            try:
                future = self._submit(pool, module, name, arguments)
                done, answer = await asyncio.wrap_future(future)
            except BrokenProcessPool:
                broken = self._pools.pop(pool, None)
                if broken is not None:
                    broken.shutdown(wait=False)
                if attempt == 2:
                    raise Refused("this took more memory than there is; ask for less") from None
                continue
            if not done:
                raise Refused(answer)
            return answer
        raise AssertionError("unreachable")

    def stop(self) -> None:
        """End all workers, also those at work: what they were asked for, nobody will hear."""
        self._stopped = True
        for pool in self._pools.values():
            running = list((getattr(pool, "_processes", None) or {}).values())
            pool.shutdown(wait=False, cancel_futures=True)
            for process in running:
                process.terminate()
        self._pools.clear()
