"""Measured wafers that contradict themselves, the setup, or what is given beside them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import DataError
from planish.fit.planarization import fit_planarization
from planish.measure.layout.read import read_layout_maps
from planish.measure.steps import StepTable, read_steps

ROOT = Path(__file__).parents[2]
DATA = ROOT / "examples" / "data"
BEFORE, AFTER = DATA / "wafer-before.csv", DATA / "wafer-after.csv"
SETUP = ROOT / "examples" / "rotary.toml"


def edited(tmp_path: Path, source: Path, *pairs: tuple[str, str]) -> Path:
    text = source.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / source.name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_that_states_its_time_twice_is_refused(tmp_path):
    path = edited(tmp_path, BEFORE, ("# polish_time: 99 s", "# polish_time: 99 s\n# polish_time: 60 s"))
    with pytest.raises(DataError, match=r"polish_time = '60 s'.*'99 s' \(state it once\)"):
        planish.read_sites(path)
    same = edited(tmp_path, BEFORE, ("# polish_time: 99 s", "# polish_time: 99 s\n# polish_time: 99 s"))
    assert planish.read_sites(same).polish_time == 99.0


@pytest.mark.parametrize("extra", [", thickness=nm", "\n# units: thickness=nm"])
def test_a_file_that_states_a_unit_twice_is_refused(tmp_path, extra):
    path = edited(tmp_path, DATA / "wafer-before-polar.csv", ("thickness=A", f"thickness=A{extra}"))
    with pytest.raises(DataError, match="state it once"):
        planish.read_sites(path)


def test_a_wafer_of_another_size_is_not_held_against_a_setup(tmp_path):
    pair = [edited(tmp_path, one, ("# wafer: 300 mm", "# wafer: 450 mm")) for one in (BEFORE, AFTER)]
    with pytest.raises(DataError, match="wafer 450 mm: must be 300 mm, as in the setup"):
        planish.fit_wafer(SETUP, planish.measure_wafer(*pair))
    unnamed = [edited(tmp_path, one, ("# wafer: 300 mm\n", "")) for one in (BEFORE, AFTER)]
    with pytest.raises(DataError, match="must lie on the setup's wafer of 200 mm"):
        planish.fit_wafer(ROOT / "examples" / "three-zone-copper.toml", planish.measure_wafer(*unnamed))


@pytest.mark.parametrize("tolerance", [float("nan"), float("inf"), -1.0, 0.0, 0.3])
def test_a_tolerance_that_would_pair_anything_is_refused(tolerance):
    with pytest.raises(DataError, match="tolerance"):
        planish.measure_wafer(BEFORE, AFTER, tolerance=tolerance)


def test_a_time_may_be_text_as_the_command_takes_it():
    assert (
        planish.measure_wafer(BEFORE, AFTER, "1 min").summary()
        == planish.measure_wafer(BEFORE, AFTER, 60.0).summary()
    )
    measured = planish.measure_wafer(BEFORE, AFTER)
    assert planish.fit_wafer(SETUP, measured, "60 s").k_p == planish.fit_wafer(SETUP, measured, 60).k_p


@pytest.mark.parametrize("time", ["60", "60 nm", [60], True, None.__class__, 0, -3.0, 1e9, float("inf")])
def test_what_is_no_time_is_refused(time):
    with pytest.raises(DataError, match="polish time"):
        planish.measure_wafer(BEFORE, AFTER, time)


def test_a_given_time_that_differs_from_the_stated_one_is_told():
    told = planish.measure_wafer(BEFORE, AFTER, 60).notes
    assert any("60 s as given goes before the 99 s stated" in note for note in told)
    assert not any("goes before" in note for note in planish.measure_wafer(BEFORE, AFTER).notes)


def test_maps_that_were_read_already_may_be_given():
    maps = planish.read_sites(BEFORE), planish.read_sites(AFTER)
    assert planish.measure_wafer(*maps).summary() == planish.measure_wafer(BEFORE, AFTER).summary()


def test_a_step_that_grew_is_named():
    table = read_steps(DATA / "steps.csv")
    maps = read_layout_maps(DATA / "test-blocks.gds", 1, 0, "100 um")
    left = table.step_left.copy()
    plain = fit_planarization(
        maps, StepTable(table.x, table.y, table.time, table.up_loss, left), step=table.step_before
    )
    assert plain.notes == ()
    left[1] = 2.418e-6
    odd = fit_planarization(
        maps, StepTable(table.x, table.y, table.time, table.up_loss, left), step=table.step_before
    )
    assert any(note.startswith("row 2 ") and "step left" in note for note in odd.notes)
    assert np.isfinite(odd.length.value)


def test_platens_for_wafers_of_two_sizes_are_refused():
    maps = read_layout_maps(DATA / "test-blocks.gds", 1, 0, "200 um")
    other = ROOT / "examples" / "three-zone-copper.toml"
    with pytest.raises(planish.PlanishError, match=r"platen 2.*'200 mm': must be 300 mm"):
        planish.polish_die([SETUP, other], maps, place=0.14)
