"""What differs by chance from wafer to wafer: incoming film, process noise, slurry batch, measurement.

Every wafer draws from its own stream, SeedSequence(seed, (wafer,)), so that the
numbers do not depend on the order of work.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Default spreads of incoming film, process, slurry batches and measurement: invented for the demo",
)


@dataclass(frozen=True, slots=True)
class Variation:
    """Relative standard deviations of what varies by chance; all 0 for none.

    ``incoming``: mean incoming thickness; ``incoming_bow``: its edge against its centre;
    ``process``: the rate, wafer to wafer; ``slurry_batch``: the rate, batch to batch;
    ``measurement``: of the measured removal that run-to-run adjusting sees.
    """

    incoming: float = 0.01
    incoming_bow: float = 0.005
    process: float = 0.005
    slurry_batch: float = 0.02
    measurement: float = 0.003

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value <= 0.5:
                raise ModelError(refuse(f"variation: {field.name}", value, "0 to 0.5 (relative)"))

    @classmethod
    def none(cls) -> Variation:
        """Return the variation of a world without chance."""
        return cls(0.0, 0.0, 0.0, 0.0, 0.0)


class Chance(NamedTuple):
    """What one wafer drew: see :class:`Draws`."""

    incoming: float
    bow: float
    process: float
    measurement: float
    batch: float


@dataclass(frozen=True, slots=True, repr=False)
class Draws(Record):
    """One factor or relative deviation a wafer, (n,): see :class:`Variation`.

    Attributes
    ----------
    incoming, bow, process, measurement
        Drawn for each wafer.
    batch
        Drawn if one begins at that wafer.
    """

    incoming: Array
    bow: Array
    process: Array
    measurement: Array
    batch: Array

    def of(self, wafer: int) -> Chance:
        """Return what wafer number ``wafer`` (from 0) drew."""
        return Chance(
            float(self.incoming[wafer]),
            float(self.bow[wafer]),
            float(self.process[wafer]),
            float(self.measurement[wafer]),
            float(self.batch[wafer]),
        )


def draw(variation: Variation, wafers: int, seed: int) -> Draws:
    """Draw what varies from wafer to wafer.

    Normal deviates cut at three standard deviations; the same seed gives the same numbers, and a longer lot
    begins with those of a shorter one.

    Parameters
    ----------
    variation
        Spreads.
    wafers
        How many.
    seed
        0 or more.

    Returns
    -------
    Draws
        A column a chance, for wafers 1 to ``wafers``.

    Raises
    ------
    ModelError
        For a seed that is no whole number, 0 or more.
    """
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise ModelError(refuse("seed", seed, "a whole number, 0 or more"))
    normal = np.empty((wafers, 5))
    for wafer in range(wafers):
        stream = np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(int(seed), spawn_key=(wafer + 1,)))
        )
        normal[wafer] = stream.standard_normal(5)
    normal = np.clip(normal, -3.0, 3.0)
    return Draws(
        incoming=1.0 + variation.incoming * normal[:, 0],
        bow=variation.incoming_bow * normal[:, 1],
        process=1.0 + variation.process * normal[:, 2],
        measurement=1.0 + variation.measurement * normal[:, 3],
        batch=1.0 + variation.slurry_batch * normal[:, 4],
    )
