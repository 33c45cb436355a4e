"""One wafer of three steps with all physics, warm and cold, and the command's start-up.

The peer of the warm figure is the same prediction with the pad operator built anew each time.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from planish.physics.pressure.ring_influence import build_pad_operator
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup


def median(run: Callable[[], object], times: int) -> float:
    """Return the median time [s] of ``run``."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def command(*words: str) -> float:
    """Return the median time [s] of a fresh process."""

    def run() -> None:
        subprocess.run(
            [sys.executable, "-m", "planish.cli.main", *words], check=True, stdout=subprocess.DEVNULL
        )

    run()
    return median(run, 7)


def main() -> None:
    """Print the table."""
    print(f"{'what':58} {'measured':>14} {'bar':>10}")
    for motion in ("rotary", "linear", "orbital"):
        rig = loads(new_setup(motion)).rig
        polish(rig)
        warm = median(lambda rig=rig: polish(rig), 101)
        print(
            f"{f'one {motion} wafer, {len(rig.steps)} steps, warm, median of 101':58} {warm * 1e3:11.2f} ms {'5 ms':>10}"
        )
        fine, coarse = polish(rig, cells=240), polish(rig)
        away = coarse.radius <= rig.wafer.radius - 0.5e-3
        moved = max(
            float(np.max(np.abs(a.pressure[away] - np.interp(coarse.radius[away], fine.radius, b.pressure))))
            / coarse.mean(a.pressure)
            for a, b in zip(coarse.steps, fine.steps, strict=True)
        )
        print(f"{'   doubling the cells moves p/mean beyond 0.5 mm by':58} {moved:14.5f} {'0.005':>10}")
        balance = max(step.balance_error for step in coarse.steps)
        print(f"{'   force balance, relative error':58} {balance:14.1e} {'1e-9':>10}")
    rig = loads(new_setup("rotary")).rig
    model = prepare(rig)
    warm = median(lambda: polish(rig), 51)
    built = median(lambda: build_pad_operator(model.grid, model.layers, model.base), 3)
    print(f"{'pad operator built anew / kept (ratio to a warm wafer)':58} {(built + warm) / warm:13.0f}x")
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "setup.toml"
        file.write_text(new_setup("rotary"), encoding="utf-8")
        print(
            f"{'planish polish from a cold start, median of 7':58} {command('polish', str(file), '--json'):12.2f} s {'1.5 s':>10}"
        )
    print(f"{'planish --help, median of 7':58} {command('--help'):12.2f} s {'0.4 s':>10}")


if __name__ == "__main__":
    main()
