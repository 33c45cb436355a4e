"""Copper lines over a tantalum barrier, plated conformally or from the bottom up."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.physics.pattern.metal import overplated_share
from planish.predict.die.processes.metal import MetalLevel
from planish.setup.processes import Process, key
from planish.setup.quantity import Quantity

if TYPE_CHECKING:
    from planish.predict.die.cells import DieInput

Array = NDArray[np.float64]
_HILL = Quantity("thickness", low="-2 um", high="2 um", typical=("-100 nm", "600 nm"))


@dataclass(frozen=True, slots=True)
class CopperLevel(MetalLevel):
    """Copper in trenches of a dielectric. The layout's layer is the lines."""

    overplating: float = key(
        0.0,
        "how much higher the copper stands over dense fine lines than on the field, as bottom-up plating leaves it; "
        "below 0: lower",
        _HILL,
    )

    def doubts(self) -> Iterator[tuple[str, str]]:
        """Yield the key and what is odd about its value beside the others."""
        if self.overplating > self.deposited:
            yield "overplating", "more than the film is thick as deposited"

    def raised(self, cells: DieInput) -> Array | float:
        """Return how much thicker the copper is over each cell than on the field [m].

        Raises
        ------
        SetupError
            Where nothing would be left on the dielectric.
        """
        if self.overplating == 0.0:
            return 0.0
        if not self.overburden + self.overplating > 0.0:
            raise SetupError(
                refuse(
                    "die.overplating [m]",
                    self.overplating,
                    f"above {-self.overburden:g}, where no copper would be left on the dielectric",
                )
            )
        known = np.isfinite(cells.low_width) & np.isfinite(cells.low_bridged)
        walls = np.where(known, 2.0 * (1.0 - cells.high) / np.where(known, cells.low_bridged, 1.0), 0.0)
        width = np.where(known, cells.low_width, 0.0)
        return self.overplating * overplated_share(width, walls, self.trench_depth, self.deposited)

    def remarks(self, cells: DieInput) -> list[str]:
        """Say how high copper stands over this layout's lines, or that none of them is fine and dense enough."""
        if self.overplating == 0.0:
            return []
        most = float(np.max(np.abs(self.raised(cells))))
        if most == 0.0:
            return [
                "die.overplating: no line of this layout closes as it is plated, so copper stands nowhere higher"
            ]
        way = "higher" if self.overplating > 0 else "lower"
        return [
            f"die.overplating: copper stands up to {1e9 * most:.3g} nm {way} over lines than on the field"
        ]


COPPER = Process(
    "copper", "copper in trenches, until copper and barrier are off the field", CopperLevel(), ("copper",)
)
