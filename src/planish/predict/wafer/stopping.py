"""When a step that stops on an amount stops."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.predict.wafer.films import polish_stack, read_at, refined, stop_amount

if TYPE_CHECKING:
    from planish.setup.si import Step

Array = NDArray[np.float64]
TIMES = 33  # per step: the temperature's rise is the only thing that bends the curves


def find_stop(
    step: Step, curves_at: Callable[[Array], list[Array]], left: Array, weights: Array
) -> float | None:
    """Return when a step's stop is met [s], None if not within its time limit.

    The first search spans the whole limit; the next a little more than the time found, so that its
    grid of times is as fine as that of the step itself.

    Parameters
    ----------
    step
        That stops on an amount.
    curves_at
        What would be removed of each film by given times [m], (times, n_r) each.
    left
        Of each film as the step begins [m], (films, n_r).
    weights
        Of the mean, (n_r,).
    """
    counted, target = stop_amount(step, left, weights)
    if target <= 0:
        return 0.0
    span = step.max_time
    for _ in range(8):
        times = np.linspace(0.0, span, TIMES)
        curves = curves_at(times)
        removed = polish_stack(left, curves, times)[0][counted].sum(axis=0) @ weights
        if removed[-1] < target:
            if span == step.max_time:
                return None
            span = min(1.1 * span, step.max_time)
            continue
        stop = float(np.interp(target, removed, times))
        if stop > 0.8 * span:
            if np.all(curves[0][-1] <= left[0]):  # nothing clears, and so the amount has no corners
                return stop
            finer = refined(times, removed, target)
            curves = [read_at(curve, times, finer) for curve in curves]
            removed = polish_stack(left, curves, finer)[0][counted].sum(axis=0) @ weights
            return float(np.interp(target, removed, finer))
        span = min(1.05 * stop, step.max_time)
    return span
