"""What a notebook or a debugger shows of a record: a line or two that says what it is, with figures and units."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.engine.record import Record, brief, counted, figure, shortened
from planish.fit.planarization import fit_planarization
from planish.fit.traces import RegimeFit
from planish.measure.sites.pairing import pair
from planish.measure.sites.profile import radial_profile, smooth_map
from planish.measure.sites.read import read_sites
from planish.measure.steps import read_steps
from planish.predict.die.fields import polish_fields
from planish.predict.die.fill import propose_fill
from planish.predict.die.pad import pad_after
from planish.predict.dwell import design_sweep
from planish.predict.wafer.bands import polish_band
from planish.setup.parts import catalogue

EXAMPLES = Path(__file__).parents[2] / "examples"
DATA = EXAMPLES / "data"
LONGEST = 300
SETUPS = sorted(path.name for path in EXAMPLES.glob("*.toml"))


def told(value, *words):
    text = repr(value)
    assert len(text) < LONGEST
    assert text.count("\n") < 3
    assert type(value).__name__ in text
    missing = [word for word in words if word not in text]
    assert not missing, text


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml")


@pytest.fixture(scope="module")
def maps():
    return planish.read_layout_maps(DATA / "test-blocks.gds", 1, 0, 400e-6, cache=False)


@pytest.mark.parametrize("name", SETUPS)
def test_setups_and_their_si_records(name):
    setup = planish.load(EXAMPLES / name)
    told(setup, setup.motion, "step")
    rig = setup.rig
    told(rig, "mm", rig.pad.family)
    queue = [getattr(rig, field.name) for field in fields(rig)]
    told_of = set()
    while queue:
        value = queue.pop()
        if isinstance(value, dict):
            queue += value.values()
        elif isinstance(value, tuple):
            queue += value
        elif isinstance(value, Record):
            told(value)
            told_of.add(type(value).__name__)
            queue += [getattr(value, field.name) for field in fields(value)]
    assert {
        "Wafer",
        "Film",
        type(rig.polisher).__name__,
        "Head",
        "Pad",
        "Layer",
        "Slurry",
        "Removal",
        "Reference",
        "Step",
    } <= told_of


def test_units_of_si_records_are_those_of_the_trade(setup):
    rig = setup.rig
    told(rig.head.ring, "22 mm wide, 0.5 mm from the wafer")
    told(rig.steps[0], "10 s", "1.5 psi", "60 rpm", "250 ml/min")
    told(rig.removal["oxide"], "k_p 2.014e-13", "3 psi", "1 m/s")


def test_a_wafer(setup):
    wafer = planish.polish(setup)
    figures = wafer.summary()
    told(
        wafer,
        "rotary demo",
        "300 mm",
        "3 steps",
        f"{figures['mean_removed_nm']:.4g} nm",
        "nm/min",
        "% (1σ)",
        "°C",
    )
    told(wafer.steps[0], "psi", "nm/min")
    told(wafer.maps(31), "31 x 31", "300 mm")


def test_a_lot(setup):
    lot = planish.polish_lot(setup, 2)
    told(lot, "2 wafers", "nm/min", "% (1σ)", "seed 0")
    told(lot.records, "2 wafers")
    told(pad_after(setup, 1), "um", "MPa")


def test_a_die(setup, maps):
    die = planish.polish_die(setup, maps, place=["centre", "edge"])
    told(die, "oxide", "30 x 30 cells", "nm", "centre, edge")
    told(die.dies[0], "centre", "nm", "mm")
    told(maps, "1/0", "400 um", "%")
    fields = polish_fields(setup, maps, centres=[(0.0, 0.0)], workers=1)
    told(fields, "1 field", "mm", "nm")
    told(fields.fields[0], "nm", "mm")
    told(propose_fill(maps.density, maps.cell, 3e-3), "%")


def test_proposals_bands_and_comparisons(setup):
    told(design_sweep(setup, zones=4), "4 zones", "mm", "%")
    told(next(iter(polish_band(setup).values())), "±")
    told(planish.compare(setup, EXAMPLES / "linear.toml"), "nm/min", "in A")
    told(catalogue("pad")["soft-felt"], "soft-felt")


def test_measurements_and_fits(setup):
    before, after = read_sites(DATA / "wafer-before.csv"), read_sites(DATA / "wafer-after.csv")
    told(before, "thickness", "49 sites", "nm")
    paired = pair(before, after)
    told(paired, "49 sites", "nm")
    told(
        planish.measure_wafer(DATA / "wafer-before.csv", DATA / "wafer-after.csv"), "49 sites", "nm/min", "%"
    )
    told(planish.fit_wafer(planish.polish(setup), paired), "1/Pa", "nm RMS", "49 sites")
    told(radial_profile(paired.removal))
    told(smooth_map(paired.removal))
    nested = planish.nested_variance({"lot": list("aabbccdd"), "wafer": list("12121212")}, np.arange(8.0))
    told(nested, "lot", "%")
    told(nested.components[0], "lot")


def test_a_fit_of_the_planarization_length(maps):
    table = read_steps(DATA / "steps.csv")
    told(table)
    told(fit_planarization(maps, table, step=table.step_before or 8e-7), "mm", "nm/min")


def test_a_saved_result(setup, tmp_path):
    planish.polish(setup).save(tmp_path / "wafer.nc")
    told(planish.open_result(tmp_path / "wafer.nc"), "one wafer", "rotary demo")


def test_records_without_words_of_their_own_name_their_fields():
    nothing = np.zeros(7)
    made = RegimeFit(
        "a",
        3,
        2,
        0,
        100.0,
        (1.0, 0.1),
        (),
        (),
        0.0,
        {},
        {},
        (),
        nothing,
        nothing,
        nothing > 0,
        {"law": nothing},
    )
    told(made, "regime a", "3 wafers")


def test_a_long_title_is_cut(setup):
    longest = setup.replace({"title": "x" * 80})
    told(longest)
    told(longest.rig)
    told(planish.polish(longest))
    assert shortened("a\nb  c", 10) == "a b c"
    assert len(shortened("x" * 999, 40)) == 40


def test_small_words():
    assert counted(1, "step") == "1 step"
    assert counted(2, "step") == "2 steps"
    assert figure(float("nan"), "nm") == figure(None, "nm") == "none"
    assert figure(12.3456, "nm") == "12.35 nm"
    assert brief(np.zeros((2, 3))) == "2x3 values"
    assert brief(True) == "yes"
    assert brief(3) == "3"
