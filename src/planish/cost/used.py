"""What does a wafer use up? Lives, polishing time and slurry, as a lot shows them: all that a cost takes from the model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planish.cost.lives import Lives, lives

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.setup.si import Prices


@dataclass(frozen=True, slots=True)
class Used:
    """What polishing uses up.

    Attributes
    ----------
    lives
        Of pad, disk, ring and membrane.
    polish
        Time of a wafer [s].
    slurry
        That flows for a wafer [m^3].
    conditioning
        Between wafers [s].
    break_in
        Of a new pad [s].
    disk, ring
        Whether there is one.
    """

    lives: Lives
    polish: float
    slurry: float
    conditioning: float = 0.0
    break_in: float = 0.0
    disk: bool = True
    ring: bool = True


def used(lot: LotResult, prices: Prices) -> Used:
    """Return what the wafers of a lot use up, those before its pad is changed.

    Parameters
    ----------
    lot
        On one pad, without chance.
    prices
        In which a setup says when it changes what.

    Returns
    -------
    Used
        For a wafer.
    """
    found, rig = lives(lot, prices), lot.rig
    counted = slice(0, min(lot.wafers, found.pad.wafers or lot.wafers))
    flows = np.array([step.flow for step in rig.steps])
    disk = rig.conditioner if lot.conditioning else None
    return Used(
        lives=found,
        polish=float(lot.records.time[counted].mean()),
        slurry=float((lot.records.step_time[counted] @ flows).mean()),
        conditioning=0.0 if disk is None else disk.ex_situ_time,
        break_in=0.0 if disk is None else disk.break_in_time,
        disk=rig.conditioner is not None,
        ring=rig.head.ring is not None,
    )
