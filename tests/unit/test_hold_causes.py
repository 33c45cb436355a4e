"""Ranked causes: upsets of the lot model are found again with size and onset, and the answer is honest about what it cannot tell."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app

sys.path.insert(0, str(Path(__file__).parent))
from upsets import UpsetLot, main_step, zone

COLUMNS = {"time": "time", "friction": "mu", "temperature": "pad temperature"}


def ranked(lot, rig, **options):
    options = {"baseline": 14, "table": lot.table, **COLUMNS, "cells": 24, **options}
    return planish.rank_causes(rig, lot.maps(lot.before), lot.maps(lot.after), **options)


@pytest.fixture(scope="module")
def rig():
    return main_step()


@pytest.fixture(scope="module")
def zoned(rig):
    return UpsetLot(rig, other=zone(rig, 3, 0.96))


@pytest.fixture(scope="module")
def found(rig, zoned):
    return ranked(zoned, rig)


def test_a_zone_is_found_with_its_size_and_onset(found):
    first = found.causes[0]
    assert first.cause == "head zone"
    assert first.change.startswith("zone 3 pressure -")
    assert first.size == pytest.approx(-4.0, abs=0.3)
    assert first.onset_row == 17
    assert found.explained
    assert sum(one.share for one in found.causes) == pytest.approx(1)
    assert found.evidence > 10


def test_the_same_question_has_the_same_answer(rig, zoned, found):
    assert ranked(zoned, rig).document() == found.document()


def test_a_weak_slurry_is_found_where_the_recipe_ends_on_an_amount(rig):
    first = ranked(UpsetLot(rig, rate=0.93), rig).causes[0]
    assert (first.cause, first.onset_row) == ("slurry", 17)
    assert first.size == pytest.approx(-7, abs=0.6)


def test_a_slurry_is_found_where_it_ends_on_a_time_and_its_own_times_count():
    rig = main_step(time=90.0)
    lot = UpsetLot(rig, rate=1.05)
    first = ranked(lot, rig).causes[0]
    assert (first.cause, first.size) == ("slurry", pytest.approx(5, abs=0.6))
    # the same wafers polished 4 % longer each: what is removed goes with the time, and the answer does not
    longer = UpsetLot(rig, rate=1.05)
    longer.time = [1.04 * one for one in lot.time]
    longer.after = [b - 1.04 * (b - a) for b, a in zip(lot.before, lot.after, strict=True)]
    again = ranked(longer, rig)
    assert again.causes[0].size == pytest.approx(first.size, abs=0.2)
    assert any("taken for the recipe's 90 s" in note for note in again.notes)


def test_a_gauge_is_found_and_its_offset_told(rig):
    first = ranked(UpsetLot(rig, reads=3e-9), rig).causes[0]
    assert first.cause == "metrology"
    assert "gauge after the polish" in first.change


def test_offsets_of_both_readings_cannot_be_told_from_a_thicker_film(rig):
    lot = UpsetLot(rig)
    for values in (lot.before, lot.after):
        values[16:] = [one + 40e-9 for one in values[16:]]
    found = ranked(lot, rig)
    assert [one.cause for one in found.causes[:2]] == ["incoming", "metrology"]
    assert any(
        "cannot tell incoming from metrology" in line and "nor would any" in line for line in found.said
    )


def test_what_no_part_does_is_explained_by_none(rig):
    lot = UpsetLot(rig)
    lot.after[16:] = [
        one + 8e-9 * np.cos(9 * np.arange(9) + at * 2) * [4, *[1] * 4, *[-1] * 4]
        for at, one in enumerate(lot.after[16:])
    ]
    found = ranked(lot, rig)
    assert not found.explained
    assert any(line.startswith("none of these explains it") for line in found.said)


def test_nothing_that_changed_is_said_to_be_hardly_anything(rig):
    assert any("hardly anything changed" in line for line in ranked(UpsetLot(rig), rig).said)


def test_a_disk_is_looked_at_only_where_there_is_one(rig, zoned):
    found = ranked(zoned, replace(rig, conditioner=None))
    assert "disk" not in {one.cause for one in found.causes}
    assert "the setup has no disk: none is looked at" in found.notes


def test_without_times_it_says_what_cannot_be_seen(rig, zoned):
    found = ranked(zoned, rig, time=None, friction=None)
    assert any("no polish time is told" in note for note in found.notes)


def test_a_wafer_without_a_figure_is_left_out_and_told(rig, zoned):
    table = {**zoned.table, "mu": [*zoned.table["mu"][:3], None, *zoned.table["mu"][4:]]}
    found = ranked(zoned, rig, table=table)
    assert 4 not in found.rows
    assert any(note.endswith("left out: 4") for note in found.notes)
    assert found.causes[0].onset_row == 17


def test_the_use_of_pad_and_disk_says_where_they_were_changed(rig):
    lot = UpsetLot(rig, rate=0.93, events=["11 pad", "20 disk"])
    table = {
        **lot.table,
        "pad": [*range(10), *range(16)],
        "disk h": [*(0.03 * np.arange(19)), *(0.03 * np.arange(7))],
    }
    by_use = ranked(lot, rig, table=table, pad="pad", disk="disk h")
    by_events = ranked(lot, rig, events=["11 pad", "20 disk"])
    assert by_use.causes[0].cause == by_events.causes[0].cause == "slurry"
    assert by_use.causes[0].share == pytest.approx(by_events.causes[0].share, abs=1e-3)


def one_step(folder):
    """Write the example's setup with its main step alone."""
    text = (Path(__file__).parents[2] / "examples" / "rotary.toml").read_text(encoding="utf-8")
    head, _, main, last = text.split("[[recipe.step]]")
    rest = re.split(r"(?m)^\[", last, maxsplit=1)[1:]  # what follows the last step
    text = "[".join([f"{head}[[recipe.step]]{main}", *rest])
    (folder / "setup.toml").write_text(text, encoding="utf-8")
    return folder / "setup.toml"


def test_the_verb_says_what_the_function_says(zoned, tmp_path):
    before, after, table = (str(path) for path in zoned.write(tmp_path))
    words = [
        "hold",
        "causes",
        str(one_step(tmp_path)),
        before,
        after,
        "--site-plan",
        "9, 300 mm, 3 mm",
        "--baseline",
        "14",
    ]
    words += ["--table", table, "--time", "time", "--friction", "mu", "--temperature", "pad temperature"]
    done = CliRunner().invoke(
        app, [*words, "--json", "--out", str(tmp_path / "out"), "-o", str(tmp_path / "page.html")]
    )
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["likeliest"] == "head zone"
    assert told["onset_row"] == 17
    assert any(line.startswith("care:") for line in told["said"])
    saved = planish.open_result(tmp_path / "out" / "causes.nc")
    assert saved.document() == told
    saved.plot()
    assert "zone 3 pressure" in (tmp_path / "page.html").read_text(encoding="utf-8")
