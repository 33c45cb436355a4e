"""Shallow trench isolation: oxide over nitride, then nitride and trench oxide side by side.

High: active areas (nitride under oxide). Low: trenches full of oxide. Until the oxide over the nitride is gone it
is an oxide step; from then on the nitride is the high area with its own, smaller rate, and the trench oxide dishes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.physics.pattern.areas import SOURCES as PAIR_SOURCES
from planish.predict.die.level import Level, Merit
from planish.predict.die.processes.oxide import BIAS
from planish.setup.processes import LIMIT, Process, key, material

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *PAIR_SOURCES,
    "Tugbawa 2002, MIT thesis: two-material polishing of patterned areas (from memory)",
)


@dataclass(frozen=True, slots=True)
class StiLevel(Level):
    """Oxide over nitride and trenches. The layout's layer is the active areas."""

    step: float = key(400e-9, "step before polishing")
    overburden: float = key(500e-9, "oxide on nitride")
    nitride: float = key(120e-9, "nitride on the active areas")
    bias: float = key(0.0, "how far the film moves each edge of the layout outwards", BIAS)
    nitride_limit: float = key(30e-9, "most nitride that may be lost", LIMIT)
    dishing_limit: float = key(60e-9, "most dishing", LIMIT)
    oxide_material: str = material("oxide", "its name in [removal]")
    nitride_material: str = material("nitride", "its name in [removal]")

    merits: ClassVar = (
        Merit("nitride_loss", "nitride lost", limit="nitride_limit"),
        Merit("dishing", "dishing", on="low", limit="dishing_limit"),
        Merit("oxide_on_nitride", "oxide left on nitride"),
        Merit("step_height", "local step", on="step", looked_for=False),
    )
    sources: ClassVar = SOURCES
    bias_key: ClassVar = "bias"
    bottom: ClassVar = "the nitride"

    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of the films on the active areas."""
        return (self.oxide_material, self.overburden), (self.nitride_material, self.nitride)

    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return nitride lost, dishing, oxide left on nitride, and the step.

        Parameters
        ----------
        lost
            Of the high area [m].
        step
            That is left from high to low area [m].
        bare
            How many films of the high area are gone.

        Returns
        -------
        dict[str, Array]
            [m] by name, each in the shape of the cells.
        """
        clear = bare > 0
        return {
            "nitride_loss": np.where(clear, np.maximum(lost - self.overburden, 0.0), 0.0),
            "dishing": np.where(clear, step, 0.0),
            "oxide_on_nitride": np.where(clear, 0.0, self.overburden - lost),
            "step_height": step,
        }


STI = Process(
    "sti", "oxide over nitride and trenches, until the nitride is bare", StiLevel(), any_films=("nitride",)
)
