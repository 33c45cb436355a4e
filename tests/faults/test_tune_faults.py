"""What cannot be tuned is refused in one line with the place, what is allowed and the remedy."""

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import PlanishError


@pytest.fixture(scope="module")
def setup():
    return planish.loads(planish.new_setup("rotary"))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "target: not given"),
        ({"target": "1200 nm"}, "must be less than the 1000 nm that come in"),
        ({"target": "0 nm"}, "target = '0 nm': must be above 0"),
        ({"target": "450"}, "target = '450'"),
        ({"target": "450 nm", "bounds": {"zone_presure": "1..6 psi"}}, "zone_pressure"),
        ({"target": "450 nm", "bounds": {"zone_pressure": "1 to 6 psi"}}, "two ends with a unit"),
        ({"target": "450 nm", "bounds": {"zone_pressure": "6..1 psi"}}, "must leave a range"),
        ({"target": "450 nm", "bounds": {"zone_pressure": "-1..6 psi"}}, "from 0 psi"),
        ({"target": "450 nm", "bounds": {"time": "1..6 psi"}}, "--bound time"),
        ({"target": "450 nm", "keep": ["recipe.step.mian"]}, "no step 'mian'"),
        ({"target": "450 nm", "keep": ["recipe.step.main.flow"]}, "must be a path of a step"),
        ({"target": "450 nm", "keep": ["recipe.step"]}, "everything is kept"),
        ({"target": "450 nm", "neighbour": "-1 psi"}, "--neighbour = '-1 psi': must be above 0"),
        ({"target": "450 nm", "most_time": "20 s"}, "--most-time"),
        ({"target": "450 nm", "most_time": "2 s"}, "no settings keep all of them"),
        ({"target": "450 nm", "bounds": {"zone_pressure": "..1 psi", "time": "..20 s"}}, "bound of at most"),
        ({"target": "450 nm", "least_rate": "90000 nm/min"}, "--least-rate"),
        ({"target": "450 nm", "draws": 300}, "given with --meet"),
        ({"target": "450 nm", "seed": 2}, "given with --meet"),
        ({"target": "450 nm", "spreads": False}, "given with --meet"),
        ({"target": "450 nm", "keep": ["recipe.step.main.stop_on_removed"]}, "keep the whole step"),
        ({"target": "450 nm", "meet": {"foo": "1..2"}}, "must be one of thickness"),
    ],
)
def test_refusals_say_where_and_what(setup, options, words):
    with pytest.raises(PlanishError) as caught:
        planish.tune(setup, **options)
    assert words in str(caught.value)
    assert "must" in str(caught.value) or "did you mean" in str(caught.value)


def test_what_stops_the_target_is_named_with_what_is_left(setup):
    with pytest.raises(
        PlanishError, match=r"at best [0-9.]+ nm are left, more than wanted.*bound of at most"
    ):
        planish.tune(
            setup,
            target="450 nm",
            bounds={"zone_pressure": "..3 psi", "ring_pressure": "..4.2 psi", "time": "..30 s"},
        )


def test_sites_of_something_else(setup, tmp_path):
    sites = tmp_path / "rate.csv"
    sites.write_text("x_mm,y_mm,removal_nm\n0,0,500\n50,0,510\n0,50,505\n-50,0,500\n")
    with pytest.raises(PlanishError, match="of a thickness"):
        planish.tune(setup, target="450 nm", incoming=sites)


def test_the_command_ends_with_2_and_one_line(tmp_path):
    file = tmp_path / "setup.toml"
    file.write_text(planish.new_setup("rotary"))
    done = CliRunner().invoke(app, ["tune", str(file), "--target", "450 nm", "--bound", "zone_pressure"])
    assert isinstance(done.exception, PlanishError)
    assert "what=low..high" in str(done.exception)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"meet": {"thicknes": "440..460 nm"}}, "thickness"),
        ({"meet": {"thickness": "450 nm"}}, "a range, one end or both"),
        ({"meet": {"thickness": "460..440 nm"}}, "from a lower to a higher"),
        ({"meet": {"thickness": "440..460"}}, "--meet thickness"),
        ({"meet": {"thickness": "440..460 kPa"}}, "--meet thickness"),
        ({"meet": {"wiwnu_sigma_percent": "..3"}}, "target: not given"),
        ({"meet": {"thickness": "440..460 nm"}, "target": "500 nm"}, "within --meet thickness=440..460 nm"),
        ({"meet": {"thickness": "440..460 nm"}, "spreads": False}, "nothing differs from wafer to wafer"),
        ({"meet": {"thickness": "440..460 nm"}, "draws": 3}, "draws = 3"),
        ({"meet": {"thickness": "440..460 nm"}, "seed": -1}, "seed = -1"),
        ({"target": "450 nm", "over_wafers": 20}, "given with --meet"),
        ({"target": "450 nm", "incoming": []}, "no wafer given"),
    ],
)
def test_refusals_of_limits_to_be_met(setup, options, words):
    with pytest.raises(PlanishError) as caught:
        planish.tune(setup, **options)
    assert words in str(caught.value)
    assert "must" in str(caught.value)


def _wafer(name, size, *, top=1000.0):
    places = [(0, 0), *((r, 0) for r in (-size, size, 60)), *((0, r) for r in (-size, size, 60, -60))]
    rows = [f"{name},{x},{y},{top}" for x, y in places]
    return "\n".join(rows) + "\n"


def test_wafers_of_another_size(setup, tmp_path):
    head = "wafer,x_mm,y_mm,thickness_nm\n"
    small, large = tmp_path / "small.csv", tmp_path / "large.csv"
    small.write_text("# wafer: 200 mm\n" + head + _wafer("A", 90) + _wafer("B", 90))
    large.write_text(head + _wafer("A", 140) + _wafer("B", 180))
    with pytest.raises(PlanishError, match=r"a wafer of 200 mm: must be the setup's, of 300 mm"):
        planish.tune(setup, incoming=small, target="450 nm")
    with pytest.raises(PlanishError, match=r"180 mm from the centre: must lie on the setup's wafer"):
        planish.tune(setup, incoming=large, target="450 nm")


def test_limits_that_no_draw_meets_are_told_with_what_draws_have(setup, tmp_path):
    file = tmp_path / "lot.csv"
    file.write_text("wafer,x_mm,y_mm,thickness_nm\n" + _wafer("A", 140) + _wafer("B", 140, top=1010.0))
    with pytest.raises(
        PlanishError, match=r"none of them meets all limits.*range=\.\.0\.01 nm.*draws do not meet it"
    ):
        planish.tune(
            setup,
            incoming=file,
            target="450 nm",
            meet={"range": "..0.01 nm"},
            spreads=False,
            draws=20,
            workers=1,
        )


def test_a_folder_without_sites_and_a_table_without_files(setup, tmp_path):
    with pytest.raises(PlanishError, match="holds no file of sites: must hold some"):
        planish.tune(setup, incoming=tmp_path, target="450 nm")
    table = tmp_path / "runs.csv"
    table.write_text("wafer,time_s,rate_nm_per_min\nW1,60,300\n")
    with pytest.raises(PlanishError, match="no row names a file before polishing: must be some"):
        planish.tune(setup, incoming=table, target="450 nm")


@pytest.mark.parametrize("option", [{"draws": 300}, {"seed": 2}, {"spreads": False}, {"over_wafers": 30}])
def test_what_is_for_a_chance_is_not_passed_over_with_several_platens(setup, option):
    with pytest.raises(PlanishError, match="given with --meet"):
        planish.tune([setup, setup], target="450 nm", **option)
