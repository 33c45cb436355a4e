"""A worker process that ends when the process it works for is gone.

A process that is killed cannot stop its workers, and they would wait for more work until their time is up. So each worker
asks now and then whether its parent still is the one that started it: a process whose parent has died is given another. (The
kernel's own signal for this goes by the thread that started the worker, and threads end while their process lives on.)
Where a process keeps the number of a dead parent, as on Windows, a worker waits out its time.
"""

from __future__ import annotations

import os
import threading
import time

EVERY = 0.5  # [s] between two looks
GONE = 1  # with which a worker ends then


def end_with(parent: int) -> None:
    """End this process soon after its parent is gone, whatever it is at.

    Parameters
    ----------
    parent
        Number of the process that this one works for.
    """

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(EVERY)
        os._exit(GONE)  # no clean-up: nobody waits for what this process is at

    threading.Thread(target=watch, name="watch for the parent", daemon=True).start()
