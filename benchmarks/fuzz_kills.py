"""Kills at random moments: run ``python benchmarks/fuzz_kills.py``; every file that is seen afterwards must be whole.

Each verb that writes is run once to its end, to know how long it takes and what it writes. Then it is started again
and again, over its own earlier output or into a new folder, and killed (SIGKILL) at a random moment. A file that
can be seen must open; what was being written may stay only under a hidden temporary name.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

EXAMPLES = Path(__file__).parents[1] / "examples"
DATA = EXAMPLES / "data"
PRE, POST = str(DATA / "wafer-before.csv"), str(DATA / "wafer-after.csv")
SETUP, LAYOUT = str(EXAMPLES / "rotary.toml"), str(DATA / "test-blocks.gds")
STEPS = str(DATA / "steps.csv")
ON_LAYOUT = ["--layout", LAYOUT, "--layer", "1/0", "--cell", "100um"]
VERBS: dict[str, list[str]] = {
    "polish": ["polish", SETUP, "--out", "out"],
    "lot": ["lot", SETUP, "-n", "50", "--out", "out"],
    "dwell": ["dwell", SETUP, "--out", "out"],
    "die": ["die", SETUP, *ON_LAYOUT, "--fill", "--out", "out"],
    "measure": ["measure", PRE, POST, "--out", "out"],
    "maps": ["measure", LAYOUT, *ON_LAYOUT[2:], "--out", "out"],
    "fit": ["fit", SETUP, PRE, POST, "--out", "out"],
    "steps": ["fit", "--steps", STEPS, *ON_LAYOUT, "--out", "out"],
    "report": ["report", SETUP, "-o", "out/report.html", "--pre", PRE, "--post", POST],
    "new": ["new", "rotary", "-o", "out/setup.toml", "--force"],
    "schema": ["schema", "-o", "out/schema.json"],
}


def start(words: list[str], folder: Path) -> subprocess.Popen[bytes]:
    """Start a verb in a folder, in a group of its own so that all of it can be killed."""
    command = [sys.executable, "-m", "planish.cli.main", *words]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    return subprocess.Popen(command, cwd=folder, start_new_session=True, **quiet)  # type: ignore[call-overload,no-any-return]


def opens(path: Path) -> str:
    """Return why a file is not whole, or nothing."""
    try:
        kind = path.suffix
        if kind == ".png":
            raw = path.read_bytes()
            if raw[:8] != b"\x89PNG\r\n\x1a\n" or not raw.endswith(b"IEND\xaeB`\x82"):
                return "no whole PNG"
        elif kind == ".svg":
            ET.parse(path)
        elif kind == ".json":
            json.loads(path.read_text(encoding="utf-8"))
        elif kind == ".toml":
            tomllib.loads(path.read_text(encoding="utf-8"))
        elif kind == ".html":
            if not path.read_text(encoding="utf-8").rstrip().endswith("</html>"):
                return "page without its end"
        elif kind == ".csv":
            text = path.read_text(encoding="utf-8")
            counts = {line.count(",") for line in text.splitlines() if not line.startswith("#")}
            if not text.endswith("\n") or len(counts) != 1:
                return "rows of different lengths"
        elif kind == ".npz":
            if zipfile.ZipFile(path).testzip() is not None:
                return "no whole archive"
        elif kind == ".parquet":
            import polars as pl

            pl.read_parquet(path)
        elif kind == ".nc":
            import xarray as xr

            xr.load_dataset(path)
        else:
            return "of no kind that is known here"
    except Exception as error:  # noqa: BLE001  (whatever comes means that it does not open)
        return f"{type(error).__name__}: {error}"
    return ""


def state(folder: Path) -> dict[str, int]:
    """Return the files of a folder, each with when it changed."""
    found = {}
    for path in folder.rglob("*"):
        with contextlib.suppress(OSError):
            found[str(path)] = path.stat().st_mtime_ns
    return found


def left(folder: Path) -> tuple[int, int, list[str]]:
    """Return how many files can be seen, how many are hidden parts, and what is wrong."""
    seen, parts, wrong = 0, 0, []
    for path in folder.rglob("*"):
        if path.is_dir():
            continue
        if path.name.startswith(".") and path.name.endswith(".part"):
            parts += 1
            continue
        seen += 1
        reason = opens(path)
        if reason:
            wrong.append(f"{path.relative_to(folder)}: {reason}")
    return seen, parts, wrong


def main() -> None:
    """Kill as often as asked and print what was found."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=50)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    rng = random.Random(given.seed)
    home = Path(tempfile.mkdtemp(prefix="fuzz-kills-"))
    took: dict[str, float] = {}
    failed, tried, killed, files, parts = [], 0, 0, 0, 0
    try:
        for name, words in VERBS.items():
            folder = home / name
            folder.mkdir()
            begun = time.monotonic()
            if start(words, folder).wait() != 0:
                sys.exit(f"{name}: does not run")
            took[name] = time.monotonic() - begun
            seen, hidden, wrong = left(folder)
            print(f"{name:8} {took[name]:5.1f} s, {seen} files", flush=True)
            if hidden or wrong or not seen:
                failed.append(f"{name}, run to its end: {hidden} parts, {wrong}")
        names = list(VERBS)
        while killed < given.kills:
            name = names[killed % len(names)]
            folder = home / name
            tried += 1
            if rng.random() < 0.5:
                folder = home / f"{name}-{tried}"
                folder.mkdir()
            before = state(folder)
            running = start(VERBS[name], folder)
            if rng.random() < 0.3:
                time.sleep(took[name] * rng.uniform(0.0, 0.9))
            else:  # while it writes
                while running.poll() is None and state(folder) == before:
                    time.sleep(0.001)
                time.sleep(rng.uniform(0.0, 0.25) * took[name] * rng.random())
            ended = running.poll() is not None
            try:
                os.killpg(running.pid, signal.SIGKILL)
            except ProcessLookupError:
                ended = True
            running.wait()
            if ended:
                continue
            killed += 1
            seen, hidden, wrong = left(folder)
            files, parts = files + seen, parts + hidden
            failed += [f"kill {killed} ({name}): {line}" for line in wrong]
    finally:
        shutil.rmtree(home, ignore_errors=True)
    print(f"{killed} kills: {files} files seen and opened, {parts} hidden parts left, {len(failed)} broken")
    print("\n".join(failed))
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
