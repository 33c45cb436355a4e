"""Metal lines in a dielectric: bulk metal, landing on the barrier, barrier, overpolish, whatever the metal.

High: the dielectric between the lines, under barrier and metal overburden. Low: the lines, all metal. The recipe's
steps give the bulk, soft-landing and barrier stages their own rates; the films of the high area follow one another,
each cell in its own time. Dishing is metal below dielectric, erosion is dielectric lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.physics.pattern.metal import SOURCES, conformal_step
from planish.predict.die.level import Level, Merit
from planish.setup.processes import LIMIT, key, material
from planish.setup.quantity import Quantity

if TYPE_CHECKING:
    from planish.predict.die.cells import DieInput

Array = NDArray[np.float64]
_BARRIER = Quantity("thickness", low="0 nm", least="0.01 nm", high="1 um", typical=("1 nm", "100 nm"))
_THINNEST = 1e-12  # [m] that stands for no barrier
_NONE = 1e-6  # a share below this counts as none


@dataclass(frozen=True, slots=True)
class MetalLevel(Level):
    """Metal in trenches of a dielectric. The layout's layer is the lines."""

    trench_depth: float = key(300e-9, "depth of the lines in the dielectric")
    overburden: float = key(600e-9, "metal on the dielectric")
    deposited: float = key(600e-9, "how thick the film was laid, which sets its step over a line")
    barrier: float = key(25e-9, "barrier under it; 0 nm for none", _BARRIER)
    dishing_limit: float = key(60e-9, "most dishing", LIMIT)
    erosion_limit: float = key(40e-9, "most dielectric that may be lost", LIMIT)
    metal: str = material("copper", "its name in [removal]; the process's where not given")
    barrier_material: str = material("tantalum", "the barrier's name in [removal]")
    dielectric: str = material("oxide", "the dielectric's name in [removal]")

    merits: ClassVar = (
        Merit("dishing", "dishing", on="low", limit="dishing_limit"),
        Merit("erosion", "dielectric lost", limit="erosion_limit"),
        Merit("metal_left", "metal left over the dielectric"),
        Merit("barrier_left", "barrier left over the dielectric"),
    )
    sources: ClassVar = SOURCES
    lines: ClassVar = "low"
    step_key: ClassVar = "trench_depth"
    step_by_width: ClassVar = True
    bottom: ClassVar = "the full depth of the lines"

    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of the films on the dielectric; a barrier of nothing goes at its rate."""
        between = self.barrier_material if self.barrier > 0 else self.dielectric
        return (self.metal, self.overburden), (between, self._between), (self.dielectric, self.trench_depth)

    @property
    def _between(self) -> float:
        return max(self.barrier, _THINNEST)

    def low_thickness(self, step: Array) -> Array:
        """Return the metal in a line and over it [m]."""
        return self.trench_depth + self.overburden + self._between - step

    def start_step(self, cells: DieInput) -> Array:
        """Return the step of each cell before polishing [m]: narrow lines are filled flat."""
        # A line that fills its cell shows no width there: it is wide and keeps its depth.
        wide = (cells.high <= _NONE) & ~np.isfinite(cells.low_width)
        width = np.where(wide, np.inf, np.where(np.isfinite(cells.low_width), cells.low_width, 0.0))
        return conformal_step(width, self.trench_depth, self.deposited)

    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return dishing, erosion, and metal and barrier left.

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
        above = self.overburden + self._between
        return {
            "dishing": np.where(bare > 0, step, 0.0),
            "erosion": np.where(bare > 1, np.maximum(lost - above, 0.0), 0.0),
            "metal_left": np.where(bare > 0, 0.0, self.overburden - lost),
            "barrier_left": np.clip(above - lost, 0.0, self._between),
        }
