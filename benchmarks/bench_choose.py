"""A search of trade-offs: how much it adds to the wafers, and how near the front is after how many.

- Evaluations a second on one worker, and the processor time that the search takes beside the predictions, a setup.
- Front of rate and evenness over zone pressures, platen speed and three pads: hypervolume after so many setups tried, as a
  share of the largest reached by any of the searches here or by a grid of as many runs as the longest of them.
- The same for random points in place of the search, of as many runs (the mean of a few seeds).

    python benchmarks/bench_choose.py --most 200 --seeds 2
"""

from __future__ import annotations

import argparse
import random
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import planish
from planish.tuning.tradeoffs import front
from planish.tuning.tradeoffs.aims import read_aims
from planish.tuning.tradeoffs.knobs import changes_of, read_knobs
from planish.tuning.tradeoffs.predicted import Predictor, Trial
from planish.tuning.tradeoffs.search import Axis, Outcome, Point, search

SETUP = Path(__file__).parents[1] / "examples" / "tungsten.toml"
VARY = {
    "recipe.step.main.zone_pressures": "2..5 psi",
    "recipe.step.main.platen_speed": "60..120 rpm",
    "pad.part": "hard-solid, hard-microporous, medium-microporous",
}
AIMS = ("rate", "evenness")


class Counted:
    """Predicts points, keeps what came of each, and clocks the predictions."""

    def __init__(self) -> None:
        setup = planish.load(SETUP)
        self.knobs = read_knobs(setup, VARY)
        aims = [aim.known for aim in read_aims(AIMS)]
        self.trial = Trial(setup, Predictor(25), tuple(aim for aim in aims if aim is not None), ())
        self.held: dict[Point, Outcome] = {}
        self.inside = 0.0

    def evaluate(self, points: list[Point]) -> list[Outcome]:
        """Return the outcomes of points; none is predicted twice over all searches."""
        for point in points:
            if point not in self.held:
                begin = time.process_time()
                seen = self.trial.seen(changes_of(self.knobs, point))
                self.held[point] = seen.outcome(self.trial.aims)
                self.inside += time.process_time() - begin
        return [self.held[point] for point in points]


def drawn(axes: list[Axis], runs: int, seed: int) -> list[Point]:
    """Return points drawn evenly."""
    chance = random.Random(seed)
    return [
        tuple(
            float(chance.randrange(axis.count))
            if axis.count
            else axis.rounded(chance.uniform(axis.low, axis.high))
            for axis in axes
        )
        for _ in range(runs)
    ]


def gridded(axes: list[Axis], runs: int) -> list[Point]:
    """Return a grid of about so many points."""
    side = max(2, round((runs / axes[2].count) ** 0.5))
    low = [np.linspace(axis.low, axis.high, side) for axis in axes[:2]]
    return [
        (float(a), float(b), float(place)) for a in low[0] for b in low[1] for place in range(axes[2].count)
    ]


def values(outcomes: list[Outcome]) -> NDArray[np.float64]:
    """Return the values of those that count."""
    return np.array([one.values for one in outcomes if one.counts], dtype=np.float64)


def main() -> None:
    """Print both tables."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--most", type=int, default=200)
    asked.add_argument("--seeds", type=int, default=2)
    options = asked.parse_args()
    from pymoo.indicators.hv import HV

    work = Counted()
    axes = [knob.axis for knob in work.knobs]
    work.evaluate(drawn(axes, 3, 99))  # loads and compiles
    work.inside, predicted = 0.0, len(work.held)
    begin, wall = time.process_time(), time.perf_counter()
    search(axes, 2, work.evaluate, runs=options.most, seed=0)
    wall, spent = time.perf_counter() - wall, time.process_time() - begin
    made = len(work.held) - predicted
    beside = 1e3 * (spent - work.inside) / made
    print(f"{made / wall:.1f} setups a second with one worker; the search adds {beside:.2f} ms to each")

    sizes = [size for size in (25, 50, 100, 200, 400, 800) if size <= options.most]
    found: dict[tuple[str, int], list[NDArray[np.float64]]] = {}
    for size in sizes:
        for seed in range(options.seeds):
            tried = search(axes, 2, work.evaluate, runs=size, seed=seed)
            found.setdefault(("search", size), []).append(values(list(tried.values())))
            found.setdefault(("random", size), []).append(values(work.evaluate(drawn(axes, size, seed))))
        found["grid", size] = [values(work.evaluate(gridded(axes, size)))]
    every = np.concatenate([one for each in found.values() for one in each])
    best = every[front.unbeaten(every)]
    low, wide = best.min(axis=0), np.ptp(best, axis=0)
    volume = HV(ref_point=np.array([1.1, 1.1]))
    whole = float(volume((best - low) / wide))
    print("share of the largest hypervolume after so many setups")
    print("setups " + "".join(f"{name:>10}" for name in ("search", "random", "grid")))
    for size in sizes:
        shares = [
            np.mean([float(volume((one - low) / wide)) / whole for one in found[name, size]])
            for name in ("search", "random", "grid")
        ]
        print(f"{size:6d} " + "".join(f"{100 * share:9.1f}%" for share in shares))


if __name__ == "__main__":
    main()
