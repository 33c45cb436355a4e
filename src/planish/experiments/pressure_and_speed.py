"""Oxide with silica and with ceria: exponents of pressure and speed in the rate, and in the force of friction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from planish.experiments.record import Experiment, Row, scenario
from planish.predict.wafer.polish import polish

if TYPE_CHECKING:
    from planish.setup.models import Setup

PRESSURES = (60.0, 100.0, 300.0, 500.0, 700.0)  # [g/cm^2]
SPEEDS = (30.0, 60.0, 90.0, 120.0, 150.0)  # [rpm] of carrier and platen alike
GRAM_PER_CM2 = 98.0665  # [Pa]
PUBLISHED = {
    "fumed-silica-oxide": ("silica", 1.05, 0.79, 0.81, -0.03),
    "ceria-sti": ("ceria", 2.06, 0.98, 1.11, -0.10),
}


def _setup(slurry: str) -> Setup:
    """Return the invented rotary scenario with one timed step and that slurry."""
    setup = scenario()
    step = {
        "name": "main",
        "zone_pressures": "3 psi",
        "ring_pressure": "4 psi",
        "platen_speed": "60 rpm",
        "carrier_speed": "60 rpm",
        "flow": "150 ml/min",
        "conditioning": False,
        "time": "60 s",
    }
    return setup.replace(
        {
            "slurry": {"part": slurry},
            "wafer.film": [{"material": setup.rig.wafer.films[0].material, "thickness": "5 um"}],
            "recipe.step": [step],
        }
    )


def exponents(slurry: str) -> tuple[float, float, float, float]:
    """Return the exponents of pressure and speed in rate and in friction force, by least squares in logarithms."""
    setup = _setup(slurry)
    known, rates, forces = [], [], []
    for pressure in PRESSURES:
        for speed in SPEEDS:
            wafer = polish(
                setup.replace(
                    {
                        "recipe.step.1.zone_pressures": f"{pressure * GRAM_PER_CM2:.8g} Pa",
                        "recipe.step.1.ring_pressure": f"{1.2 * pressure * GRAM_PER_CM2:.8g} Pa",
                        "recipe.step.1.platen_speed": f"{speed:g} rpm",
                        "recipe.step.1.carrier_speed": f"{speed:g} rpm",
                    }
                )
            )
            step = wafer.steps[0]
            rate = wafer.mean(step.rate)
            if rate > 0:  # a law with a threshold leaves the lowest pressures untouched
                known.append((1.0, np.log(pressure), np.log(speed)))
                rates.append(np.log(rate))
                forces.append(np.log(step.friction * pressure))
    table = np.array(known)
    rate, force = (np.linalg.lstsq(table, np.array(each), rcond=None)[0] for each in (rates, forces))
    return float(rate[1]), float(rate[2]), float(force[1]), float(force[2])


def rows() -> list[Row]:
    """Compute the rows."""
    found = []
    names = ("rate on pressure", "rate on speed", "friction force on pressure", "friction force on speed")
    for slurry, (word, *measured) in PUBLISHED.items():
        for name, published, predicted in zip(names, measured, exponents(slurry), strict=True):
            found.append(Row(f"{word}: exponent of {name}", published, predicted, "", "shape"))
    return found


EXPERIMENT = Experiment(
    name="pressure-and-speed",
    title="Oxide rate and friction at 5 pressures and 5 speeds with a silica and a ceria slurry",
    source="Park, Kim, Kim, Jeong & Dornfeld 2009, eScholarship 7xx6j4s5",
    read="full text",
    rows=rows,
    said=(
        "Silica: the exponent of pressure is met within a tenth; that of speed is not, the rate falls further behind the speed "
        "than heat and slurry supply make it here. Ceria: the threshold part bends upward, not as far as an exponent near 2. "
        "Friction goes in proportion to pressure here, to its power 0.8 and 1.1 in the experiment; it falls a little with speed in the experiment and rises a little "
        "here, by the liquid's shear: summits carry all the load, and their coefficient of friction is one number."
    ),
)
