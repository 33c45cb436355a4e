"""An import that is killed again and again: what was told to be in stays in, whole files or nothing, nothing twice."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import planish

CHILD = """
import sys
import planish
history = planish.open_history(sys.argv[1])
print("ready", flush=True)
for file in sys.argv[2:]:
    history.add(file)
    print(file, flush=True)
"""


def killed_again_and_again(url: str, files: dict[Path, int], kills: int, seed: int = 0) -> dict[str, int]:
    """Kill an import of files (with their wafers) so many times, look after each kill, then let it end.

    Returns what was found: kills in the middle of a file, files lost after they were told to be in, files of which a part is
    in, wafers that are there twice, wafers lacking at the end.
    """
    pick = random.Random(seed)
    told: set[str] = set()
    found = {"in_the_middle": 0, "lost": 0, "in_part": 0, "twice": 0, "lacking": 0}
    history = planish.open_history(url)
    order = list(files)
    longest = 0.05
    for _ in range(kills):
        done = [file for file in order if str(file) in told]
        left = [file for file in order if str(file) not in told] or order
        pick.shuffle(left)
        said, longest = _killed(url, [*done[:2], *left], pick, longest)
        told |= said
        _look(history, files, told, found)
        found["in_the_middle"] += len(told) < len(files)
    for file in order:
        history.add(file)
    found["lacking"] = sum(files.values()) - len(history)
    _look(history, files, {str(file) for file in order}, found)
    history.close()
    return found


def _killed(url: str, files: Sequence[Path], pick: random.Random, longest: float) -> tuple[set[str], float]:
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, url, *map(str, files)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline().strip() == "ready"
    start = time.monotonic()
    wait = pick.uniform(0, longest)
    time.sleep(wait)
    child.kill()
    lines = child.stdout.read().split("\n")
    child.wait()
    # Some two files' time later at most: most kills then fall into a file.
    seconds = time.monotonic() - start
    said = {line for line in lines[:-1] if line}
    return said, max(0.05, 2.5 * seconds / max(1, len(said))) if said else 1.5 * longest


def _look(history: planish.History, files: dict[Path, int], told: set[str], found: dict[str, int]) -> None:
    try:
        rows = history.wafers().column("wafer")
    except planish.PlanishError as error:
        if "no history yet" not in str(error):
            raise
        rows = []  # killed before there was anything
    found["twice"] += len(rows) - len(set(rows))
    have = set(rows)
    for file, count in files.items():
        first = int(file.name[:8])
        inside = sum(f"W{number:07d}" in have for number in range(first, first + count))
        found["in_part"] += 0 < inside < count
        found["lost"] += str(file) in told and inside < count
