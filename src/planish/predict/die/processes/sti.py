"""Shallow trench isolation: oxide over nitride and trenches, done when the nitride is bare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.physics.pattern import sti
from planish.physics.pattern.topography import carried_extra_loss
from planish.predict.die.level import Level, Merit, Polished
from planish.predict.die.processes.oxide import BIAS
from planish.setup.processes import LIMIT, Process, key, material

if TYPE_CHECKING:
    from planish.predict.die.conditions import LocalConditions
    from planish.predict.die.model import DieChoices, DieInput, Effective

Array = NDArray[np.float64]


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
    sources: ClassVar = sti.SOURCES

    @property
    def edge_shift(self) -> float:
        """How far the film moves each edge of the layout outwards [m]."""
        return self.bias

    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of the films on the active areas."""
        return (self.oxide_material, self.overburden), (self.nitride_material, np.inf)

    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return the figures of merit."""
        clear = bare > 0
        return {
            "nitride_loss": np.where(clear, np.maximum(lost - self.overburden, 0.0), 0.0),
            "dishing": np.where(clear, step, 0.0),
            "oxide_on_nitride": np.where(clear, 0.0, self.overburden - lost),
            "step_height": step,
        }

    def polish(
        self, cells: DieInput, local: LocalConditions, seen: Effective, choices: DieChoices
    ) -> Polished:
        """Return each cell after the recipe."""
        rates, times = local.rates(self.oxide_material), np.array([s.duration for s in local.steps])
        extra = carried_extra_loss(seen.short, float(rates @ times), seen.give)
        out = sti.polish_sti(
            seen.high,
            step=self.step,
            overburden=np.maximum(self.overburden - extra, 1e-9),
            oxide_rates=rates,
            nitride_rates=local.rates(self.nitride_material),
            durations=times,
            selectivity_length=seen.selectivity,
            shares=seen.shares,
        )
        lost = self.overburden - out.oxide_left + out.nitride_loss
        named = {
            "nitride_loss": out.nitride_loss,
            "dishing": out.dishing,
            "oxide_on_nitride": out.oxide_left,
            "step_height": out.step,
        }
        return Polished(lost, out.step, out.clear_time, named)


STI = Process(
    "sti", "oxide over nitride and trenches, until the nitride is bare", StiLevel(), any_films=("nitride",)
)
