"""A die process: polymer over walls of oxide and the gaps between them; invented."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from planish.physics.pattern import areas
from planish.predict.die.level import Level, Merit
from planish.setup.processes import LIMIT, Process, key, material


@dataclass(frozen=True, slots=True)
class PolymerFill(Level):
    """Polymer over walls and the gaps between them. The layout's layer is the walls."""

    gap_step: float = key(200e-9, "step of the polymer over a gap")
    coat: float = key(300e-9, "polymer on the walls")
    wall_limit: float = key(15e-9, "most that the walls may lose", LIMIT)
    sag_limit: float = key(50e-9, "most that the polymer may lie below the walls", LIMIT)
    polymer: str = material("polymer", "its name in [removal]")
    walls: str = material("oxide", "the walls' name in [removal]")

    merits: ClassVar = (
        Merit("wall_loss", "wall lost", limit="wall_limit"),
        Merit("sag", "polymer below the walls", on="low", limit="sag_limit"),
        Merit("polymer_left", "polymer left on the walls"),
    )
    sources: ClassVar = areas.SOURCES
    step_key: ClassVar = "gap_step"

    def films(self):
        return (self.polymer, self.coat), (self.walls, np.inf)

    def merits_of(self, lost, step, bare):
        return {
            "wall_loss": np.where(bare > 0, np.maximum(lost - self.coat, 0.0), 0.0),
            "sag": np.where(bare > 0, step, 0.0),
            "polymer_left": np.where(bare > 0, 0.0, self.coat - lost),
        }


POLYMER_FILL = Process(
    "polymer-fill",
    "polymer over walls, until their tops are bare",
    PolymerFill(),
    any_films=("polymer",),
    source="invented for the example",
)
