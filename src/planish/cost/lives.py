"""How many wafers does each consumable last? As a lot on one pad shows it, drawn on where it ends before they do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planish.predict.lot.result import PERFORMANCE, WEAR
from planish.predict.wafer.disk import disk_work

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from planish.predict.lot.result import LotResult
    from planish.setup.si import Prices

SAID = "as the setup says"
STILL = 1e-9  # of a depth, over the second half of the lot: less than that is no wear


@dataclass(frozen=True, slots=True)
class Life:
    """How long one consumable lasts.

    ``wafers`` until it is changed, None where nothing tells; ``end`` in words; ``drawn``: the lot ended before it did.
    """

    wafers: int | None
    end: str
    drawn: bool = False

    def at_most(self, said: int | None) -> Life:
        """Return the life where the setup says after how many wafers to change, if nothing ends it before."""
        if said is None or (self.wafers is not None and self.wafers <= said):
            return self
        return Life(said, SAID)


NONE = Life(None, "")


@dataclass(frozen=True, slots=True)
class Lives:
    """The lives of pad, disk, ring and membrane, and the limits that the first wafer was already beyond."""

    pad: Life
    disk: Life
    ring: Life
    membrane: Life
    beyond: tuple[str, ...]


def lives(lot: LotResult, prices: Prices) -> Lives:
    """Return the lives of the consumables of a lot.

    Parameters
    ----------
    lot
        On one pad, without chance, two wafers or more.
    prices
        In which a setup says when it changes what, whatever the model says.

    Returns
    -------
    Lives
        In wafers polished.

    Notes
    -----
    A pad ends with the first of: grooves nearly gone, worn thin, rate or uniformity out of limits (the lot's
    ``limits``: common practice, no source). A limit that the first wafer is beyond already is no matter of the pad and
    ends nothing. Depths are drawn on straight as the second half of the lot wore them. The disk's cut rate falls as
    1/(1 + use/halving) (``physics.surface.grit``), whose use grows by the same amount a wafer and by the breaking-in a
    pad. A ring wears while it polishes, at the rate that the setup says.
    """
    reached = lot.limits_reached()
    beyond = tuple(cause for cause in PERFORMANCE if reached.get(cause) == 1)
    pad = _pad(lot, {cause: at for cause, at in reached.items() if cause not in beyond}).at_most(
        prices.pad_wafers
    )
    disk = _disk(lot, pad).at_most(prices.disk_wafers if lot.rig.conditioner is not None else None)
    ring = _ring(lot).at_most(prices.ring_wafers if lot.rig.head.ring is not None else None)
    return Lives(pad, disk, ring, NONE.at_most(prices.membrane_wafers), beyond)


def _pad(lot: LotResult, reached: dict[str, int]) -> Life:
    pad, limits = lot.rig.pad, lot.limits
    found = [Life(at, cause) for cause, at in reached.items() if cause in (*PERFORMANCE, *WEAR)]
    depths = {
        "grooves nearly gone": (lot.records.groove_min, limits.groove_left * pad.grooves.depth),
        "pad worn thin": (lot.records.thickness_min, limits.thickness_left * pad.layers[0].thickness),
    }
    for cause, (depth, least) in depths.items():
        if cause not in reached and (cause == "pad worn thin" or lot.grooved):
            found.append(_drawn_on(depth, least, cause))
    known = [(life.wafers, life) for life in found if life.wafers is not None]
    return min(known, key=lambda pair: pair[0])[1] if known else NONE


def _drawn_on(depth: NDArray[np.float64], least: float, cause: str) -> Life:
    """Return when a depth [m] by wafer falls to the least, straight on from the second half of the lot."""
    last = depth.size - 1
    half = last // 2
    a_wafer = float(depth[half] - depth[last]) / (last - half)
    if a_wafer <= STILL * float(depth[0]):
        return NONE
    return Life(_whole(depth.size + (float(depth[last]) - least) / a_wafer), cause, drawn=True)


def _disk(lot: LotResult, pad: Life) -> Life:
    """Return after how many wafers the disk is dull, the breaking-in of the pads that it meets among its use."""
    disk, work = lot.rig.conditioner, disk_work(lot.rig)
    if disk is None or work is None or not lot.conditioning or lot.limits.sharpness <= 0:
        return NONE
    used = 1.0 / lot.records.sharpness[[0, -1]] - 1.0  # over the halving time
    a_wafer = float(used[1] - used[0]) / (lot.wafers - 1)
    a_pad = disk.break_in_time / work.halving_time
    most = 1.0 / lot.limits.sharpness - 1.0
    if pad.wafers is not None:
        a_wafer += a_pad / pad.wafers
    else:
        most -= a_pad
    if a_wafer <= 0 or not math.isfinite(most / a_wafer):
        return NONE
    life = _whole(most / a_wafer)
    return Life(life, "disk dull", drawn=life > lot.wafers)


def _ring(lot: LotResult) -> Life:
    ring = lot.rig.head.ring
    worn = 0.0 if ring is None else ring.wear_rate * float(lot.records.time.mean())
    if ring is None or worn == 0.0:
        return NONE
    life = _whole(ring.wear_allowance / worn)
    return Life(life, "ring worn", drawn=life > lot.wafers)


def _whole(wafers: float) -> int:
    return max(math.floor(wafers), 1)
