"""A disk worn for 32 h cuts half as fast, yet leaves texture and removal rate unchanged.

Philipossian group, wear of conditioner disks (abstract): the halving is given, "unchanged" is taken as within 5 % for
the rate and within 8 % for the height of the summits in contact. Polished is the invented rotary setup, whose summits
wear by an invented coefficient: the size of what is left over belongs to it.
"""

from functools import cache
from typing import Any

import numpy as np
import pytest

import planish
from planish.predict.lot.variation import Variation
from planish.predict.wafer.disk import disk_work
from planish.predict.wafer.pad_surface import as_conditioned
from planish.setup.new import new_setup

HOURS = 32.0
WAFERS = 60


@cache
def rig(level: float = 1.0) -> Any:
    """Return the setup with a disk that halves in 32 h, at a level of its cut."""
    setup = planish.loads(new_setup("rotary"))
    usual = disk_work(setup.rig)
    assert usual is not None
    stated = setup.model.conditioner.halving_time * HOURS * 3600 / usual.halving_time
    changes = {"conditioner.halving_time": f"{stated / 3600} h", "conditioner.cut_level": level}
    return setup.replace(changes).rig


@cache
def lot(level: float) -> Any:
    return planish.polish_lot(rig(level), WAFERS, variation=Variation.none(), cells=40)


def left() -> dict[str, float]:
    """Return what the worn disk leaves of what the new one did."""
    new, worn = lot(1.0), lot(0.5)
    return {
        "cut": disk_work(rig()).sharpness(HOURS * 3600),
        "pad worn off by the lot": float(np.max(worn.records.worn[-1]) / np.max(new.records.worn[-1])),
        "furrows": as_conditioned(rig(0.5)).tail_length / as_conditioned(rig()).tail_length,
        "summits in contact": float(worn.records.tail[-1] / new.records.tail[-1]),
        "removal rate": float(worn.records.rate[-1] / new.records.rate[-1]),
        "friction": float(worn.records.friction[-1] / new.records.friction[-1]),
    }


def rows() -> list[dict[str, Any]]:
    """Return what was measured beside what the model says."""
    found = left()
    measured = {"cut": 0.5, "furrows": 1.0, "summits in contact": 1.0, "removal rate": 1.0}
    words = {
        "cut": "pad cut rate, worn over new (the time is given)",
        "furrows": "depth of fresh furrows, worn over new",
        "summits in contact": f"height of summits in contact after {WAFERS} wafers, worn over new disk",
        "removal rate": f"removal rate after {WAFERS} wafers, worn over new disk",
    }
    return [
        {"what": words[name], "measured": value, "predicted": found[name], "unit": "1", "kind": "shape"}
        for name, value in measured.items()
    ]


def test_cut_halves_while_texture_and_rate_stay() -> None:
    found = left()
    assert found["cut"] == pytest.approx(0.5, rel=1e-9)
    assert found["pad worn off by the lot"] == pytest.approx(0.5, abs=0.02)
    assert found["furrows"] == 1.0
    assert found["summits in contact"] == pytest.approx(1.0, abs=0.08)
    assert found["removal rate"] == pytest.approx(1.0, abs=0.05)
    assert found["friction"] == pytest.approx(1.0, abs=0.02)


def test_a_tenth_of_the_cut_is_felt() -> None:
    """Where renewal hardly keeps up with wear, rate and summits do fall: the two are not simply set apart."""
    new, dull = lot(1.0), lot(0.1)
    assert dull.records.rate[-1] < 0.93 * new.records.rate[-1]
    assert dull.records.tail[-1] < 0.85 * new.records.tail[-1]
