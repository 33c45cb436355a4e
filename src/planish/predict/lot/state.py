"""All that a lot carries over from one wafer to the next: pad, disk, heat, slurry, run-to-run control."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import seal
from planish.engine.record import counted
from planish.physics.pressure.series import Solved
from planish.predict.lot.pad import LotPad, new_pad
from planish.predict.wafer.lubrication import Lubrication
from planish.predict.wafer.pad_surface import resting_temperature

if TYPE_CHECKING:
    from planish.predict.lot.plan import LotPlan

Array = NDArray[np.float64]
EWMA_WEIGHT = 0.3


@dataclass(frozen=True, slots=True)
class Control:
    """Run-to-run adjusting of the polish time: an EWMA of the measured rate [m/s] that is to give ``target`` [m].

    ``base``: the times [s] of the steps of the first wafer, ``()`` before it.
    """

    target: float = 0.0
    rate: float = 0.0
    base: tuple[float, ...] = ()

    def durations(self, most: tuple[float, ...]) -> tuple[float, ...]:
        """Return the times of the steps for the next wafer, the longest within its ``most``; empty before the first."""
        if not self.base:
            return ()
        longest = int(np.argmax(self.base))
        others = sum(self.base) - self.base[longest]
        main = max(self.target / self.rate - others, 0.1 * self.base[longest])
        main = min(main, most[longest])
        return tuple(main if index == longest else time for index, time in enumerate(self.base))

    def learned(self, measured: float, times: tuple[float, ...]) -> Control:
        """Return the control that knows of the removal measured on the wafer just polished.

        Parameters
        ----------
        measured
            Its mean removal [m]; 0 or less says nothing.
        times
            Of its steps [s].

        Returns
        -------
        Control
            With the rate averaged in.
        """
        if measured <= 0:
            return self
        rate = measured / sum(times)
        if not self.base:
            return Control(measured, rate, times)
        return replace(self, rate=self.rate + EWMA_WEIGHT * (rate - self.rate))


@dataclass(frozen=True, slots=True)
class Wearing:
    """What wears the summits in a step: ``pressure`` (g,) [Pa] on those of each group while touched, as if they were cold, and what warmth leaves of their modulus."""

    pressure: Array
    modulus_left: float

    def __post_init__(self) -> None:
        seal(self.pressure)


@dataclass(frozen=True, slots=True)
class StepState:
    """Where the last wafer left a step: its pressures, film, and ``duration`` [s], 0 before the first wafer.

    ``wearing``: how it wore this pad, None before the first wafer on it.
    """

    solved: Solved
    duration: float = 0.0
    film: Lubrication | None = None
    wearing: Wearing | None = None


@dataclass(frozen=True, slots=True, repr=False)
class LotState:
    """A lot after ``wafers`` wafers.

    ``temperatures`` (n,) [K] of the pad rings; ``batch`` rate factor of the slurry; ``said``: what
    happened on the way that the rows do not tell; ``ring_use`` [s] that the retaining ring has polished.
    """

    wafers: int
    pad: LotPad
    temperatures: Array
    batch: float
    control: Control
    steps: tuple[StepState, ...]
    said: tuple[str, ...] = ()
    ring_use: float = 0.0

    def __post_init__(self) -> None:
        seal(self.temperatures)

    def __repr__(self) -> str:
        deepest = float(self.pad.worn.max()) * 1e6
        return f"<LotState: after {counted(self.wafers, 'wafer')}, the pad worn by up to {deepest:.4g} um>"


def first_state(plan: LotPlan) -> LotState:
    """Return the state before the first wafer: a new pad at rest, a new disk."""
    return LotState(
        wafers=0,
        pad=new_pad(plan.summits),
        temperatures=np.full(plan.track.size, resting_temperature(plan.rig)),
        batch=1.0,
        control=Control(),
        steps=tuple(StepState(step.begin) for step in plan.steps),
    )
