"""Traces and rates of an invented polisher, for when no open data are at hand.

Nothing here was measured. The scenario is our own: two stages on two pairs of
platens, a small designed change of pressure and speed from wafer to wafer (so
that an exponent can be found, unlike in production), a dressing disk that
dulls and is renewed, a slow drift, noise, and the usual dirt of real files:
repeated samples, samples out of order, a gap, a rate that cannot be true.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]

#: What the scenario obeys: ln rate = ln constant + exponent ln(p v) + per_use * use_dresser + drift + noise.
TRUTH = {"exponent": 0.9, "per_use": -3e-4, "noise": 0.02, "drift_step": 0.003}
CONSTANT = {"first": 240.0, "second": 120.0}
DISK_LIFE = 500.0


def invented_traces(seed: int, wafers: int = 300) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return samples and rates of invented wafers, each polished in two stages.

    Parameters
    ----------
    seed
        The same seed gives the same numbers.
    wafers
        How many.

    Returns
    -------
    tuple[pl.DataFrame, pl.DataFrame]
        (samples, rates), columns as :func:`~planish.measure.traces.read.read_traces` and
        :func:`~planish.measure.traces.read.read_rates` give them.
    """
    import polars as pl

    rng = np.random.default_rng(np.random.SeedSequence(seed))
    clock = 0.0
    dresser = rng.uniform(0, DISK_LIFE)
    membrane = 0.0
    drift = {"first": 0.0, "second": 0.0}
    blocks: list[dict[str, Array | list[str]]] = []
    rates: list[tuple[str, str, float]] = []
    for i in range(wafers):
        wafer = f"W{i + 1:04d}"
        membrane = 0.0 if membrane > 400 else membrane + 1.0
        for stage, chambers in (("first", ("1", "2")), ("second", ("3", "4"))):
            dresser = 0.0 if dresser > DISK_LIFE else dresser + 1.2
            p, v = 1 + 0.1 * rng.uniform(-1, 1), 1 + 0.1 * rng.uniform(-1, 1)
            drift[stage] += TRUTH["drift_step"] * rng.normal()
            log = np.log(CONSTANT[stage]) + TRUTH["exponent"] * np.log(p * v) + TRUTH["per_use"] * dresser
            rates.append((wafer, stage, float(np.exp(log + drift[stage] + TRUTH["noise"] * rng.normal()))))
            for chamber, seconds in zip(chambers, (45, 30), strict=True):
                labels = {"wafer": wafer, "stage": stage, "chamber": chamber}
                uses = {"use_dresser": dresser, "use_membrane": membrane}
                blocks.append(_samples(rng, labels, uses, clock, seconds, p, v))
                clock += seconds + 20
        clock += rng.uniform(20, 60)
    samples = pl.concat([pl.DataFrame(b) for b in blocks])
    rates[7] = (rates[7][0], rates[7][1], 9999.0)
    return _soil(samples, rng), pl.DataFrame(rates, schema=["wafer", "stage", "rate"], orient="row")


def _samples(
    rng: np.random.Generator,
    labels: dict[str, str],
    uses: dict[str, float],
    start: float,
    seconds: int,
    p: float,
    v: float,
) -> dict[str, Array | list[str]]:
    """One chamber's samples: 5 s of approach, the polish, 5 s of lift-off, one a second."""
    n = seconds + 10
    t = np.arange(n, dtype=np.float64)
    on = ((t >= 5) & (t < 5 + seconds)).astype(np.float64)

    def noisy(level: float, spread: float = 0.01) -> Array:
        return np.maximum(level * on * (1 + spread * rng.normal(size=n)), 0.0)

    return {
        "time": start + t,
        **{name: [label] * n for name, label in labels.items()},
        "pressure_main": noisy(250 * p),
        "pressure_centre": noisy(65 * p),
        "pressure_edge": noisy(48 * p),
        "pressure_ring": noisy(1450 * p),
        "speed": noisy(90 * v, 0.003),
        "flow_a": noisy(200.0),
        **{name: np.full(n, use) for name, use in uses.items()},
    }


def _soil(samples: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Add what real files have: 40 repeated samples, 10 swapped neighbours, a gap of 90 s in one wafer."""
    import polars as pl

    n = samples.height
    order = np.arange(n)
    for i in rng.choice(n - 2, 10, replace=False):
        order[[i, i + 1]] = order[[i + 1, i]]
    order = np.insert(order, rng.choice(n, 40, replace=False), rng.choice(n, 40, replace=False))
    middle = samples["wafer"][n // 2]
    lost = (pl.col("wafer") == middle) & (pl.col("chamber") == "2")
    shift = pl.when(lost).then(90.0).otherwise(0.0)
    return samples[order].with_columns(time=pl.col("time") + shift)
