"""A disk worn for 32 h: it cuts half as fast, yet leaves texture and removal rate unchanged."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from planish.experiments.record import Experiment, Row, scenario
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.disk import disk_work
from planish.predict.wafer.pad_surface import as_conditioned

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.setup.si import Rig

HOURS = 32.0
WAFERS = 60
_CELLS = 40  # of the wafer's radius


@cache
def rig(level: float = 1.0) -> Rig:
    """Return the invented rotary scenario with a disk that halves in 32 h, at a level of its cut."""
    setup = scenario()
    usual, disk = disk_work(setup.rig), setup.model.conditioner
    assert usual is not None  # the scenario has a disk
    assert disk is not None
    hours = disk.halving_time * HOURS / usual.halving_time
    changes = {"conditioner.halving_time": f"{hours} h", "conditioner.cut_level": level}
    return setup.replace(changes).rig


@cache
def lot(level: float) -> LotResult:
    """Return a lot polished with the disk at a level of its cut."""
    return polish_lot(rig(level), WAFERS, variation=Variation.none(), cells=_CELLS)


def left() -> dict[str, float]:
    """Return what the worn disk leaves of what the new one did, by what."""
    new, worn, disk = lot(1.0), lot(0.5), disk_work(rig())
    assert disk is not None
    return {
        "cut": float(disk.sharpness(HOURS * 3600)),
        "pad worn off by the lot": float(np.max(worn.records.worn[-1]) / np.max(new.records.worn[-1])),
        "furrows": as_conditioned(rig(0.5)).tail_length / as_conditioned(rig()).tail_length,
        "summits in contact": float(worn.records.tail[-1] / new.records.tail[-1]),
        "removal rate": float(worn.records.rate[-1] / new.records.rate[-1]),
        "friction": float(worn.records.friction[-1] / new.records.friction[-1]),
    }


def rows() -> list[Row]:
    """Compute the rows."""
    found = left()
    words = {
        "cut": ("pad cut rate, worn over new (the time is given)", 0.5),
        "furrows": ("depth of fresh furrows, worn over new", 1.0),
        "summits in contact": (
            f"height of summits in contact after {WAFERS} wafers, worn over new disk",
            1.0,
        ),
        "removal rate": (f"removal rate after {WAFERS} wafers, worn over new disk", 1.0),
    }
    return [Row(text, measured, found[name], "", "shape") for name, (text, measured) in words.items()]


EXPERIMENT = Experiment(
    name="worn-disk",
    title="Cut, texture and removal rate with a conditioner disk new and worn for 32 h",
    source="Philipossian group, wear of conditioner disks",
    read="abstract",
    rows=rows,
    said=(
        "The halving is given; 'unchanged' is taken as 1. Polished is the invented rotary setup, whose summits wear by an invented "
        "coefficient: the size of what is left over belongs to it."
    ),
)
