"""The parent's side of one worker process: started, asked, watched, ended. Each belongs to one thread."""

from __future__ import annotations

import multiprocessing
import signal
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from planish.errors import PlanishError
from planish.web.limits import LOOK, Limits, resident

if TYPE_CHECKING:
    from multiprocessing.connection import Connection


class CutOff(PlanishError):
    """The work did not end by itself; the message says why."""


class NotWantedError(Exception):
    """Nobody waits for the answer any more."""


class Child:
    """A process that runs ``target(channel, *arguments)``.

    It is started by the thread that owns it, and ends at the latest with that thread.
    """

    def __init__(self, target: Callable[..., None], arguments: tuple[Any, ...]) -> None:
        context = multiprocessing.get_context("spawn")
        mine, theirs = context.Pipe()
        self.channel: Connection = mine
        self.process = context.Process(target=target, args=(theirs, *arguments), daemon=True)
        try:
            self.process.start()
        except BaseException:
            mine.close()
            raise
        finally:
            theirs.close()  # so that the pipe closes when the process ends

    def send(self, message: Any) -> None:
        """Give it a message; OSError where it has ended."""
        self.channel.send(message)

    def hear(
        self,
        limits: Limits,
        began: float,
        wanted: Callable[[], bool] = lambda: True,
    ) -> bytes:
        """Return what it says next.

        Parameters
        ----------
        limits
            Of time and of memory.
        began
            Since when time counts [s, of the monotonic clock].
        wanted
            Asked now and then.

        Raises
        ------
        CutOff
            Over a limit, or where the process ended; what is left of it is for the caller to end.
        NotWantedError
            When it is not wanted any more.
        """
        while not self.channel.poll(LOOK):
            if not wanted():
                raise NotWantedError
            if time.monotonic() - began > limits.seconds:
                raise CutOff(limits.took_long())
            held = resident(self.process.pid or 0)
            if held is not None and held > limits.memory:
                raise CutOff(limits.took_much())
        try:
            return self.channel.recv_bytes()
        except (EOFError, OSError):
            raise CutOff(self._how_it_ended(limits)) from None

    def _how_it_ended(self, limits: Limits) -> str:
        self.process.join(1.0)
        code = self.process.exitcode
        if code is not None and -code in (signal.SIGABRT, signal.SIGKILL):  # how a lack of memory shows
            return f"the process was ended ({signal.Signals(-code).name}): it may have {limits.took_much()}"
        how = "" if code is None else f" (exit code {code})"
        return f"the process ended early{how}; undo the last change"

    def alive(self) -> bool:
        """Return whether it still runs."""
        return self.process.is_alive()

    def kill(self) -> None:
        """End it, whatever it does; returns when it has ended."""
        self.process.kill()
        self.process.join(10.0)
        self.channel.close()
