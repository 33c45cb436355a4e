"""Do 90 % intervals of fitted numbers hold the true ones? Known numbers, drawn errors, many seeds, five sets of data.

Usage: python benchmarks/bench_calibrate.py [SEEDS]

Each set is made from the power law k p^a v^b with a spread of temperatures, by the very law functions that a wafer asks;
the fit knows neither the numbers nor, but for the first set, how large the errors are. Bars: 86 to 94 % of the
intervals of each number hold the true one (800 seeds: two standard errors of such a share are 2.1 %).

- rates, error known: 12 rates at four pressures and three speeds, each off by a stated 2 %
- rates, error unknown: the same, the error estimated from what is left over (8 degrees of freedom)
- maps: six wafers of 31 sites on six rings; sites off by 1 %, rings together by 1.5 %, all unknown
- maps, wafers off: the same, and each whole wafer off by 0.6 % or 2 % besides, unknown too
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

import planish
from planish.engine.execute import run_all
from planish.fit.calibrate.doubt import intervals
from planish.fit.calibrate.model import Model
from planish.fit.calibrate.observed import Observed
from planish.fit.calibrate.parameters import parameters
from planish.fit.calibrate.scatter import Scatter, layout
from planish.fit.calibrate.solve import Problem, solve
from planish.physics.removal.laws import removal_rate
from planish.units import PSI, to_si

Array = NDArray[np.float64]
LEVEL, LOW, HIGH = 0.9, 0.86, 0.94
FREE = (
    "removal.oxide.rate",
    "removal.oxide.coefficients.alpha",
    "removal.oxide.coefficients.beta",
    "removal.oxide.activation_energy",
)
TRUE = {FREE[0]: 237.0, FREE[1]: 0.87, FREE[2]: 1.08, FREE[3]: 23.0}
LAW = """
schema = 1
[wafer]
part = "silicon-300"
[[wafer.film]]
material = "oxide"
thickness = "3000 nm"
[polisher]
part = "rotary-300"
[removal.oxide]
law = "power"
rate = "250 nm/min"
activation_energy = "11 kJ/mol"
[removal.oxide.coefficients]
alpha = 1.0
beta = 1.0
[[recipe.step]]
name = "main"
zone_pressures = "3 psi"
ring_pressure = "4 psi"
platen_speed = "90 rpm"
carrier_speed = "83 rpm"
flow = "250 ml/min"
time = "60 s"
"""
P0, V0, T0, GAS = 3 * PSI, 1.0, 305.15, 8.314462618


@dataclass(frozen=True)
class Numbers:
    """Stands for a setup where only four numbers of it are asked for: a whole one takes 5 ms to make."""

    name: str = "bench"
    values: dict[str, Any] = field(default_factory=dict)

    def replace(self, changes: dict[str, Any]) -> Numbers:
        return Numbers(self.name, {**self.values, **changes})


@dataclass(frozen=True)
class Rates:
    """Rates by the power law at pressures, speeds and temperatures, each times a shape."""

    p: Array
    v: Array
    temperature: Array
    shape: Array

    def __call__(self, numbers: Any) -> Array:
        rate = to_si(numbers.values[FREE[0]], "rate")
        alpha, beta = (float(numbers.values[path]) for path in FREE[1:3])
        energy = to_si(numbers.values[FREE[3]], "energy_per_mol")
        k = rate / (P0**alpha * V0**beta)
        warm = np.exp(energy / GAS * (1.0 / T0 - 1.0 / self.temperature))
        return (
            removal_rate("power", {"k": k, "alpha": alpha, "beta": beta}, self.p, self.v) * warm * self.shape
        )


def _settings() -> tuple[Array, Array, Array]:
    p = np.repeat(np.array([1.5, 2.5, 4.0, 6.0]) * PSI, 3)
    v = np.tile([0.5, 1.0, 1.8], 4)
    temperature = 295.0 + np.array([0, 14, 6, 18, 3, 9, 12, 1, 20, 5, 16, 8], dtype=np.float64)
    return p, v, temperature


def _truth() -> Numbers:
    return Numbers().replace(
        {FREE[0]: "237 nm/min", FREE[1]: TRUE[FREE[1]], FREE[2]: TRUE[FREE[2]], FREE[3]: "23 kJ/mol"}
    )


def rates(seed: int, known: bool) -> list[Observed]:
    """Twelve rates, each off by 2 %."""
    rng = np.random.default_rng([seed, 1])
    p, v, temperature = _settings()
    predict = Rates(p, v, temperature, np.ones(p.size))
    true = predict(_truth())
    error = 0.02 * (true if known else np.full(p.size, true.mean()))
    values = true + error * rng.standard_normal(p.size)
    sd = error if known else np.zeros(p.size)
    return [Observed("rates", "rate", values, sd, "m/s", np.arange(p.size), predict, (), (), {})]


def maps(seed: int, _known: bool) -> list[Observed]:
    """Six wafers of 31 sites on six rings: sites off by 1 %, rings by 1.5 % together."""
    return _maps(np.random.default_rng([seed, 2]), 0.0)


def little(seed: int, _known: bool) -> list[Observed]:
    """The same, and each whole wafer off by 0.6 %, as much as its rings make it differ anyway."""
    return _maps(np.random.default_rng([seed, 4]), 0.006)


def wafers(seed: int, _known: bool) -> list[Observed]:
    """The same, and each whole wafer off by 2 %."""
    return _maps(np.random.default_rng([seed, 3]), 0.02)


def _maps(rng: np.random.Generator, whole_wafer: float) -> list[Observed]:
    p, v, temperature = (each[[0, 2, 4, 7, 9, 11]] for each in _settings())
    ring = np.repeat(np.arange(6), [1, 6, 6, 6, 6, 6])
    out = []
    for index in range(6):
        whole = [np.full(ring.size, each[index]) for each in (p, v, temperature)]
        predict = Rates(*whole, 1.0 - 0.002 * ring)
        true = predict(_truth())
        off = 0.01 * rng.standard_normal(ring.size) + 0.015 * rng.standard_normal(6)[ring]
        if whole_wafer:
            off = off + whole_wafer * rng.standard_normal()
        values = true + true.mean() * off
        out.append(
            Observed(f"w{index}", "sites", values, np.zeros(ring.size), "m/s", ring, predict, (), (), {})
        )
    return out


SETS = {
    "rates, error known": (rates, True),
    "rates, error unknown": (rates, False),
    "maps": (maps, False),
    "maps, wafers off 0.6 %": (little, False),
    "maps, wafers off 2 %": (wafers, False),
}


def one(piece: tuple[str, int]) -> tuple[list[bool], list[float]]:
    """Return, by number, whether its interval holds the true value, and how wide it is."""
    name, seed = piece
    make, known = SETS[name]
    observed = make(seed, known)
    free = parameters(planish.loads(LAW), FREE)
    model = Model(Numbers(), tuple(observed), free)  # type: ignore[arg-type]
    where = layout(observed)
    found = solve(model, where, False, "huber", 2)
    scatter = Scatter(where, found.scatter.shares, found.scatter.widened, np.ones(where.kind.size))
    ends = intervals(Problem(model, where, found.precision, "huber", scatter), found, LEVEL)
    holds, widths = [], []
    for each, end in zip(free, ends, strict=True):
        true = TRUE[each.path]
        low, high = (each.shown(each.value(at)) for at in (end.low, end.high))
        holds.append(low <= true <= high)
        widths.append((high - low) / true)
    return holds, widths


def coverage(seeds: int, workers: int | None = None) -> dict[str, tuple[list[float], list[float]]]:
    """Return, by set of data, the share of intervals that hold the true value and their mean width, by number."""
    out = {}
    for name in SETS:
        rows = run_all(one, [(name, seed) for seed in range(seeds)], workers=workers, processes=True)
        out[name] = (
            list(np.mean([row[0] for row in rows], axis=0)),
            list(np.mean([row[1] for row in rows], axis=0)),
        )
    return out


def main() -> None:
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 800
    begin = time.perf_counter()
    found = coverage(seeds, 2)
    print(f"{seeds} seeds, intervals of {100 * LEVEL:g} %; bar {100 * LOW:g} to {100 * HIGH:g} %")
    print(f"{'data':24s}" + "".join(f"{path.rsplit('.', 1)[-1]:>22s}" for path in FREE))
    met = True
    for name, (shares, widths) in found.items():
        cells = [
            f"{100 * share:6.1f} % (±{50 * width:5.1f} %)"
            for share, width in zip(shares, widths, strict=True)
        ]
        print(f"{name:24s}" + "".join(f"{cell:>22s}" for cell in cells))
        met &= all(LOW <= share <= HIGH for share in shares)
    print(f"bar {'met' if met else 'NOT met'}, {time.perf_counter() - begin:.0f} s")


if __name__ == "__main__":
    main()
