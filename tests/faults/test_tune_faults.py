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
