"""Tables of runs, and files beside them, that cannot be used: one line each, with the place and the remedy."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import planish
from planish.errors import PlanishError
from planish.jobs.calibrating import observed_of
from planish.measure.layout.make import make_maps
from planish.measure.runs.record import RunColumns

ROOT = Path(__file__).parents[2]
SETUP = ROOT / "examples" / "rotary.toml"
DATA = ROOT / "examples" / "data"
LOADED = planish.load(SETUP)
RING = "recipe.step.main.ring_pressure"
SITES = "site,x_mm,y_mm,thickness_nm\n1,0,0,{}\n2,10,0,{}\n3,20,0,{}\n4,0,30,{}\n"

#: The table as written, and what its refusal must say.
FAULTS = {
    "a column that means nothing": (
        "wafer,slot,rate_nm_per_min\nW1,3,250\n",
        r"runs.csv: line 1, column 'slot': means nothing here.*did you mean 'lot'\?.*--leave-out 'slot'",
    ),
    "a key misspelt": (
        "rate_nm_per_min,recipe.step.main.ring_presure_psi\n250,4\n",
        rf"column 'recipe.step.main.ring_presure_psi': means nothing here.*did you mean '{RING}'",
    ),
    "nothing measured": ("wafer,time_s\nW1,60\n", "no column says what was measured: must be pre file and post file"),
    "two columns of one meaning": (
        "rate_nm_per_min,removal rate [nm/min]\n250,251\n",
        r"columns 'rate_nm_per_min' and 'removal rate \[nm/min\]' could each be the mean removal rate: must be one",
    ),
    "a number without a unit": ("rate\n250\n", r"line 2, column 'rate' = '250': must be a number with its unit \(as 250 nm/min"),
    "a unit of something else": ("time_s,rate\n60,250 nm\n", r"column 'rate': unit 'nm' of the mean removal rate: must be a unit of rate"),
    "words for a number": ("rate_nm_per_min\nfast\n", "column 'rate_nm_per_min' = 'fast': must be a number: the mean removal rate"),
    "a rate below zero": ("rate_nm_per_min\n-3\n", "= '-3': must be above 0 and a mean removal rate that can be"),
    "a rate in another unit": ("rate_um_per_min\n250000\n", r"must be above 0 .* \(is the unit right\?\)"),
    "no time": ("rate_nm_per_min,time_s\n250,0\n", "column 'time_s' = '0': must be above 0 and a polish time"),
    "half a wafer on the pad": ("rate_nm_per_min,pad wafers\n250,1.5\n", "= '1.5': must be a whole number of wafers"),
    "wafers and hours of a pad": (
        "rate_nm_per_min,pad wafers,pad_h\n250,3,1\n",
        "wafers and hours of the pad: must be one of both",
    ),
    "a disk of a pad without an age": (
        "rate_nm_per_min,disk_h\n250,1\n",
        "line 2: the use of the disk is stated and no age of the pad: must be both",
    ),
    "two disks on one pad": (
        "rate_nm_per_min,pad wafers,disk_h\n250,3,1\n251,3,2\n",
        r"after 3 wafers of the pad the disk is 1 h and 2 h old: must be one pad \(name the pads in a column lot\)",
    ),
    "more wafers than are polished": ("rate_nm_per_min,pad wafers\n250,5000\n", "= 5000: must be at most 2000"),
    "a file that is not there": (
        "pre file,post file\nnone.csv,post.csv\n",
        "line 2, column 'pre file' = 'none.csv': must be a file that exists",
    ),
    "a file elsewhere": ("removal file\n/etc/passwd\n", "must be the name of a file relative to the table"),
    "a file above the table": ("removal file\n../runs.csv\n", "must be a file in the folder of the table or below it"),
    "a file on another disk": ("removal file\nC:\\sites.csv\n", "must be the name of a file relative to the table"),
    "one file of two": ("pre file,post file\npre.csv,\n", "line 2: the site file from after the polish is not given: must be both"),
    "no column of the other file": ("wafer,pre file\nW1,pre.csv\n", "a column of the site file from before the polish and none"),
    "files the wrong way round": (
        "pre file,post file\npost.csv,pre.csv\n",
        "line 2: .*mean removal = -200 nm: must be above zero",
    ),
    "thickness for a removal": ("removal file\npre.csv\n", "line 2: .*measured quantity = 'thickness': must be removal"),
    "files, and an error of a rate": (
        "pre file,post file,sd_nm_per_min\npre.csv,post.csv,1\n",
        r"the measurement error: must be a length, of one site here \(such as nm\)",
    ),
    "an empty row": ("wafer,rate_nm_per_min\nW1,250\nW2,\n", r"line 3: holds no measurement.*leave the row out"),
    "a cut and a rate": (
        "rate_nm_per_min,cut rate [um/h],disk_h\n250,30,1\n",
        "line 2: a cut rate of the pad beside a removal of the wafer: must be a row each",
    ),
    "a cut without an age": ("cut_um_per_h\n30\n", "line 2: a cut rate and no use of the disk: must be stated"),
    "a pressure without a unit": (f"rate_nm_per_min,{RING}\n250,4\n", rf"line 2: .*{RING} = 4: must be"),
    "a pressure that cannot be": (f"rate_nm_per_min,{RING}_psi\n250,4000\n", rf"line 2: .*{RING} = '4000 psi': must be"),
    "a time shorter than the timed steps": ("rate_nm_per_min,time_s\n250,20\n", r"line 2: polish time = 20 s: must be above the 25 s"),
    "too many cells": ("wafer,rate_nm_per_min\nW1,250,3,4\n", "line 2: 4 cells where 2 columns are named"),
    "a column without a name": ("rate_nm_per_min,\n250,3\n", "line 1: column 2 has no name"),
    "names alone": ("wafer,rate_nm_per_min\n", "has column names but no rows"),
    "two decimal signs": ("rate_nm_per_min;time_s\n250,5;60.25\n", "must have one decimal sign"),
}  # fmt: skip


def refused(do) -> str:
    with pytest.raises(PlanishError) as caught:
        do()
    said = str(caught.value)
    assert "\n" not in said
    return said


@pytest.mark.parametrize("name", FAULTS)
def test_a_table_that_cannot_be_used_says_where_and_what_to_do(tmp_path, name):
    text, expected = FAULTS[name]
    (tmp_path / "pre.csv").write_text(SITES.format(1000, 1001, 1002, 1001), encoding="utf-8")
    (tmp_path / "post.csv").write_text(SITES.format(800, 801, 802, 801), encoding="utf-8")
    table = tmp_path / "runs.csv"
    table.write_text(text, encoding="utf-8")
    said = refused(lambda: observed_of(SETUP, [table]))
    assert re.search(expected, said), said
    assert str(table) in said


def test_a_telling_that_fits_no_column(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text("rate_nm_per_min\n250\n", encoding="utf-8")
    said = refused(lambda: observed_of(SETUP, [table], told=RunColumns(leave_out=("slot",))))
    assert "column left out = 'slot': must be one of its columns: rate_nm_per_min" in said
    said = refused(lambda: observed_of(SETUP, [table], told=RunColumns(columns={"time": "t"})))
    assert "column of time = 't': must be one of its columns" in said
    assert "role = 'speed': must be one of wafer, lot" in refused(lambda: RunColumns(columns={"speed": "v"}))
    assert "decimal = 'dot': must be point or comma" in refused(lambda: RunColumns(decimal="dot"))


def test_files_that_are_not_a_wafer(tmp_path):
    before, after = DATA / "wafer-before.csv", DATA / "wafer-after.csv"
    said = refused(lambda: observed_of(SETUP, [before, after, before]))
    assert "3 site files" in said
    assert "table of runs: columns wafer, pre file, post file" in said
    assert "no file given" in refused(lambda: observed_of(SETUP, []))
    assert "no such file" in refused(lambda: observed_of(SETUP, [tmp_path / "none.csv"]))
    odd = tmp_path / "odd.csv"
    odd.write_text("colour,shade\nred,3\n", encoding="utf-8")
    assert "nor is it a table of runs" in refused(lambda: observed_of(SETUP, [odd]))
    assert "must be removal" in refused(lambda: observed_of(SETUP, [before]))


def test_what_is_said_of_files_that_are_not_there(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text("rate_nm_per_min\n250\n", encoding="utf-8")
    assert "time: given, and no site file" in refused(lambda: observed_of(SETUP, [table], time=60.0))
    pair = [DATA / "wafer-before.csv", DATA / "wafer-after.csv"]
    said = refused(lambda: observed_of(SETUP, pair, told=RunColumns(leave_out=("slot",))))
    assert "no such table is given" in said


def test_steps_need_a_layout_and_a_step(tmp_path):
    steps = DATA / "steps.csv"
    assert "must stand with the layout" in refused(lambda: observed_of(SETUP, [steps]))
    layout = DATA / "test-blocks.gds"
    assert "second layout" in refused(lambda: observed_of(SETUP, [steps, layout], layout=layout, layer="1/0"))
    bare = tmp_path / "steps.csv"
    bare.write_text("x_mm,y_mm,time_s,step_left_nm\n1,1,60,300\n", encoding="utf-8")
    said = refused(lambda: observed_of(SETUP, [bare, layout], layer="1/0", cell=2e-4))
    assert "the step before polishing is not given: must be a column step_before_nm" in said
    bare.write_text("x_mm,y_mm,time_s,step_left_nm\n90,1,60,300\n", encoding="utf-8")
    said = refused(lambda: observed_of(SETUP, [bare, layout], layer="1/0", cell=2e-4, step=8e-7))
    assert "must be on the layout map" in said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"maps": 5}, "layout maps: a int was given"),
        ({"step": -1.0}, "step before polishing .* must be above 0"),
        ({"place": "nowhere"}, "must be 'centre', 'mid', 'edge'"),
        ({"place": -3.0}, "the wafer's radius"),
        ({"told": {"leave_out": ("x",)}}, "told: .*RunColumns record"),
    ],
)
def test_arguments_that_cannot_be(given, said):
    maps = make_maps("density-blocks", 2e-4, size=12e-3, pitch=2e-4)
    found = refused(lambda: planish.observe(SETUP, DATA / "steps.csv", **{"maps": maps, **given}))
    assert re.search(said, found), found


@pytest.mark.parametrize(
    "given",
    [{"columns": 5}, {"columns": {"rate": 5}}, {"leave_out": "slot"}, {"leave_out": (5,)}, {"sheet": 5}],
)
def test_what_is_told_has_to_be_names(given):
    assert refused(lambda: RunColumns(**given))


NAMES = st.sampled_from(
    ["wafer", "lot", "pre file", "post file", "removal file", "time_s", "time", "rate [nm/min]", "rate", "sd_nm", "sd [nm/min]",
     "pad wafers", "pad_h", "disk_h", "cut [um/h]", RING, f"{RING} [psi]", "recipe.step.main.time", "slot", "", "#", "x_mm"]
)  # fmt: skip
CELLS = st.one_of(
    st.sampled_from(["", "-", "nan", "1", "60", "3 psi", "4,5", "1,012", "1e400", "pre.csv", "..", "post.csv", "[s]", "#", '"', "60 s", "5 min", "0"]),
    st.text(max_size=8),
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example(names=["#", "wafer"], cells=[], sep=";")  # nothing but a remark, by the sign that parts its cells
@given(
    names=st.lists(NAMES, min_size=1, max_size=7),
    cells=st.lists(st.lists(CELLS, min_size=1, max_size=8), max_size=4),
    sep=st.sampled_from([",", ";", "\t", "|", "  "]),
)
def test_any_table_is_read_or_refused_in_one_line(tmp_path, names, cells, sep):
    (tmp_path / "pre.csv").write_text(SITES.format(1000, 1001, 1002, 1001), encoding="utf-8")
    (tmp_path / "post.csv").write_text(SITES.format(800, 801, 802, 801), encoding="utf-8")
    table = tmp_path / "runs.csv"
    text = "\n".join(sep.join(row) for row in [names, *cells])
    table.write_bytes(text.encode("utf-8", "surrogatepass"))
    said, found = "", []
    try:
        found = planish.observe(LOADED, table)
    except PlanishError as error:
        said = str(error)
    assert bool(said) != bool(found)
    assert "\n" not in said
    assert len(said) < 2200
    assert all(one.values.size and (one.values != 0).any() for one in found)


def test_a_setup_without_a_disk_has_no_cut_rate(tmp_path):
    table = tmp_path / "runs.csv"
    never = {f"recipe.step.{place}.conditioning": False for place in (1, 2, 3)}
    bare = planish.load(SETUP).replace({"conditioner": None, **never})
    table.write_text("cut_um_per_h,disk_h\n30,0\n", encoding="utf-8")
    assert "must have a conditioner" in refused(lambda: observed_of(bare, [table]))
    table.write_text("rate_nm_per_min,pad wafers,disk_h\n250,1,0\n", encoding="utf-8")
    assert "must have a conditioner" in refused(lambda: observed_of(bare, [table]))
