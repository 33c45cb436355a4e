"""What a lot must refuse: impossible pads, disks, sweeps, events and arguments. One line, place and remedy."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from planish.errors import PlanishError
from planish.predict.lot.events import read_events
from planish.predict.lot.result import Limits
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation, draw
from planish.setup.load import loads

TEXT = (Path(__file__).parents[2] / "examples" / "rotary.toml").read_text(encoding="utf-8")
PAD, DISK = 'part = "hard-microporous"', 'part = "electroplated-100-grit"'


def refused(call) -> str:
    with pytest.raises(PlanishError) as found:
        call()
    message = str(found.value)
    assert "\n" not in message
    assert len(message) > 15
    return message


def with_lines(part: str, lines: str):
    assert part in TEXT
    return lambda: loads(TEXT.replace(part, f"{part}\n{lines}", 1), "bad.toml")


SETUPS = {
    "groove deeper than the pad": (PAD, 'grooves.depth = "2.5 mm"', "groove"),
    "groove wider than its pitch": (PAD, 'grooves.width = "4 mm"', "groove"),
    "groove depth below zero": (PAD, 'grooves.depth = "-0.1 mm"', "depth"),
    "no summits": (PAD, 'surface.density = "0 1/mm^2"', "density"),
    "summit tip of no radius": (PAD, 'surface.tip_radius = "0 um"', "tip_radius"),
    "summit tail of no length": (PAD, 'surface.tail_length = "0 um"', "tail_length"),
    "summit heights below zero": (PAD, 'surface.height_sd = "-6 um"', "height_sd"),
    "pad wear below zero": (PAD, 'wear_coefficient = "-6e-11 1/Pa"', "wear_coefficient"),
    "summit wear below zero": (PAD, 'polish_wear_coefficient = "-1e-16 1/Pa"', "polish_wear_coefficient"),
    "summit wear with a wrong unit": (PAD, 'polish_wear_coefficient = "1e-16 mm"', "polish_wear_coefficient"),
    "zero grit size": (DISK, 'grit_size = "0 um"', "grit_size"),
    "zero grit density": (DISK, 'grit_density = "0 1/mm^2"', "grit_density"),
    "no place with grit": (DISK, "grit_share = 0", "grit_share"),
    "more grit than face": (DISK, "grit_share = 1.2", "grit_share"),
    "all tips at one height": (DISK, "grit_height_spread = 0", "grit_height_spread"),
    "tips without a radius": (DISK, 'tip_radius = "0 um"', "tip_radius"),
    "a pad of no hardness": (PAD, 'hardness = "0 MPa"', "hardness"),
    "downforce without a unit": (DISK, "downforce = 7", "downforce"),
    "downforce below zero": (DISK, 'downforce = "-7 lbf"', "downforce"),
    "disk larger than the pad": (DISK, 'disk_diameter = "900 mm"', "disk_diameter"),
    "disk without diameter": (DISK, 'disk_diameter = "0 mm"', "disk_diameter"),
    "sweep off the pad": (DISK, 'sweep.outer = "500 mm"', "sweep"),
    "sweep inside out": (DISK, 'sweep.inner = "340 mm"\nsweep.outer = "100 mm"', "sweep"),
    "arm too short for its sweep": (DISK, 'sweep.arm_length = "100 mm"', "sweep"),
    "dwell table off the pad": (
        DISK,
        'sweep.zone_edges = ["100 mm", "300 mm", "600 mm"]\nsweep.zone_dwell = [1, 1]',
        "sweep",
    ),
    "dwell table with a gap": (
        DISK,
        'sweep.zone_edges = ["100 mm", "300 mm"]\nsweep.zone_dwell = [1, 2]',
        "sweep",
    ),
    "dwell times all zero": (
        DISK,
        'sweep.zone_edges = ["100 mm", "200 mm", "300 mm"]\nsweep.zone_dwell = [0, 0]',
        "",
    ),
    "dwell time below zero": (
        DISK,
        'sweep.zone_edges = ["100 mm", "200 mm", "300 mm"]\nsweep.zone_dwell = [1, -1]',
        "",
    ),
    "dwell edges that fall": (
        DISK,
        'sweep.zone_edges = ["300 mm", "200 mm", "100 mm"]\nsweep.zone_dwell = [1, 1]',
        "",
    ),
    "dwell edges without times": (DISK, 'sweep.zone_edges = ["100 mm", "200 mm", "300 mm"]', "sweep"),
    "a way of conditioning that is none": (DISK, 'mode = "sometimes"', "mode"),
    "share above all of the time": (DISK, 'mode = "partial"\nshare = 1.4', "share"),
    "disk that is dull at once": (DISK, 'halving_time = "0 h"', "halving_time"),
    "disk that gets sharper": (DISK, "dulling_power = -1", "dulling_power"),
    "disk that cuts nothing": (DISK, "cut_level = 0", "cut_level"),
    "shedding above one": (DISK, "shedding = 2", "shedding"),
    "an unknown disk": (DISK, "colour = 3", "colour"),
}


@pytest.mark.parametrize("case", SETUPS)
def test_setups_that_cannot_be_polished_in_lots(case: str) -> None:
    part, lines, word = SETUPS[case]
    message = refused(with_lines(part, lines))
    assert word in message
    assert "bad.toml" in message


@pytest.fixture(scope="module")
def rig():
    return loads(TEXT, "rotary.toml").rig


ARGUMENTS = {
    "no wafers": {"wafers": 0},
    "wafers below zero": {"wafers": -5},
    "half a wafer": {"wafers": 2.5},
    "too many wafers": {"wafers": 10**7},
    "seed below zero": {"seed": -1},
    "seed that is no whole number": {"seed": 1.5},
    "seed in words": {"seed": "one"},
    "a way of adjusting that is none": {"adjust": "by feel"},
    "no worker": {"workers": 0},
    "handling time below zero": {"handling_time": -1.0},
    "handling time that is no number": {"handling_time": float("nan")},
    "events as one text": {"events": "3 pad"},
    "an event of no kind": {"events": ["3 polish"]},
    "an event after the lot": {"events": ["9 pad"]},
    "an event before the lot": {"events": ["0 pad"]},
    "an event without wafer": {"events": ["pad"]},
    "an event with a stray key": {"events": [{"wafer": 1, "kind": "pad", "when": 3}]},
    "a new pad with a value": {"events": [{"wafer": 1, "kind": "pad", "value": 3}]},
    "a pause without time": {"events": ["2 idle"]},
    "a pause without unit": {"events": ["2 idle 15"]},
    "a pause of a length": {"events": ["2 idle 15 mm"]},
    "a pause backwards": {"events": ["2 idle -15 min"]},
    "a pause of a year": {"events": ["2 idle 9000 h"]},
    "a slurry batch in words": {"events": ["2 slurry strong"]},
    "a slurry batch that does nothing": {"events": ["2 slurry 0"]},
    "an event that is a number": {"events": [3]},
}


@pytest.mark.parametrize("case", ARGUMENTS)
def test_arguments_that_make_no_sense(case: str, rig) -> None:
    given = {"wafers": 3, "cells": 24, **ARGUMENTS[case]}
    refused(lambda: polish_lot(rig, **given))


@pytest.mark.parametrize("name", ["incoming", "incoming_bow", "process", "slurry_batch", "measurement"])
@pytest.mark.parametrize("value", [-0.01, 0.9, float("nan")])
def test_spreads_outside_reason(name: str, value: float) -> None:
    assert name in refused(lambda: Variation(**{name: value}))


@pytest.mark.parametrize(
    "change", [{"groove_left": -0.1}, {"sharpness": 1.5}, {"wiwnu_percent": float("nan")}]
)
def test_limits_outside_reason(change: dict[str, float]) -> None:
    assert next(iter(change)) in refused(lambda: Limits(**change))


def test_no_zone_presses(rig) -> None:
    slack = replace(rig, steps=(replace(rig.steps[0], zone_pressures=np.zeros(5)),))
    refused(lambda: polish_lot(slack, 2, cells=24))


def test_disk_records_that_never_met_a_setup(rig) -> None:
    """SI records made by hand are checked by the physics itself."""
    disk = rig.conditioner
    far = replace(disk, sweep=replace(disk.sweep, kind="slide", outer=0.6))
    refused(lambda: polish_lot(replace(rig, conditioner=far), 2, cells=24))
    bare = replace(disk, grit_density=0.0)
    refused(lambda: polish_lot(replace(rig, conditioner=bare), 2, cells=24))
    dull = replace(disk, halving_time=0.0)
    refused(lambda: polish_lot(replace(rig, conditioner=dull), 2, cells=24))


def test_files_that_cannot_be_written(rig, tmp_path: Path) -> None:
    lot = polish_lot(rig, 1, cells=24)
    blocked = tmp_path / "taken"
    blocked.write_text("a file where the folder should be")
    assert "cannot be written" in refused(lambda: lot.save(blocked))
    assert blocked.read_text() == "a file where the folder should be"


def test_many_events_at_one_wafer_keep_their_order() -> None:
    read = read_events(["2 pad", "2 disk", "1 monitor"], 2)
    assert [e.kind for e in read] == ["monitor", "pad", "disk"]
    assert draw(Variation(), 1, 0).process.shape == (1,)
