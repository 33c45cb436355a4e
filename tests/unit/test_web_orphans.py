"""A server that is killed leaves no process behind, whatever its workers were at."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import httpx
import pytest

from planish.jobs.exchange import fresh

PATIENCE = 60.0  # [s]; they are gone within one or two
pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at processes in /proc")


def family(root: int) -> set[int]:
    """Return the processes below one."""
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with contextlib.suppress(OSError):
                parents[int(entry.name)] = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
    found: set[int] = set()
    while more := {pid for pid, parent in parents.items() if parent in found | {root}} - found:
        found |= more
    return found


def alive(pids: set[int]) -> set[int]:
    found = set()
    for pid in pids:
        with contextlib.suppress(OSError):
            if Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z":
                found.add(pid)
    return found


def wait(true, words: str):
    end = time.monotonic() + PATIENCE
    while not (found := true()):
        assert time.monotonic() < end, words
        time.sleep(0.05)
    return found


@pytest.fixture
def server(tmp_path):
    running = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "planish.cli.main",
            "serve",
            "--port",
            "0",
            "--data",
            str(tmp_path),
            "--workers",
            "1",
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    running.url = re.search(r"http://localhost:\d+/", running.stdout.readline()).group()
    yield running
    running.kill()
    running.wait()


def test_a_killed_server_takes_all_its_processes_along(server, tmp_path) -> None:
    document = fresh("rotary")
    long = {**document, "recipe": {**document["recipe"], "step": document["recipe"]["step"] * 10}}
    with httpx.Client(base_url=server.url, timeout=PATIENCE) as client:
        assert client.post("/api/wafer", json={"document": document}).status_code == 200
        job = client.post("/api/jobs", json={"document": long, "kind": "lot", "wafers": 5000}).json()
        wait(lambda: client.get(f"/api/jobs/{job['id']}").json()["share"] > 0, "the job does not run")
    # a slow worker that loads, or is at work
    asking = threading.Thread(target=lambda: lot(server.url, document), daemon=True)
    asking.start()
    wait(lambda: len(family(server.pid)) >= 4, "there are too few workers to speak of")
    children = family(server.pid)
    os.kill(server.pid, signal.SIGKILL)
    server.wait()
    wait(lambda: not alive(children), f"of {children} some live on")
    # and the next server says what became of the job
    from planish.web.jobs import Jobs

    found = Jobs(tmp_path / "jobs").get(job["id"])
    assert (found.state, found.message) == ("failed", "the server was stopped while this ran")
    assert [path.name for path in (tmp_path / "jobs" / job["id"]).iterdir()] == ["job.json"]
    assert json.loads((tmp_path / "jobs" / job["id"] / "job.json").read_text())["state"] == "failed"


def lot(url: str, document: dict) -> None:
    with contextlib.suppress(httpx.HTTPError):
        httpx.post(f"{url}api/lot", json={"document": document}, timeout=PATIENCE)


LONE = """
import multiprocessing, os, sys, time

def stay(channel):
    sys.platform = "another system"  # where nothing but the pipe tells of the parent's end
    from planish.web.inside import end_with_parent
    end_with_parent()
    channel.send(os.getpid())
    time.sleep(600)

if __name__ == "__main__":
    context = multiprocessing.get_context("spawn")
    mine, theirs = context.Pipe()
    context.Process(target=stay, args=(theirs,), daemon=True).start()
    print(mine.recv(), flush=True)
    time.sleep(600)
"""


def test_where_the_system_does_not_help_the_pipe_s_end_does(tmp_path) -> None:
    script = tmp_path / "lone.py"
    script.write_text(LONE)
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    child = int(parent.stdout.readline())
    assert alive({child})
    parent.kill()
    parent.wait()
    wait(lambda: not alive({child}), "it lives on")
