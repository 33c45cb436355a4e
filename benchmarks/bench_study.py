"""A study of thousands of wafers: what it costs beside the wafers, two workers against one, and kills at random moments.

- Overhead: processor time of a study with one worker and a folder, less what its predictions (``Setup.replace``,
  ``polish``, ``summary``) take, a run. Processor time, so that other work on the machine counts little. Bar: 0.5 ms.
- What part of a run is the setup (``replace`` and its SI record), and what the wafer.
- Two workers against one, wall time. Bar: 1.7 times, on a machine with two cores to itself; the share of processor time
  that this machine gave to a busy loop in two processes, against one, is printed beside.
- A study killed (SIGKILL) at random moments and begun again, until it is done: the same table, no run made twice.

    python benchmarks/bench_study.py --runs 10000 --kills 20
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import polars as pl

import planish
from planish.tuning.study.runs import Predicted

SETUP = Path(__file__).parents[1] / "examples" / "rotary.toml"
RING, FLOW = "recipe.step.main.ring_pressure", "recipe.step.main.flow"
KILLED = 600  # runs of the study that is killed
CHILD = """
import sys, planish
planish.study(sys.argv[1], {sys.argv[2]: sys.argv[3]}, folder=sys.argv[4], workers=2)
"""


def vary(runs: int) -> dict[str, str]:
    """Return a grid of about so many runs."""
    side = max(2, round(runs**0.5))
    return {RING: f"2..5 psi/{side}", FLOW: f"150..250 ml/min/{side}"}


def overhead(runs: int) -> tuple[float, float, float]:
    """Return processor time a run [s]: of the study beside the predictions, of the setups, of the wafers.

    The prediction of a run (setup, wafer, summary) is clocked where the study calls it.
    """
    setup, inside = planish.load(SETUP), 0.0
    planish.study(setup, vary(16), workers=1)
    answer = Predicted.answer

    def clocked_answer(self: Predicted, move: Any) -> Any:
        nonlocal inside
        begin = time.process_time()
        found = answer(self, move)
        inside += time.process_time() - begin
        return found

    Predicted.answer = clocked_answer  # type: ignore[method-assign]
    try:
        with tempfile.TemporaryDirectory() as folder:
            begin = time.process_time()
            found = planish.study(setup, vary(runs), folder=folder, workers=1)
            whole = time.process_time() - begin
    finally:
        Predicted.answer = answer  # type: ignore[method-assign]
    size = found.design.size
    begin = time.process_time()
    for run in range(size):
        assert setup.replace(found.design.move(run)).rig is not None
    setups = time.process_time() - begin
    return (whole - inside) / size, setups / size, (inside - setups) / size


def two_against_one(runs: int) -> tuple[float, float, bool]:
    """Return wall times [s] with one worker and with two, folders and all, and whether the tables are equal."""
    setup = planish.load(SETUP)
    planish.study(setup, vary(100), workers=2)  # starts the processes and compiles
    taken, tables = [], []
    for workers in (1, 2):
        with tempfile.TemporaryDirectory() as folder:
            begin = time.perf_counter()
            tables.append(planish.study(setup, vary(runs), folder=folder, workers=workers).runs)
            taken.append(time.perf_counter() - begin)
    return taken[0], taken[1], tables[0].equals(tables[1])


def busy(_: int = 0) -> float:
    """Return the wall time [s] of a fixed piece of work."""
    begin, total = time.perf_counter(), 0
    for number in range(20_000_000):
        total += number & 3
    return time.perf_counter() - begin


def cores() -> float:
    """Return how much more work two processes do than one on this machine as it is now."""
    with ProcessPoolExecutor(2) as pool:
        alone = next(iter(pool.map(busy, [0])))
        begin = time.perf_counter()
        list(pool.map(busy, [0, 0]))
        return 2 * alone / (time.perf_counter() - begin)


def kills(times: int) -> tuple[int, int, bool]:
    """Return how many kills hit a study at work, how many runs were made twice, and whether the table is the same."""
    values = f"2..5 psi/{KILLED}"
    whole = planish.study(SETUP, {RING: values}, workers=2).runs
    hits = 0
    random.seed(0)
    same, twice = True, 0
    while hits < times:
        with tempfile.TemporaryDirectory() as made:
            folder = Path(made) / "kept"
            words = [sys.executable, "-c", CHILD, str(SETUP), RING, values, str(folder)]
            done = False
            while not done:
                child = subprocess.Popen(words)
                end = time.monotonic() + random.uniform(2.0, 12.0)
                while child.poll() is None and time.monotonic() < end:
                    time.sleep(0.01)
                done = child.poll() == 0
                if not done:
                    child.send_signal(signal.SIGKILL)
                    child.wait()
                    hits += 1
                if hits >= times:
                    break
            found = planish.study(SETUP, {RING: values}, folder=folder, workers=2).runs
            kept = [
                one for part in (folder / "parts").glob("*.parquet") for one in pl.read_parquet(part)["id"]
            ]
            twice += len(kept) - len(set(kept))
            same = same and found.equals(whole)
    return hits, twice, same


def main() -> int:
    """Print the figures."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--runs", type=int, default=10_000)
    reader.add_argument("--kills", type=int, default=20)
    reader.add_argument("--only", choices=("overhead", "workers", "kills"))
    asked = reader.parse_args()
    good = True
    if asked.only in (None, "overhead"):
        beside, setups, wafers = overhead(min(asked.runs, 900))
        good = beside < 0.5e-3
        print(
            f"processor time a run: study {1e3 * beside:.3f} ms (bar 0.5), setup {1e3 * setups:.2f} ms, wafer "
            f"{1e3 * wafers:.2f} ms",
            flush=True,
        )
    if asked.only in (None, "workers"):
        before = cores()
        one, two, same = two_against_one(asked.runs)
        good = good and same
        print(
            f"{asked.runs} wafers: {one:.1f} s with 1 worker, {two:.1f} s with 2: {one / two:.2f} times (bar 1.7), tables "
            f"{'equal' if same else 'DIFFER'}; a busy loop here: {before:.2f} times before, {cores():.2f} after",
            flush=True,
        )
    if asked.only in (None, "kills"):
        hits, twice, same = kills(asked.kills)
        good = good and same and not twice
        print(
            f"{hits} kills at random moments: {twice} runs made twice, table {'the same' if same else 'DIFFERS'}"
        )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
