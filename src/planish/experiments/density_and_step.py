"""Which of two simple laws of a step does at high and which at low density."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.experiments.assumed_pad import STEPS_SLIDING, selectivity_length
from planish.experiments.record import Experiment, Row
from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.oxide_step import blanket_removed, contact_height_step

Array = NDArray[np.float64]
RATE, STEP, PRESSURE, WIDTH = (
    250e-9 / 60,
    800e-9,
    20e3,
    50e-6,
)  # of the usual size: the source names none here
HIGH, LOW = 0.9, 0.1  # densities
HEIGHTS = np.linspace(0.5, 6.0, 45)  # contact heights that are tried, over the selectivity length


def course(density: float) -> tuple[Array, Array, float]:
    """Return what a blanket film loses [m], the step left of areas side by side then [m], and their selectivity length [m]."""
    width = np.array([WIDTH])
    length = selectivity_length(width, width, PRESSURE, sliding=STEPS_SLIDING)
    times = np.linspace(5.0, 1.3 * density * STEP / RATE + 40.0, 40)
    film, low = HighLayer(np.inf, [RATE]), Low([RATE], np.array([STEP]))
    left = [float(polish_areas([film], low, [time], density, length).height[0]) for time in times]
    return RATE * times, np.array(left), float(length[0])


def density_law_off(density: float) -> float:
    """Return by how much the density law's step is off at most [% of the step]."""
    blanket, left, _ = course(density)
    return 100 * float(np.abs(blanket_removed(density, STEP, blanket)[1] - left).max()) / STEP


def step_law_off(density: float) -> tuple[float, float]:
    """Return the same of the law with a contact height, at the best one, and that height over the selectivity length."""
    blanket, left, length = course(density)
    tried = [
        (float(np.abs(contact_height_step(density, STEP, h * length, blanket)[2] - left).max()), float(h))
        for h in HEIGHTS
    ]
    off, height = min(tried)
    return 100 * off / STEP, height


def rows() -> list[Row]:
    """Compute the rows."""
    return [
        Row("density law at 90 %, off by at most", 0.0, density_law_off(HIGH), "% of the step", "shape"),
        Row(
            "law with a contact height at 10 %, off by at most",
            0.0,
            step_law_off(LOW)[0],
            "% of the step",
            "shape",
        ),
    ]


EXPERIMENT = Experiment(
    name="density-and-step",
    title="Which step law does: density for dense patterns, step height for sparse ones",
    source="Dutt 2001, MIT thesis (dspace 1721.1/8947)",
    read="abstract",
    rows=rows,
    said=(
        "Both laws are held against the one with summits, which has density and step height in it. The density law is off by a "
        "tenth of the step at 90 % and by a quarter at 10 %, where the low areas are felt from five selectivity lengths on and not "
        "from two: it does for dense patterns and fails for sparse ones, as was found. The law with a contact height, the best one "
        "chosen for each density, does for both."
    ),
)
