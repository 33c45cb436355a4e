"""Which pressure moves a figure of the wafer most: every zone and ring by the solver's influence, the first one tried.

The influence is a derivative at the times that the steps took. What it says of the setting that moves most is held
against a wafer polished again with a small step of that setting alone, as a person would set it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import PlanishError
from planish.predict.wafer.polish import polish
from planish.tuning.influence import influence
from planish.tuning.written import SetBy
from planish.units import PSI

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.tuning.course import Course, Run

Array = NDArray[np.float64]
FigureOf = Callable[["WaferResult", Array], float]
NUDGE_PSI = 0.1  # of the re-run
_AGREES = 0.25  # of the larger one: how far derivative and re-run may differ
_LITTLE = 1e-4  # of what is removed: over which a figure's own derivative is taken


@dataclass(frozen=True, slots=True)
class Mover:
    """The pressure that moves a figure most.

    Attributes
    ----------
    step, which
        Its step from 0; its zone from 0, the ring after the last one.
    name
        "the ring", or the zone as the setup calls it.
    step_name
        Of the step.
    slope
        What the solver's influence says, figure per Pa.
    tried
        What the re-run of a small step says, figure per Pa.
    """

    step: int
    which: int
    name: str
    step_name: str
    slope: float
    tried: float

    @property
    def agrees(self) -> bool:
        """Whether the re-run bears the derivative out."""
        larger = max(abs(self.slope), abs(self.tried))
        return larger > 0 and abs(self.slope - self.tried) <= _AGREES * larger


def movers(setup: Setup, wafer: WaferResult, course: Course, run: Run, figure: FigureOf) -> list[Mover]:
    """Return the zone or ring, and the step, whose pressure moves a figure most per Pa; then that step's ring.

    Parameters
    ----------
    setup
        That was polished.
    wafer
        As it was polished.
    course, run
        The same recipe, run with its own settings.
    figure
        Of a wafer and a profile of what was removed [m], (n_r,).

    Returns
    -------
    list[Mover]
        Without those whose small step is refused; empty where none moves the figure.
    """
    free = np.zeros((len(wafer.steps), run.settings.zones.shape[1] + 2), dtype=bool)
    free[:, :-2] = True
    free[:, -2] = run.settings.ring > 0
    removed = -influence(course, run, free)[:, :-1]  # (steps, zones + 1, n_r)
    if setup.rig.head.back_film:  # a rigid head presses everywhere alike
        removed[:, 0] = removed[:, :-1].sum(axis=1)
        removed[:, 1:-1] = 0.0
    slopes = np.apply_along_axis(lambda change: _slope(wafer, figure, change), 2, removed)
    step, which = (int(at) for at in np.unravel_index(np.argmax(np.abs(slopes)), slopes.shape))
    ring = slopes.shape[1] - 1
    told = []
    for at in dict.fromkeys((which, ring)):
        slope = float(slopes[step, at])
        tried = None if slope == 0 else _tried(setup, wafer, run, figure, step, at)
        if tried is not None:
            name, step_name = SetBy(setup).name(at), wafer.steps[step].name
            told.append(Mover(step, at, name, step_name, slope, tried))
    return told


def _tried(
    setup: Setup, wafer: WaferResult, run: Run, figure: FigureOf, step: int, which: int
) -> float | None:
    """Return what a small step of one pressure does to a figure, per Pa; None where the step is refused."""
    settings, nudge = run.settings, NUDGE_PSI * PSI
    zones, ring = settings.zones.copy(), settings.ring.copy()
    if which == zones.shape[1]:
        ring[step] += nudge
    elif setup.rig.head.back_film:
        zones[step] += nudge
    else:
        zones[step, which] += nudge
    changes = SetBy(setup).changes(settings, settings._replace(zones=zones, ring=ring), times=())
    try:
        again = polish(setup.replace(changes))
    except PlanishError:
        return None
    return (figure(wafer, again.removed) - figure(wafer, wafer.removed)) / nudge


def _slope(wafer: WaferResult, figure: FigureOf, change: Array) -> float:
    """Return the derivative of a figure along a change of what is removed (n_r,) [m/Pa], per Pa."""
    size = float(np.abs(change).max())
    if not size > 0:
        return 0.0
    little = _LITTLE * wafer.mean(wafer.removed) / size  # [Pa]
    above, below = (figure(wafer, wafer.removed + sign * little * change) for sign in (1.0, -1.0))
    return (above - below) / (2.0 * little)
