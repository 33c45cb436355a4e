"""Metal in trenches of a dielectric: what every such process shares, whatever the metal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.physics.pattern.metal import SOURCES, conformal_step, polish_metal
from planish.physics.pattern.topography import carried_extra_loss
from planish.predict.die.level import Level, Merit, Polished
from planish.setup.processes import LIMIT, key, material
from planish.setup.quantity import Quantity

if TYPE_CHECKING:
    from planish.predict.die.conditions import LocalConditions
    from planish.predict.die.model import DieChoices, DieInput, Effective

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

    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of the films on the dielectric; a barrier of nothing goes at its rate."""
        between = self.barrier_material if self.barrier > 0 else self.dielectric
        thin = max(self.barrier, _THINNEST)
        return (self.metal, self.overburden), (between, thin), (self.dielectric, np.inf)

    def start_step(self, cells: DieInput) -> Array:
        """Return the step of each cell before polishing [m]: narrow lines are filled flat."""
        # A line that fills its cell shows no width there: it is wide and keeps its depth.
        wide = (cells.high <= _NONE) & ~np.isfinite(cells.low_width)
        width = np.where(wide, np.inf, np.where(np.isfinite(cells.low_width), cells.low_width, 0.0))
        return conformal_step(width, self.trench_depth, self.deposited)

    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return the figures of merit."""
        above = self.overburden + self.barrier
        return {
            "dishing": np.where(bare > 0, step, 0.0),
            "erosion": np.where(bare > 1, np.maximum(lost - above, 0.0), 0.0),
            "metal_left": np.where(bare > 0, 0.0, self.overburden - lost),
            "barrier_left": np.clip(above - lost, 0.0, self.barrier),
        }

    def polish(
        self, cells: DieInput, local: LocalConditions, seen: Effective, choices: DieChoices
    ) -> Polished:
        """Return each cell after the recipe."""
        times = np.array([s.duration for s in local.steps])
        (top, _), (between, thin), (under, _) = self.films()
        rates = local.rates(top)
        extra = carried_extra_loss(seen.short, float(rates @ times), seen.give)
        out = polish_metal(
            1 - seen.high,
            step=self.start_step(cells),
            overburden=np.maximum(self.overburden - extra, 1e-9),
            barrier=thin,
            metal_rates=rates,
            barrier_rates=local.rates(between),
            dielectric_rates=local.rates(under),
            durations=times,
            selectivity_length=seen.selectivity,
            shares=seen.shares,
        )
        lost = self.overburden - out.metal_left + (self.barrier - out.barrier_left) + out.erosion
        named = {
            "dishing": out.dishing,
            "erosion": out.erosion,
            "metal_left": out.metal_left,
            "barrier_left": out.barrier_left,
        }
        return Polished(lost, out.step, out.clear_time, named)
