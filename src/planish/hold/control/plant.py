"""A step to try a control on: the course of a lot that is polished once, and chance on top of it.

The course is that of the lot model with its pads and disks changed as asked for, wafer by wafer, without chance; the control
reads its own (:mod:`planish.hold.control.ageing`), which is close to it and not the same. On top come, each normal, the
machine's departure that wanders, a departure of each pad, disk and batch of slurry, a share by which each pad ages more or less
than the model says, and the wafer's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planish.engine.record import Record
from planish.hold.control.belief import Array, Spreads


@dataclass(frozen=True, slots=True, repr=False)
class Plant(Record):
    """The true step.

    Attributes
    ----------
    course
        Outputs of each wafer with unmoved settings, without chance, (n, outputs).
    aged
        Of that, what came since its pad was new, (n,).
    changed
        Before each wafer.
    gain
        What moves really do, (outputs, moves).
    spreads
        Of the chance.
    """

    course: Array
    aged: Array
    changed: tuple[tuple[str, ...], ...]
    gain: Array
    spreads: Spreads


@dataclass(frozen=True, slots=True, repr=False)
class Drawn(Record):
    """``outputs`` of each wafer with unmoved settings and ``errors`` of its metrology, (n, outputs); ``lost``: without one, (n,)."""

    outputs: Array
    errors: Array
    lost: Array


def drawn(plant: Plant, seed: int, number: int, missing: float = 0.0, wrong: float = 0.0) -> Drawn:
    """Return the chance of one course.

    Parameters
    ----------
    plant
        The true step.
    seed, number
        Of the trial, and of the course in it.
    missing
        Share of wafers that are not measured.
    wrong
        Share whose measurement is off by a tenth, up or down.

    Returns
    -------
    Drawn
        The same for the same numbers.
    """
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(number,))))
    wafers, outputs = plant.course.shape
    s = plant.spreads
    normal = rng.standard_normal((7, wafers, outputs))
    share = rng.random((2, wafers))
    side = rng.choice([-1.0, 1.0], size=wafers)
    new = np.array([[name in what for name in ("pad", "disk", "slurry")] for what in plant.changed])
    new[0, :2] = True

    def held(size: float, values: Array, at: Array) -> Array:
        """Return one value from each change to the next."""
        first = np.maximum.accumulate(np.where(at, np.arange(wafers), 0))
        return np.asarray(size * values[first])

    batches = np.cumsum(np.where(new[:, 2, None], s.slurry * normal[4], 0.0), axis=0)
    machine = s.start * normal[0, 0] + np.cumsum(s.wander * normal[1], axis=0) + batches
    more = held(s.ageing, normal[5], new[:, 0])
    departures = machine + held(s.pad, normal[2], new[:, 0]) + held(s.disk, normal[3], new[:, 1])
    outputs_of = plant.course + departures + more * plant.aged[:, None] + s.process * normal[6]
    errors = s.measurement * rng.standard_normal((wafers, outputs))
    errors += np.where(share[1] < wrong, 0.1 * side, 0.0)[:, None]
    return Drawn(outputs_of, errors, (share[0] < missing).astype(float))
