"""A lot of 1,000 wafers of a three-step recipe: time, memory, linearity; the ageing of the summits alone.

Times are wall time of the better of two runs, after one that compiles and fills the caches. The
peer is a wafer after a wafer through ``planish.polish``, which knows no pad state.

    python benchmarks/bench_lot.py
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from planish.physics.surface import asperities, summit_balance, summit_flow
from planish.predict.lot.run import polish_lot
from planish.predict.wafer.polish import polish
from planish.setup.load import load

SETUP = Path(__file__).parents[1] / "examples" / "rotary.toml"


def best(run: Callable[[], Any], times: int = 2) -> float:
    return min(_clocked(run) for _ in range(times))


def _clocked(run: Callable[[], Any]) -> float:
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


def ageing(wafers: int, rings: int, renewal: float) -> float:
    """Time [s] of the summit ageing alone, with drifting load."""
    numbers = {"density": 2e8, "tip_radius": 30e-6, "modulus": 1.9e8}
    edges = summit_balance.ageing_grid(6e-6, 5e-6, pressure=3e4, **numbers)
    fresh = asperities.fresh_heights(edges, 6e-6, 5e-6)
    stiff = numbers["density"] * numbers["modulus"] * np.sqrt(numbers["tip_radius"])
    depth = summit_flow.elastic_depth(numbers["tip_radius"], numbers["modulus"], 60e6)
    taken = summit_balance.log_load(fresh, edges, depth)
    load_of = np.random.default_rng(1).uniform(2e4, 3e4, (wafers, rings))

    def run() -> None:
        p, d = np.tile(fresh, (rings, 1)), np.full(rings, edges[-1])
        wear, new = np.full(rings, 1e-4), np.full(rings, renewal)
        for wafer in range(wafers):
            summit_balance.age_rings(p, edges, fresh, load_of[wafer], wear, new, stiff, depth, d, taken, 1)

    run()
    return best(run)


def main() -> None:
    rig = load(SETUP).rig
    polish_lot(rig, 400)  # compiles, builds the elastic operators of the worn pad
    lots = {n: best(lambda n=n: polish_lot(rig, n)) for n in (250, 500, 1000)}
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    polish(rig)
    single = best(lambda: [polish(rig) for _ in range(20)]) / 20
    rows = [
        ("1,000 wafers of three steps, all physics [s]", f"{lots[1000]:.2f}", "2"),
        ("highest memory of the process [MB]", f"{peak:.0f}", "500"),
        ("time of 1,000 over time of 500", f"{lots[1000] / lots[500]:.2f}", "2, linear"),
        ("time of 500 over time of 250", f"{lots[500] / lots[250]:.2f}", "2, linear"),
        ("a wafer through polish / a wafer of the lot", f"{single / (lots[1000] / 1000):.1f}", "no bar"),
        ("summits of the pad as one, 1,000 wafers, conditioned [s]", f"{ageing(1000, 1, 0.04):.3f}", "0.3"),
        ("summits of 19 pad rings, 1,000 wafers, conditioned [s]", f"{ageing(1000, 19, 0.04):.3f}", "0.3"),
        ("summits of 19 pad rings, 1,000 wafers, glazing [s]", f"{ageing(1000, 19, 0.0):.3f}", "no bar"),
    ]
    print(f"{'what':58} | {'measured':>9} | bar")
    for what, measured, bar in rows:
        print(f"{what:58} | {measured:>9} | {bar}")


if __name__ == "__main__":
    main()
