"""What a notebook may hand over by mistake is refused by name, not by an error from inside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.measure.layout.make import make_maps
from planish.predict.die.cells import DieChoices

EXAMPLES = Path(__file__).parents[2] / "examples"
BEFORE, AFTER = (EXAMPLES / "data" / f"wafer-{which}.csv" for which in ("before", "after"))
ROTARY = planish.load(EXAMPLES / "rotary.toml")
MAPS = make_maps("density-blocks", 1e-3, size=10e-3)


def die(**given):
    return planish.polish_die(ROTARY, given.pop("maps", MAPS), **given)


CALLS = {
    "no site file": lambda: planish.read_sites(None),
    "a NUL in a path": lambda: planish.open_result("a\0b"),
    "units that are text": lambda: planish.read_sites(BEFORE, units="nm"),
    "a column by number": lambda: planish.read_sites(BEFORE, value=3),
    "no wafer files": lambda: planish.measure_wafer(None, AFTER),
    "a tolerance of another kind": lambda: planish.measure_wafer(BEFORE, AFTER, tolerance="1 psi"),
    "no layout": lambda: planish.read_layout_maps(None, 1, 0, 1e-5),
    "no motion": lambda: planish.new_setup(None),
    "folders that are none": lambda: planish.list_parts(folders=None),
    "a setup of text": lambda: planish.Setup("setup.toml"),
    "events that are none": lambda: planish.polish_lot(ROTARY, 2, events=None),
    "a variation that is a number": lambda: planish.polish_lot(ROTARY, 2, variation=5),
    "a variation that is empty": lambda: planish.polish_lot(ROTARY, 2, variation=""),
    "limits that are a number": lambda: planish.polish_lot(ROTARY, 2, limits=5),
    "conditioning in words": lambda: planish.polish_lot(ROTARY, 2, conditioning="no"),
    "a process that is empty": lambda: die(process=""),
    "a level that is empty": lambda: die(level={}),
    "a wafer that is text": lambda: die(wafer=""),
    "choices that are a list": lambda: die(choices=[]),
    "no place": lambda: die(place=None),
    "topography that is a name": lambda: die(incoming="x.nc"),
    "topography of no place": lambda: die(incoming={}),
    "a pad after some words": lambda: die(after="5"),
    "densities above one": lambda: die(maps=replace(MAPS, density=MAPS.density + 1.0)),
    "densities below zero": lambda: die(maps=replace(MAPS, density=MAPS.density - 1.0)),
    "densities that are no numbers": lambda: die(maps=replace(MAPS, density=MAPS.density * np.nan)),
    "a cell of a gigametre": lambda: die(maps=replace(MAPS, cell=1e9)),
    "a cell that is text": lambda: die(maps=replace(MAPS, cell="100um")),
}


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_mistakes_are_refused_by_name(call):
    with pytest.raises(planish.PlanishError) as refusal:
        call()
    assert "must be" in str(refusal.value) or "no such" in str(refusal.value)


def test_a_pad_after_wafers_may_be_given_by_their_number():
    from planish.predict.die.pad import pad_after

    by_number, by_pad = die(after=3, place="centre"), die(after=pad_after(ROTARY, 3), place="centre")
    assert by_number.summary() == by_pad.summary()


def test_the_maps_before_and_after_are_a_measured_wafer():
    maps = planish.read_sites(BEFORE), planish.read_sites(AFTER)
    assert (
        planish.fit_wafer(ROTARY, maps).k_p
        == planish.fit_wafer(ROTARY, planish.measure_wafer(BEFORE, AFTER)).k_p
    )


@pytest.mark.filterwarnings("error")
def test_a_layout_of_nothing_says_so():
    empty = replace(MAPS, density=np.zeros_like(MAPS.density), perimeter=np.zeros_like(MAPS.density))
    found = die(maps=empty, place="centre", choices=DieChoices())
    assert any("nothing stands high" in note for note in found.notes)


def test_a_layout_of_one_cell_says_so():
    one = make_maps("density-blocks", 10e-3, size=10e-3)
    assert any("one cell" in note for note in die(maps=one, place="centre").notes)


def test_an_end_point_that_run_to_run_leaves_aside_is_told():
    told = planish.polish_lot(ROTARY, 3, adjust="run-to-run").notes
    assert any("run-to-run" in note for note in told)
    assert not any("run-to-run" in note for note in planish.polish_lot(ROTARY, 3).notes)


def test_data_files_that_only_the_other_setup_has_are_told(tmp_path):
    sites = BEFORE.read_text()
    film = '[[wafer.film]]\nmaterial = "oxide"\nsites = "inc.csv"\n'
    plain = (EXAMPLES / "rotary.toml").read_text()
    start = plain.index("[[wafer.film]]")
    end = plain.index("\n[", start + 3)
    for name, content in (("a", sites), ("b", sites.replace("1000", "1200"))):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "setup.toml").write_text(plain[:start] + film + plain[end:])
        (folder / "inc.csv").write_text(content)
    a, b = (planish.load(tmp_path / name / "setup.toml") for name in "ab")
    if (tmp_path / "a" / "inc.csv").read_bytes() == (tmp_path / "b" / "inc.csv").read_bytes():
        (tmp_path / "b" / "inc.csv").write_text(sites + "\n")
    assert any("inc.csv" in note and "copy it" in note for note in planish.compare(a, b).notes)
    assert not any("copy it" in note for note in planish.compare(a, a).notes)
