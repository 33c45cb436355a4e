"""What a die process says of the die: what stands on it, how it is polished, and what is told of it afterwards."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.topography import carried_extra_loss
from planish.setup.processes import Standing, key
from planish.setup.quantity import ratio

if TYPE_CHECKING:
    from planish.predict.die.cells import DieChoices, DieInput, Effective
    from planish.predict.die.conditions import LocalConditions

Array = NDArray[np.float64]
SLIDING = ratio("0.0001", "1", typical=("0.003", "0.1"))
SPREAD = ratio("0", "1", typical=("10 %", "60 %"))
CALIBRATED = "calibrated on published dishing and steps, see the theory of the die"
USUAL_SLIDING = 0.01
ABOUT_SLIDING = "share of the summits' reach at rest that counts while the pad slides"
ABOUT_SPREAD = "relative spread of the sliding share"


@dataclass(frozen=True, slots=True)
class Merit:
    """A figure of merit of a process: a map over the die [m].

    Parameters
    ----------
    name, words
        Its key in results, and what it is in words.
    on
        Which cells have it: those with high area, with low area, or with a step of their own.
    limit
        The key of ``[die]`` whose value closes the overpolish window; "" for none.
    worse_low
        Whether the least of it is the worst, not the most.
    looked_for
        Whether the places where it is worst are listed.
    """

    name: str
    words: str
    on: Literal["high", "low", "step"] = "high"
    limit: str = ""
    worse_low: bool = False
    looked_for: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Polished:
    """What became of each cell.

    Thickness ``lost`` by the high area and ``step`` from it to the low [m], time to ``clear`` [s],
    the process's figures of merit by name [m], and which cells came to the ``end`` of what stands there, and stopped.
    """

    lost: Array
    step: Array
    clear: Array
    merits: Mapping[str, Array]
    end: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Level(Standing, ABC):
    """Base of what stands on the die; a process derives its own, with its keys as fields.

    Thicknesses and steps [m]; materials are names of the setup's removal table.

    Attributes
    ----------
    merits
        The figures of merit, in the order in which they are told.
    sources
        What the way it is polished rests on.
    lines
        Whether the lines of the layout's layer stand high or lie low.
    step_key
        The key that holds the step which the pad has to bend by.
    flat_below
        For a process that is done when the die is flat: the key of the step below which it is. "" for one that
        is done when the films over the high areas are gone.
    bias_key
        The key that says how far the film moves each edge of the layout outwards; "" for not at all.
    step_by_width
        Whether the step of a cell depends on how wide its low areas are.
    bottom
        What a cell has lost all of when it stops, in words.
    """

    merits: ClassVar[tuple[Merit, ...]]
    sources: ClassVar[tuple[str, ...]]
    lines: ClassVar[Literal["high", "low"]] = "high"
    step_key: ClassVar[str] = "step"
    flat_below: ClassVar[str] = ""
    bias_key: ClassVar[str] = ""
    step_by_width: ClassVar[bool] = False
    bottom: ClassVar[str] = "what stands high"

    sliding_share: float = key(USUAL_SLIDING, ABOUT_SLIDING, SLIDING, CALIBRATED)
    sliding_spread: float = key(0.4, ABOUT_SPREAD, SPREAD, CALIBRATED)

    @abstractmethod
    def films(self) -> tuple[tuple[str, float], ...]:
        """Return material and thickness [m] of the films on the high areas, top first.

        The low areas are all of the first. The last may be infinite; a cell that has lost all of it stops.
        """

    def low_thickness(self, step: Array) -> Array | float:
        """Return the thickness [m] of the low areas' material under a ``step`` before polishing; infinite: not said."""
        return np.inf

    @abstractmethod
    def merits_of(self, lost: Array, step: Array, bare: NDArray[np.int64]) -> dict[str, Array]:
        """Return the figures of merit of cells.

        Parameters
        ----------
        lost
            Of their high area [m], less what the first film is thicker than its key says (:meth:`raised`).
        step
            That is left from high to low area [m].
        bare
            How many films of the high area are gone.

        Returns
        -------
        dict[str, Array]
            [m] by name, each in the shape of the cells.
        """

    def polish(
        self, cells: DieInput, local: LocalConditions, seen: Effective, choices: DieChoices
    ) -> Polished:
        """Return each cell after the recipe: the films of its high area one after the other, by the law of two areas.

        Parameters
        ----------
        cells
            Of the layout.
        local
            Conditions at the die's place.
        seen
            What the pad makes of the layout.
        choices
            How to model.

        Returns
        -------
        Polished
            Arrays in the shape of the cells.
        """
        times = np.array([step.duration for step in local.steps])
        names = [name for name, _ in self.films()]
        rates, thick = [local.rates(name) for name in names], [height for _, height in self.films()]
        raised = self.raised(cells)
        first = thick[0] + raised
        # Topography from below is taken off as the first film goes, so that what comes after plays no part in when.
        extra = carried_extra_loss(seen.short, thick[0], seen.give)
        top = np.maximum(first - extra, 1e-9)
        heights: list[Array | float] = [top, *thick[1:]]
        films = [
            HighLayer(height, rate, local.responses(name))
            for name, height, rate in zip(names, heights, rates, strict=True)
        ]
        step = self.start_step(cells)
        low = Low(rates[0], step, self.low_thickness(step) + raised, responses=local.responses(names[0]))
        state = polish_areas(films, low, times, list(seen.shares), list(seen.selectivity))
        open_yet = state.exposed == 0
        so_far = carried_extra_loss(seen.short, min(float(rates[0] @ times), thick[0]), seen.give)
        lost = state.high_loss + np.where(open_yet, so_far, first - top)
        lost = np.where(open_yet, np.minimum(lost, first), lost)
        merits = self.merits_of(lost - raised, state.height, state.exposed)
        return Polished(lost, state.height, state.through_time[-2], merits, np.isfinite(state.end_time))

    def raised(self, cells: DieInput) -> Array | float:
        """Return how much thicker the first film is over each cell than its key says [m]: so much higher its surface is."""
        return 0.0

    def remarks(self, cells: DieInput) -> list[str]:
        """Return what is to be told of it on this layout, a line each."""
        return []

    def start_step(self, cells: DieInput) -> Array:
        """Return the step of each cell before polishing [m]."""
        return np.full(cells.high.shape, self.relief)

    @property
    def relief(self) -> float:
        """The step [m] that the pad has to bend by: it sets the planarization length."""
        return float(getattr(self, self.step_key))

    def materials(self) -> tuple[str, ...]:
        """Return the materials that are polished."""
        return tuple(dict.fromkeys(name for name, _ in self.films()))

    def limits(self) -> dict[str, float]:
        """Return the overpolish limits [m], by the name of the figure they hold for."""
        return {merit.name: float(getattr(self, merit.limit)) for merit in self.merits if merit.limit}
