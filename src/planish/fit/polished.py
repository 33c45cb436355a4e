"""A wafer as it was really polished, and what the model says it lost where it was measured.

Whoever holds measured sites against a prediction comes through here, so that one wafer has one polish time, one
prediction and one number at a site.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.predict.wafer.polish import polish
from planish.predict.wafer.polish_time import with_total_time

if TYPE_CHECKING:
    from planish.measure.sites.read import SiteMap
    from planish.predict.wafer.result import WaferResult
    from planish.setup.si import Rig

Array = NDArray[np.float64]
ALIKE = 0.01  # wafers of one size differ by less than this share


def polished_for(rig: Rig, seconds: float | None) -> tuple[WaferResult, tuple[str, ...]]:
    """Return the wafer polished for a time, and what had to be assumed for that.

    Parameters
    ----------
    rig
        The setup.
    seconds
        In all [s]; None: as the recipe says.

    Raises
    ------
    PlanishError
        Where the time is less than the recipe's timed steps take, or the model has no answer.
    """
    notes: tuple[str, ...] = ()
    if seconds is not None:
        rig, notes = with_total_time(rig, seconds)
    return polish(rig), notes


def removed_at(wafer: WaferResult, radius: Array, seconds: float | None = None) -> Array:
    """Return the predicted removal at distances from the wafer's centre.

    Parameters
    ----------
    wafer
        As predicted.
    radius
        [m].
    seconds
        For which it was polished, where that differs a little from the time predicted for: rates are compared [s].

    Returns
    -------
    Array
        [m], one a radius.
    """
    longer = 1.0 if seconds is None else seconds / wafer.time
    return np.asarray(np.interp(radius, wafer.radius, wafer.removed) * longer)


def check_same_wafer(rig: Rig, removal: SiteMap) -> None:
    """Refuse sites of a wafer that the setup does not polish.

    Parameters
    ----------
    rig
        The setup.
    removal
        Its measured sites.

    Raises
    ------
    DataError
        Where the file states another wafer, or its sites lie off the setup's.
    """
    ours, stated = rig.wafer.radius, removal.wafer_radius
    if stated is not None and abs(stated - ours) > ALIKE * ours:
        raise DataError(
            f"{removal.source}: wafer {2e3 * stated:g} mm: must be {2e3 * ours:g} mm, as in the setup "
            "(is it the setup that this wafer was polished with?)"
        )
    farthest = float(np.max(removal.r))
    if farthest > ours * (1 + ALIKE):
        raise DataError(
            f"{removal.source}: a site {1e3 * farthest:.4g} mm from the centre: must lie on the setup's wafer of "
            f"{2e3 * ours:g} mm (is it the setup that this wafer was polished with?)"
        )
