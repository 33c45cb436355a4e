"""Trade-offs that cannot be asked for so: the refusal names the place, what is allowed and the remedy."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import PlanishError

FILE = Path(__file__).parents[2] / "examples" / "tungsten.toml"
PRESSURE = "recipe.step.main.zone_pressures"
VARY = {PRESSURE: "2 psi, 4 psi"}
AIMS = ["rate", "evenness"]


@pytest.fixture(scope="module")
def setup():
    return planish.load(FILE)


@pytest.mark.parametrize(
    ("vary", "aims", "more", "words"),
    [
        (VARY, [], {}, r"aims = .*none.*two or more.*--aim rate --aim evenness"),
        (VARY, ["rate"], {}, r"aims = 'rate': must be two or more"),
        (VARY, "rate", {}, r"two or more"),
        (VARY, ["rate", "mean_removal_rate_nm_per_min"], {}, r"given twice"),
        (VARY, ["rate", "eveness"], {}, r"aim = 'eveness'.*one of rate, evenness.*did you mean 'evenness'"),
        (VARY, ["rate", "time_s=up"], {}, r"aim time_s = 'up': must be higher or lower"),
        (VARY, ["rate", "plasticity_index"], {}, r"aim plasticity_index.*no direction.*=lower"),
        (VARY, ["rate", 3], {}, r"aim = .*3"),
        ({}, AIMS, {}, r"vary = 'nothing'.*one key or more.*--vary"),
        (None, AIMS, {}, r"vary"),
        ({"pad.prat": "a, b"}, AIMS, {}, r"pad.prat"),
        ({"pad.part": "no-pad, none-either"}, AIMS, {}, r"vary pad.part: none of its values can be used"),
        ({PRESSURE: "4..2 psi"}, AIMS, {}, r"from a lower to a higher number"),
        (VARY, AIMS, {"limits": {"evenness": "3"}}, r"limit evenness = '3': must be a range"),
        (
            VARY,
            AIMS,
            {"limits": {"evenness": "..3 nm"}},
            r"limit evenness.*in the unit of wiwnu_sigma_percent: %",
        ),
        (VARY, AIMS, {"limits": {"evenness": "3..1"}}, r"a lower end below the higher one"),
        (VARY, AIMS, {"limits": {"wiwnu": "..1"}}, r"limit = 'wiwnu'"),
        (VARY, AIMS, {"runs": 1}, r"runs"),
        (VARY, AIMS, {"points": 1}, r"points"),
        (VARY, AIMS, {"wafers": 1}, r"wafers"),
        (VARY, AIMS, {"seed": -1}, r"seed"),
        (VARY, ["rate", "dishing"], {}, r"die: no layout given.*--layout FILE or --pattern"),
        (VARY, ["rate", "cost"], {"wafers": 2}, r"cost_per_wafer: no price is given.*\[cost\]"),
    ],
)
def test_what_cannot_be_asked_for(setup, vary, aims, more, words):
    with pytest.raises(PlanishError, match=words):
        planish.choose(setup, vary, aims, workers=1, **more)


def test_an_aim_that_the_die_has_not(setup):
    from planish.measure.layout.make import make_maps

    oxide = planish.load(FILE.parent / "rotary.toml")
    maps = make_maps("density-blocks", cell=400e-6)
    with pytest.raises(PlanishError, match=r"figure of the die = 'dishing_max_nm'.*step_height_max_nm"):
        planish.choose(oxide, VARY, ["rate", "dishing"], maps=maps, workers=1)


def test_nothing_keeps_the_limits(setup):
    """Says how many are beyond which limit, and how near one comes."""
    with pytest.raises(PlanishError) as refusal:
        planish.choose(setup, VARY, AIMS, limits={"rate": "9000..", "evenness": "..50"}, workers=1)
    words = str(refusal.value)
    assert "none of the 2 setups tried can be chosen" in words
    assert "2 are beyond mean_removal_rate_nm_per_min 9000.. nm/min" in words
    assert "wiwnu" not in words.split("the nearest has")[0]
    assert "the nearest has rate" in words


def test_nothing_has_an_answer(setup, monkeypatch):
    from planish.tuning.tradeoffs import predicted

    def refused(*_, **__):
        raise PlanishError("no answer here")

    monkeypatch.setattr(predicted, "polish", refused)
    with pytest.raises(PlanishError, match=r"2 of 2 have no answer, the first: no answer here"):
        planish.choose(setup, VARY, AIMS, workers=1)
    with pytest.raises(PlanishError, match=r"plasticity_index: cannot be looked up"):
        planish.choose(setup, VARY, ["rate", "plasticity_index=lower"], workers=1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--aim", "rate"], "two or more"),
        (["--write", "1"], "--write: no folder given"),
        (["--limit", "evenness"], "--limit"),
        (["--place", "all"], "one place"),
        (["--pattern", "no-pattern"], "layout kind"),
        (["--pattern", "line-space", "--layout", "a.gds"], "both given"),
    ],
)
def test_the_verb_refuses(options, words):
    asked = ["choose", str(FILE), "--vary", f"{PRESSURE}=2 psi, 4 psi", *options]
    said = CliRunner().invoke(app, asked)
    assert isinstance(said.exception, PlanishError)
    assert words in str(said.exception)
    assert said.stdout == ""


def test_a_point_that_there_is_not(tmp_path):
    """The answer is written all the same: nothing that was computed is lost."""
    asked = ["choose", str(FILE), "--vary", f"{PRESSURE}=2 psi, 4 psi", "--aim", "rate", "--aim", "evenness"]
    said = CliRunner().invoke(app, [*asked, "--workers", "1", "--out", str(tmp_path), "--write", "99"])
    assert "--write = '99': must be 1 to " in str(said.exception)
    assert (tmp_path / "trade-off.nc").exists()
