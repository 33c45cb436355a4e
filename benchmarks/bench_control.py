"""Run-to-run control: how close each control comes to the least spread that noise and delay allow, and what theory says.

Run: ``python benchmarks/bench_control.py`` (a minute or two).
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

import planish
from planish.hold.control.belief import Spreads
from planish.hold.control.loop import Coming, Loop, advise, first_state, learn, ran
from planish.hold.control.margin import average_limit, integral_limit, output_variance
from planish.hold.control.moves import Room
from planish.hold.control.weighted import Ewma

EXAMPLES = Path(__file__).parents[1] / "examples"
TIMED = EXAMPLES / "copper-barrier.toml"  # one step, timed
BESIDE = 100  # loops side by side
#: True spreads that differ from those that the controls are told.
OTHERS = {"wander": 0.002, "pad": 0.01, "disk": 0.02, "process": 0.004, "ageing": 0.5}


def row(what: str, measured: str, bar: str) -> None:
    print(f"| {what} | {measured} | {bar} |")


def variance(ratio: float, runs: int = 100_000, settled: int = 50) -> float:
    """Return the variance of the output of a loop with one weighted average under white noise of variance 1."""
    most = np.full(BESIDE, np.inf)
    room = Room(("u",) * BESIDE, -most, most, most)
    loop = Loop(np.eye(BESIDE), room, Ewma(0.3, spreads=Spreads(1.0, 0.0)), suspect=np.inf)
    noise = np.random.default_rng(1).standard_normal((settled + runs // BESIDE, BESIDE))
    coming = Coming(np.zeros(BESIDE), np.zeros(BESIDE), 0.0)
    state, outputs = first_state(loop), []
    for wafer, one in enumerate(noise):
        move = advise(loop, state, coming).moved
        outputs.append(ratio * move + one)
        state = ran(state, str(wafer), move, coming)
        state, _ = learn(loop, state, str(wafer), outputs[-1])
    return float(np.var(outputs[settled:]))


def trial(what: str, bar: str, **options: object) -> None:
    """Print the spreads of a trial."""
    start = time.perf_counter()
    found = planish.try_control(options.pop("setup", TIMED), **options)  # type: ignore[arg-type]
    took = time.perf_counter() - start
    for one in found.rows:
        stable = (
            ""
            if one.margin is None
            else f", stable for gain ratios {one.margin.least:.2f} to {one.margin.most:.2f}"
        )
        row(f"{what}: {one.name}", f"{100 * one.sigma:.3f} %, {one.ratio:.3f} times the least{stable}",
            bar if one.name == "kalman" else "–")  # fmt: skip
    row(f"{what}: least spread", f"{100 * found.least:.3f} % ({took:.0f} s for all)", "–")


def main() -> None:
    print("| what | measured | bar |\n|---|---|---|")
    for ratio in (1.0, 1.2):
        row(f"variance under white noise, weight 0.3, gain ratio {ratio:g}, 100,000 runs", f"{variance(ratio):.4f}",
            f"{output_variance(0.3, ratio):.6f}")  # fmt: skip
    for delay in range(4):
        row(f"limit of weight times gain ratio, moving on from the last setting, {delay} late", f"{integral_limit(delay):.6f}",
            "2 sin(pi/(2(2d+1)))")  # fmt: skip
        row(f"limit of the gain ratio, one average of weight 0.3, {delay} late", f"{average_limit(0.3, delay):.4f}",
            "2 or more")  # fmt: skip
    trial("1,000 wafers, 20 courses, 2 late", "1.15")
    trial("the same, true spreads others, gain 10 % off", "1.15", true_spreads=OTHERS, gain_ratio=1.1)
    trial("the same, 10 % missing, 1 % a tenth off", "1.15", missing=0.1, wrong=0.01)
    trial("zones, 300 wafers, 3 courses", "–", setup=EXAMPLES / "rotary.toml", wafers=300, seeds=3, pad_every=120,
          disk_every=200, zones=True)  # fmt: skip


if __name__ == "__main__":
    main()
