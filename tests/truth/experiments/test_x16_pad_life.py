"""A pad serves 200-300 to several thousand wafers: US 7,367,875 (read).

Counted are the wafers until the grooves of the invented rotary setup are worn to a tenth, at the wear of its first
wafers, with each packaged disk. The pad's wear coefficient is itself invented to cut about 30 um/h, so this tells that
the pieces fit, not that they were known apart.
"""

from typing import Any

import planish
from planish.predict.lot.variation import Variation
from planish.setup.new import new_setup

LOW, HIGH = 200.0, 5000.0
DISKS = ("electroplated-100-grit", "electroplated-325-grit", "cvd-film-fine")


def wafers(disk: str) -> float:
    setup = planish.loads(new_setup("rotary")).replace({"conditioner.part": disk})
    lot = planish.polish_lot(setup, 12, variation=Variation.none(), cells=40)
    deepest = lot.records.groove_min
    return float(0.9 * lot.rig.pad.grooves.depth / ((deepest[1] - deepest[-1]) / 10))


def rows() -> list[dict[str, Any]]:
    """Return the measured range's ends beside what the model says."""
    return [
        {
            "what": f"wafers of a pad under the disk {disk} (measured: {LOW:g} to several thousand)",
            "measured": LOW,
            "predicted": wafers(disk),
            "unit": "wafers",
            "kind": "shape",
        }
        for disk in DISKS
    ]


def test_pads_last_as_long_as_pads_do() -> None:
    assert all(LOW < wafers(disk) < HIGH for disk in DISKS)
