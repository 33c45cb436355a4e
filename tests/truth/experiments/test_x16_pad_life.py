"""A pad serves 200-300 to several thousand wafers: US 7,367,875 (read). The range is all that is claimed."""

from planish.experiments.pad_life import DISKS, HIGH, LOW, rows


def test_pads_last_as_long_as_pads_do() -> None:
    found = rows()
    assert len(found) == len(DISKS)
    assert all(LOW < row.predicted < HIGH for row in found)
