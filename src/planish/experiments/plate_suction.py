"""Fluid pressure under a flat plate that slides on a wet pad."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.experiments.record import Experiment, Row
from planish.physics.slurry.film import film_cells, film_pressure
from planish.physics.slurry.film_balance import Flow, RigidHead
from planish.physics.slurry.gap import Gap

Array = NDArray[np.float64]
# The rig is not described beyond a bare steel plate: all of these are assumed, of the usual size.
RADIUS, LOAD, SPEED, WATER = 50e-3, 20e3, 0.6, 1e-3  # [m], [Pa], [m/s], [Pa s]
GAP = Gap(height=21e-6, roughness=7.8e-6, tail=5e-6)  # an ungrooved hard pad
FRICTION, GIMBAL = 0.35, 20e-3  # coefficient, and height [m] of the point about which the plate turns
GIVE = 2.8e-10  # [m/Pa] of the pad
SUCTION = -75.0  # [% of the load], the middle of 50 to 100 %
THIRDS = {"leading": -1.0, "middle": -1.0, "trailing": 1.0}  # above or below ambient


def carried(
    speed: float = SPEED, gimbal: float = GIMBAL, dish: float = 0.0
) -> tuple[float, dict[str, float]]:
    """Return what the liquid carries of the load [%]: of the whole, and the mean pressure of each third along the sliding.

    Parameters
    ----------
    speed
        Of sliding [m/s].
    gimbal
        Height of the point about which the plate turns [m].
    dish
        How far the plate's middle stands back behind its rim [m].
    """
    faces = film_cells()
    radius = 2 / 3 * np.diff(faces**3) / np.diff(faces**2)
    load = LOAD + dish / GIVE * (radius**2 - 0.5)
    held = RigidHead(GIVE, FRICTION * gimbal)
    film = film_pressure(GAP, Flow(WATER, speed, 0.0), RADIUS, load, float(load[-1]), held=held)
    fine = _around(film.fluid / LOAD)
    many = 2 * np.pi * (np.arange(fine.shape[1]) + 0.5) / fine.shape[1]
    along = radius[:, None] * np.cos(many)
    area = np.diff(faces**2)[:, None] * np.ones_like(many)
    parts = {"leading": along < -1 / 3, "middle": np.abs(along) <= 1 / 3, "trailing": along > 1 / 3}
    thirds = {name: 100 * float(np.average(fine[part], weights=area[part])) for name, part in parts.items()}
    return 100 * (1 - film.share), thirds


def _around(values: Array, count: int = 90) -> Array:
    """Return values on spokes at ``count`` angles between them, by their Fourier series."""
    waves = np.fft.rfft(values, axis=1) / values.shape[1]
    angles = 2 * np.pi * (np.arange(count) + 0.5) / count
    turns = np.exp(1j * np.arange(waves.shape[1])[:, None] * angles)
    return np.asarray(np.real(2 * waves @ turns) - np.real(waves[:, :1]))


def rows() -> list[Row]:
    """Compute the rows."""
    mean, thirds = carried()
    signs = [
        Row(
            f"{name} third: above (1) or below (-1) ambient",
            measured,
            float(np.sign(thirds[name])),
            "",
            "shape",
        )
        for name, measured in THIRDS.items()
    ]
    return [Row("liquid's part of the load", SUCTION, mean, "%", "shape"), *signs]


EXPERIMENT = Experiment(
    name="plate-suction",
    title="Fluid pressure under a flat plate on a wet pad without grooves",
    source="Shan et al. 2000, J. Tribol.",
    read="abstract",
    rows=rows,
    said=(
        "The liquid sucks, as measured, by half of what was found (50 to 100 % of the load); the two leading thirds lie below "
        "ambient, as measured. The trailing third lay above and does not here. A plate whose middle stands back by 6 um, turning "
        "about a low point, has that pattern here, but then the liquid carries a tenth of the load: pattern and size are not met "
        "together. Plate, load, speed, gap and the point about which it turns are assumed."
    ),
)
