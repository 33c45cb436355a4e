"""Oxide with a little ceria and an amino acid: is there a pressure below which nothing goes?"""

from __future__ import annotations

import numpy as np

from planish.experiments.record import Experiment, Kind, Row
from planish.fit.law import LawFit, fit_law
from planish.units import NM_PER_MIN

BY_PRESSURE = ((15.2, 13.2), (31.0, 64.6), (46.2, 112.0))  # [kPa], [nm/min] at 100 rpm
BY_SPEED = ((50.0, 26.7), (100.0, 64.6), (150.0, 135.0))  # [rpm], [nm/min] at 31 kPa
PER_RPM = 0.01  # [m/s]: the radius is not given, and no exponent hangs on it


def fitted(law: str) -> LawFit:
    """Fit a law to the three pressures."""
    p, rate = zip(*BY_PRESSURE, strict=True)
    held = {"beta": 1.0}
    return fit_law(
        law,
        [1e3 * each for each in p],
        100 * PER_RPM,
        [each / NM_PER_MIN for each in rate],
        held=held,
    )


def speed_power() -> float:
    """Return the power of the speed by the slowest and the fastest."""
    (v1, r1), (v2, r2) = BY_SPEED[0], BY_SPEED[-1]
    return float(np.log(r2 / r1) / np.log(v2 / v1))


def rows() -> list[Row]:
    """Compute the rows."""
    found = []
    for law in ("threshold", "power"):
        for (p, rate), predicted in zip(BY_PRESSURE, fitted(law).fitted, strict=True):
            found.append(
                Row(f"{law} law: {p:g} kPa", rate, float(predicted) * NM_PER_MIN, "nm/min", "fitted")
            )
    (slowest, rate), power = BY_SPEED[0], speed_power()
    for index, (speed, measured) in enumerate(BY_SPEED):
        kind: Kind = "predicted" if index == 1 else "fitted"
        predicted = rate * (speed / slowest) ** power
        found.append(
            Row(f"speed to the power {power:.2f}: {speed:g} rpm", measured, predicted, "nm/min", kind)
        )
    return found


EXPERIMENT = Experiment(
    name="threshold",
    title="Oxide rate with 0.1 % ceria and aspartic acid at 3 pressures and 3 speeds",
    source="Manivannan & Ramanathan 2010, Thin Solid Films 518, 5737, table 1",
    read="full text",
    rows=rows,
    said=(
        "The data choose: a threshold of 11 kPa meets the three pressures within a hundredth, a power law is off by up to a seventh. The "
        "rate grows faster than the speed, which the threshold law takes as its power beta."
    ),
)
