"""Oxide over raised lines: done when the local steps are gone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.physics.pattern import oxide_step
from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.topography import carried_extra_loss
from planish.predict.die.level import (
    ABOUT_SLIDING,
    ABOUT_SPREAD,
    CALIBRATED,
    SLIDING,
    SPREAD,
    Level,
    Merit,
    Polished,
)
from planish.setup.processes import LIMIT, Process, key, material
from planish.setup.quantity import Quantity

if TYPE_CHECKING:
    from planish.predict.die.cells import DieChoices, DieInput, Effective
    from planish.predict.die.conditions import LocalConditions

Array = NDArray[np.float64]
BIAS = Quantity("thickness", low="-5 um", high="5 um", typical=("-300 nm", "800 nm"))
_LEAST_DENSITY = 1e-3  # the density law divides by the density


@dataclass(frozen=True, slots=True)
class OxideLevel(Level):
    """Oxide over raised lines. The layout's layer is the lines."""

    step: float = key(800e-9, "step before polishing")
    thickness: float = key(1800e-9, "thickness over the lines before polishing")
    bias: float = key(0.0, "how far the film moves each edge of the layout outwards", BIAS)
    step_limit: float = key(20e-9, "a step below this counts as gone", LIMIT)
    least_left: float = key(400e-9, "least that must stay over the lines")
    oxide_material: str = material("oxide", "its name in [removal]")
    sliding_share: float = key(0.05, ABOUT_SLIDING, SLIDING, CALIBRATED)
    sliding_spread: float = key(0.5, ABOUT_SPREAD, SPREAD, CALIBRATED)

    merits: ClassVar = (
        Merit("oxide_over_lines", "oxide left over the lines", limit="least_left", worse_low=True),
        Merit("step_height", "local step", on="step"),
    )
    sources: ClassVar = oxide_step.SOURCES
    flat_below: ClassVar = "step_limit"
    bias_key: ClassVar = "bias"
    bottom: ClassVar = "the oxide over the lines"

    def doubts(self) -> Iterator[tuple[str, str]]:
        """Yield the key and what is odd about its value beside the others."""
        if self.thickness < self.step:
            yield "thickness", "less than the step: the lines come to light before the surface is flat"

    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of what is on the high areas."""
        return ((self.oxide_material, self.thickness),)

    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return the oxide left over the lines, and the step.

        Parameters
        ----------
        lost
            Of the high area [m].
        step
            That is left from high to low area [m].
        bare
            Not used: there is one film.

        Returns
        -------
        dict[str, Array]
            [m] by name, each in the shape of the cells.
        """
        return {"oxide_over_lines": self.thickness - lost, "step_height": step}

    def polish(
        self, cells: DieInput, local: LocalConditions, seen: Effective, choices: DieChoices
    ) -> Polished:
        """Return each cell after the recipe, by the step law chosen.

        Parameters
        ----------
        cells
            Of the layout.
        local
            Conditions at the die's place.
        seen
            What the pad makes of the layout.
        choices
            How to model; the step law among them.

        Returns
        -------
        Polished
            Arrays in the shape of the cells.

        Raises
        ------
        SetupError
            For a step law that there is not.
        """
        rates, times = local.rates(self.oxide_material), np.array([s.duration for s in local.steps])
        blanket = float(rates @ times)
        share = np.maximum(seen.high, _LEAST_DENSITY)
        if choices.step_law == "density":
            up, left = oxide_step.blanket_removed(share, self.step, blanket)
            clear = _recipe_time(share * self.step, rates, times)
        elif choices.step_law == "contact-height":
            height = seen.selectivity[0] if choices.contact_height is None else choices.contact_height
            up, _, left = oxide_step.contact_height_step(share, self.step, height, blanket)
            first = share * np.maximum(self.step - height, 0)
            within = np.minimum(self.step, height) / np.minimum(self.step_limit, height)
            clear = _recipe_time(first + share * height * np.log(within), rates, times)
        elif choices.step_law == "summits":
            answers = local.responses(self.oxide_material)
            high = [HighLayer(self.thickness, rates, answers)]
            low = Low(rates, np.full(share.shape, self.step), responses=answers)
            shares = [np.maximum(one, _LEAST_DENSITY) for one in seen.shares]
            state = polish_areas(high, low, times, shares, list(seen.selectivity), level=self.step_limit)
            up, left, clear = state.high_loss, state.height, state.level_time
        else:
            raise SetupError(refuse("step law", choices.step_law, "'summits', 'contact-height' or 'density'"))
        up = up + carried_extra_loss(seen.short, blanket, seen.give)
        end = up >= self.thickness
        up = np.minimum(up, self.thickness)
        return Polished(up, left, clear, self.merits_of(up, left, end.astype(np.int64)), end)


def _recipe_time(blanket: Array, rates: Array, times: Array) -> Array:
    """Time at which the recipe has taken ``blanket`` [m]; past its end the last step goes on."""
    clock = np.concatenate([[0.0], np.cumsum(times)])
    taken = np.concatenate([[0.0], np.cumsum(rates * times)])
    late = clock[-1] + (blanket - taken[-1]) / rates[-1]
    return np.asarray(np.where(blanket <= taken[-1], np.interp(blanket, taken, clock), late))


OXIDE = Process("oxide", "oxide over raised lines, until it is flat", OxideLevel())
