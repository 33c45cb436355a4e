"""Grain size: two series of ceria slurries with opposite signs."""

from __future__ import annotations

import numpy as np

from planish.experiments.record import Experiment, Kind, Row
from planish.physics.removal.factors import size_factor

SMALLER_IS_FASTER = ((51.0, 5394.0), (69.0, 4392.0), (108.0, 3546.0))  # [nm], [A/min]
LARGER_IS_FASTER = ((178.0, 1174.0), (273.0, 1794.0), (326.0, 2369.0), (484.0, 2674.0))


def exponent(series: tuple[tuple[float, float], ...]) -> float:
    """Return the power of the size by the two ends of a series."""
    (d1, r1), (d2, r2) = series[0], series[-1]
    return float(np.log(r2 / r1) / np.log(d2 / d1))


def _rows(series: tuple[tuple[float, float], ...]) -> list[Row]:
    power, (first, rate) = exponent(series), series[0]
    found = []
    for index, (size, measured) in enumerate(series):
        kind: Kind = "fitted" if index in (0, len(series) - 1) else "predicted"
        found.append(
            Row(f"grains of {size:g} nm", measured, rate * size_factor(size, first, power), "A/min", kind)
        )
    return found


SMALL = Experiment(
    name="small-grains",
    title="Oxide rate with ceria of 51 to 108 nm at 0.3 % by weight",
    source="Kim et al., doped ceria series",
    read="full text",
    rows=lambda: _rows(SMALLER_IS_FASTER),
    said="Here smaller grains are faster: the power of the size is fitted to the ends, the middle one predicted.",
)
LARGE = Experiment(
    name="large-grains",
    title="Oxide rate with ceria slurries of 178 to 484 nm",
    source="Oh et al., Powder Technology / Microelectronic Engineering",
    read="full text",
    rows=lambda: _rows(LARGER_IS_FASTER),
    said="Here larger grains are faster: the sign belongs to the slurry, and is fitted, not foreseen.",
)
