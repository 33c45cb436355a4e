"""A history of 400,000 wafers with 49 sites in one SQLite file: how fast wafers come in, how long a month's chart takes, and
what 50 kills do to it. The data are invented.

    python benchmarks/bench_history.py              # all of it, some ten minutes
    python benchmarks/bench_history.py 20000 5      # wafers, kills
    python benchmarks/bench_history.py 20000 0 postgresql+pg8000://USER@HOST/NAME
"""

from __future__ import annotations

import os
import sqlite3
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

import numpy as np

import planish

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "helpers"))
from history_data import START, TOOLS, write_table
from history_kills import killed_again_and_again

SITES = 49
PER_FILE = 8000
MONTHS = 12
RATE_BAR, CHART_BAR = 3000.0, 0.300
YEARS = 60 * 20 * 24 * 365 * 5  # wafers of 60 polishers, 20 an hour, 5 years


def main(wafers: int, kills: int, url: str | None) -> int:
    """Print what is measured beside what is asked."""
    bad = False
    with tempfile.TemporaryDirectory(dir=os.environ.get("PLANISH_BENCH_FOLDER")) as folder:
        place = url or str(Path(folder) / "history.sqlite")
        history = planish.open_history(place)
        seconds, busy, again = _import(history, wafers, Path(folder))
        rate = wafers / seconds
        bad |= rate < RATE_BAR
        print(f"import of {wafers} wafers x {SITES} sites: {rate:.0f} wafers/s by the clock, {wafers / busy:.0f} by processor time "
              f"(bar {RATE_BAR:.0f}); the last table again: {again:.0f} wafers/s")  # fmt: skip
        plain = _plain_rows(Path(folder), 20_000)
        print(f"of what sqlite3 takes by itself at the same time: {plain:.0f} rows/s by processor time, {wafers / busy / plain:.3f}; "
              f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")  # fmt: skip
        if url is None:
            size = sum(each.stat().st_size for each in Path(folder).glob("history.sqlite*"))
            print(f"file: {size / 1e6:.0f} MB, {size / wafers:.0f} bytes a wafer; {YEARS / 1e6:.1f} million wafers and "
                  f"{YEARS * SITES / 1e9:.1f} billion site values at that: {size / wafers * YEARS / 1e9:.0f} GB")  # fmt: skip
        bad |= _charts(history)
        _maps(history)
        history.close()
    if kills:
        bad |= _kills(kills)
    return int(bad)


def _import(history: planish.History, wafers: int, folder: Path) -> tuple[float, float, float]:
    every = timedelta(days=365) / wafers
    seconds = busy = again = 0.0
    for first in range(0, wafers, PER_FILE):
        count = min(PER_FILE, wafers - first)
        table = write_table(folder, first, count, every=every, sites=SITES)
        start, used = time.perf_counter(), time.process_time()
        history.add(table)
        seconds += time.perf_counter() - start
        busy += time.process_time() - used
        if first + PER_FILE >= wafers:
            start = time.perf_counter()
            history.add(table)
            again = count / (time.perf_counter() - start)
        for file in folder.glob(f"{first:08d}-*"):
            file.unlink()
    return seconds, busy, again


def _plain_rows(folder: Path, wafers: int) -> float:
    """Return how many rows with the same bytes the database takes by itself, by processor time: what no import can pass."""
    blob = np.random.default_rng(1).bytes(8 * SITES)
    place = sqlite3.connect(folder / "plain.sqlite")
    place.executescript(
        "PRAGMA journal_mode = WAL; CREATE TABLE rows (at INTEGER PRIMARY KEY, words TEXT, pre BLOB, post BLOB)"
    )
    rows = [(at, "x" * 300, blob, blob) for at in range(wafers)]
    start = time.process_time()
    with place:
        place.executemany("INSERT INTO rows VALUES (?, ?, ?, ?)", rows)
    place.close()
    return wafers / (time.process_time() - start)


def _charts(history: planish.History) -> bool:
    """A steady figure and one that sinks with each pad, of one tool with limits by pad, and of all tools together."""
    bad = False
    months = [f"{START.year}-{month:02d}" for month in range(1, MONTHS + 1)]
    steady, sinking = "wiwnu_sigma_percent", "rate_nm_per_min"
    history.chart(steady, filters={"month": months[0], "tool": "A"}, phase="pad")  # loads what is loaded once
    for words, tools in (("one tool", TOOLS), ("all tools", (None,))):
        for chart, value in (
            ("individuals", steady),
            ("ewma", steady),
            ("cusum", steady),
            ("t2", [steady, sinking]),
            ("individuals", sinking),
        ):
            times, used, points, alarms = [], [], 0, 0
            for number, month in enumerate(months):
                tool = tools[number % len(tools)]
                start, busy = time.perf_counter(), time.process_time()
                found = history.chart(
                    value, chart, filters={"month": month, "tool": tool}, phase="pad" if tool else None
                )
                times.append(time.perf_counter() - start)
                used.append(time.process_time() - busy)
                points, alarms = max(points, len(found.rows)), max(alarms, len(found.alarms))
            bad |= max(times) > CHART_BAR
            print(f"{chart} of {value}, a month of {words}, up to {points} wafers and {alarms} alarms: median "
                  f"{1e3 * np.median(times):.0f} ms, worst {1e3 * max(times):.0f} ms (bar {1e3 * CHART_BAR:.0f} ms); by processor "
                  f"time {1e3 * np.median(used):.0f} and {1e3 * max(used):.0f} ms", flush=True)  # fmt: skip
    return bad


def _maps(history: planish.History) -> None:
    start = time.perf_counter()
    runs = history.runs(tool="B", last=5000).runs
    sites = sum(len(run.measured.removal) for run in runs if run.measured is not None)
    print(f"{len(runs)} wafers with {sites} sites for a fit: {time.perf_counter() - start:.2f} s")


def _kills(kills: int) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        files = {write_table(Path(folder), first, 500): 500 for first in range(0, 30_000, 500)}
        found = killed_again_and_again(str(Path(folder) / "killed.sqlite"), files, kills, seed=1)
    print(f"{kills} kills, {found.pop('in_the_middle')} of them with files still to come: " + ", ".join(
        f"{name.replace('_', ' ')} {count}" for name, count in found.items()) + " (bar 0)")  # fmt: skip
    return any(found.values())


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(
        main(
            int(given[0]) if given else 400_000,
            int(given[1]) if len(given) > 1 else 50,
            given[2] if len(given) > 2 else None,
        )
    )
