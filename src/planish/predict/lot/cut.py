"""How fast the disk of a setup cuts its pad: what a gauge of pad thickness sees between two readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError
from planish.predict.lot.pad import cut_rates
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.lot.plan import planned_time
from planish.predict.wafer.contact_model import wafer_grid
from planish.predict.wafer.disk import disk_work

if TYPE_CHECKING:
    from planish.setup.si import Rig

Array = NDArray[np.float64]
TOUCHED = 1e-3  # of the most that the wafer meets a place of the pad: less does not count as its track


def pad_cut_rate(rig: Rig, use: Array) -> Array:
    """Return the cut rate of the pad, mean over the wafer's track, at times of use of the disk.

    It is that of a lot: at the speeds of the longest step, and as sharp as the disk then is.

    Parameters
    ----------
    rig
        The setup.
    use
        Of the disk before [s], (n,).

    Returns
    -------
    Array
        [m/s], (n,).

    Raises
    ------
    ModelError
        For a setup without a disk, or a sweep that makes no sense.
    """
    work = disk_work(rig)
    if work is None:
        raise ModelError("conditioner: not given: must be there where a cut rate of the pad is asked for")
    grid = wafer_grid(rig)
    rings = pad_rings(rig, grid)
    track = grid.areas @ rings.to_wafer / grid.areas.sum()
    new = cut_rates(rig, rings, max(rig.steps, key=planned_time))[track > TOUCHED * track.max()]
    sharp = np.array([work.sharpness(float(one)) for one in use])
    return np.asarray(float(new.mean()) * sharp)
