"""Workers of a process that was killed end soon, and those of one that lives stay."""

import os
import signal
import subprocess
import sys
import time

import pytest

from planish.engine import parent

WORK = """
import os, sys, threading, time
from planish.engine.execute import run_all

def number(piece):
    time.sleep(0.2)
    return os.getpid()

def given():
    told.update(run_all(number, range(8), workers=2, processes=True))

told = set()
if sys.argv[1] == "from a thread":  # that ends while the process lives on
    thread = threading.Thread(target=given)
    thread.start()
    thread.join()
else:
    given()
time.sleep(2.0)
print(*told, *run_all(number, range(8), workers=2, processes=True), flush=True)
time.sleep(600)
"""


def _lives(number):
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    with open(f"/proc/{number}/stat") as told:
        return told.read().rsplit(")", 1)[1].split()[0] != "Z"


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="reads the state of processes in /proc")
@pytest.mark.parametrize("way", ["from the main thread", "from a thread"])
def test_workers_end_with_a_process_that_is_killed_and_not_before(tmp_path, way):
    script = tmp_path / "work.py"
    script.write_text(WORK)
    child = subprocess.Popen(
        [sys.executable, str(script), way], env=os.environ, stdout=subprocess.PIPE, text=True
    )
    numbers = [int(one) for one in child.stdout.readline().split()]
    workers = set(numbers)
    assert len(workers) <= 2, "the same workers did the second part of the work"
    assert child.pid not in workers
    assert all(_lives(one) for one in workers)
    child.send_signal(signal.SIGKILL)
    child.wait()
    end = time.monotonic() + 60  # of a busy machine; a look takes half a second
    while any(map(_lives_or_gone, workers)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(map(_lives_or_gone, workers))


def _lives_or_gone(number):
    try:
        return _lives(number)
    except FileNotFoundError:  # gone between two looks
        return False


def test_a_worker_whose_parent_died_before_it_looked_ends_at_once(tmp_path):
    script = tmp_path / "late.py"
    script.write_text(
        f"import time\nfrom {parent.__name__} import end_with\nend_with({2**22 + 1})\ntime.sleep(600)\n"
    )
    done = subprocess.run([sys.executable, str(script)], env=os.environ, timeout=120, check=False)
    assert done.returncode == parent.GONE
