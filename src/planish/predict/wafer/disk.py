"""What the setup's own disk does to the pad, beside the disk for which the pad is stated."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from planish.engine.record import Record
from planish.physics.surface import grit

if TYPE_CHECKING:
    from planish.setup.si import Rig


@dataclass(frozen=True, slots=True, repr=False)
class DiskWork(Record):
    """What a disk does, worked out once; only its sharpness goes with its use.

    Attributes
    ----------
    cut
        New, over the cut of the reference disk under the reference force, pressure for pressure.
    texture
        Roughness that it leaves, over that of the stated surface.
    shed
        Grit that comes loose, over that of a reference disk of shedding 1.
    halving_time
        Use in which it cuts half as fast [s]; inf where it does not touch.
    furrow_depth
        Mean [m].
    active_share
        Of its diamonds that touch.
    load
        Of one of them [N].
    """

    cut: float
    texture: float
    shed: float
    halving_time: float
    furrow_depth: float
    active_share: float
    load: float

    def sharpness(self, use: float) -> float:
        """Return how sharply the disk cuts after ``use`` [s], 1 when new."""
        # grit.sharpness without its checks: this is asked for every wafer
        return 1.0 / (1.0 + use / self.halving_time)


def disk_work(rig: Rig) -> DiskWork | None:
    """Return what the setup's disk does to its pad; None without a disk.

    Parameters
    ----------
    rig
        The setup.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    disk, pad = rig.conditioner, rig.pad
    if disk is None:
        return None
    dulling = (disk.halving_time, disk.dulling_power)
    return _work(
        disk.grit, disk.downforce, pad.hardness, pad.porosity, disk.cut_level, disk.shedding, dulling
    )


@lru_cache(maxsize=64)  # asked for by every step of every wafer
def _work(
    diamonds: grit.Grit,
    force: float,
    hardness: float,
    porosity: float,
    level: float,
    shedding: float,
    dulling: tuple[float, float],
) -> DiskWork:
    does = grit.plough(diamonds, force, hardness)
    stated = grit.plough(grit.REFERENCE_GRIT, grit.REFERENCE_FORCE, hardness)
    return DiskWork(
        cut=level * does.cut_number / stated.cut_number,
        texture=grit.texture_ratio(does.depth, stated.depth, porosity),
        shed=shedding * grit.shed_grit(diamonds, does) / grit.shed_grit(grit.REFERENCE_GRIT, stated),
        halving_time=grit.halving_time(diamonds.size, does.depth, *dulling),
        furrow_depth=does.depth,
        active_share=does.active_share,
        load=does.load,
    )
