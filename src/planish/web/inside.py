"""The worker's side: a process that answers questions from a pipe, within its memory, and ends with its parent.

Refusals go back as data, so that no exception has to cross between processes.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from planish.errors import PlanishError
from planish.web.limits import LARGEST_ANSWER, QUICK, data_size, resident

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

READY = b"ready"
_PR_SET_PDEATHSIG = 1  # linux/prctl.h


def call(module: str, name: str, arguments: tuple[Any, ...]) -> tuple[bool, Any]:
    """Run one function; (True, answer), or (False, message) where the input was refused."""
    import importlib

    function: Callable[..., Any] = getattr(importlib.import_module(module), name)
    try:
        return True, function(*arguments)
    except PlanishError as error:
        return False, str(error)
    except MemoryError:
        return False, QUICK.took_much()
    except (ArithmeticError, ValueError, RecursionError, TypeError) as error:
        # Values that pass each check alone and overflow together. The page must hear of it, not hang;
        # the log keeps where it came from, since it may as well be a defect of ours.
        logging.getLogger(__name__).warning("%s.%s", module, name, exc_info=True)
        return (
            False,
            f"these values have no answer together ({type(error).__name__}: {error}); undo the last change",
        )


def serve(channel: Connection, warm: tuple[str, str] | None, niceness: int, memory: int) -> None:
    """Load what answers need, say so, and answer one question after the other until the pipe closes."""
    settle(niceness)
    if warm is not None:
        call(*warm, ())  # what fails here fails again, and is told, when it is asked for
    bound_memory(memory)
    channel.send_bytes(READY)
    while True:
        try:
            question = channel.recv()
        except (EOFError, OSError):
            return
        channel.send_bytes(_written(call(*question)))
        del question


def _written(answer: tuple[bool, Any]) -> bytes:
    written = pickle.dumps(answer, protocol=5)
    if len(written) > LARGEST_ANSWER:
        words = f"the answer would be larger than {LARGEST_ANSWER // 2**20} MiB; ask for less"
        return pickle.dumps((False, words), protocol=5)
    return written


def settle(niceness: int = 0) -> None:
    """Make this process a quiet worker: Ctrl-C is its parent's matter, one thread, and no life after the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS", "POLARS_MAX_THREADS"):
        os.environ[name] = "1"
    end_with_parent()
    if niceness:
        os.nice(niceness)


def end_with_parent() -> None:
    """End this process when its parent ends, even by SIGKILL.

    Linux does it by itself, also while native code holds the interpreter (prctl(2), PR_SET_PDEATHSIG; it
    looks at the thread that made this process, which therefore lives as long as the process). Elsewhere,
    and for a parent that was gone before that took hold, a thread waits for the parent's end of a pipe.
    """
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        from multiprocessing.connection import wait

        wait([parent.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="parent").start()


def bound_memory(most: int) -> None:
    """Let the system refuse memory past ``most`` bytes in all; the parent looks at what is held beside that.

    The bound is on what is reserved (RLIMIT_DATA), of which the compiler and thread stacks hold much that is
    never used. So what may still be reserved is what may still be held, counted from here.
    """
    try:
        import resource
    except ImportError:  # not on this system: the parent's eye remains
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    reserved, held = data_size(os.getpid()), resident(os.getpid())
    if reserved is None or held is None:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    bound = reserved + max(most - held, 0)
    if hard != resource.RLIM_INFINITY:
        bound = min(bound, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (bound, hard))
