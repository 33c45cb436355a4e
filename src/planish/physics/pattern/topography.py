"""Topography carried from one level to the next.

A film laid over an uneven surface repeats it. The part of the unevenness longer
than the planarization length the pad follows; the shorter part it takes off, so
high places lose more of their film and low places less. The shorter part
decays towards flat as the summit layer and bulk allow,

    extra loss = e_short (1 - exp(-K t/(l + p C))).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = ("hand-over of topography between levels: derivation of our own",)


def carried_extra_loss(short: Array, removed: float, give: float) -> Array:
    """Return the extra thickness lost at places standing above their neighbourhood.

    Parameters
    ----------
    short
        By how much they stand above it [m].
    removed
        K t [m].
    give
        l + p C(q) [m] of pad surface and bulk at the planarization length.

    Returns
    -------
    Array
        [m], shape as ``short``. The mean of the extra loss is that of ``short`` times the decay.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    if not (removed >= 0 and give > 0):
        raise ModelError(refuse("removed and give [m]", (removed, give), "0 or more, and above 0"))
    return np.asarray(-short * np.expm1(-removed / give))


def surface_after(incoming: Array, high_loss: Array, low_drop: Array, share: Array) -> Array:
    """Return the mean surface height of each cell about the die's mean: what the next level lies on.

    Parameters
    ----------
    incoming
        Height before [m].
    high_loss
        Of the high areas [m].
    low_drop
        How far the low areas lie below the high ones [m].
    share
        Of the cell that is high.

    Returns
    -------
    Array
        [m], shape as ``incoming``.
    """
    height = incoming - high_loss - (1 - share) * low_drop
    return np.asarray(height - height.mean())
