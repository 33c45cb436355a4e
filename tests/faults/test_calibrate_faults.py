"""Fits that cannot be: what is refused, in words that say which number or set, and what is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, FitError, ModelError, PlanishError

EXAMPLES = Path(__file__).parents[2] / "examples"
RATE, ENERGY = "removal.oxide.rate", "removal.oxide.activation_energy"
NUMBERS = np.array([4e-9, 4.1e-9, 4.2e-9, 4.05e-9])


def by_rate(setup):
    return np.full(4, setup.si(RATE))


def by_both(setup):
    return np.full(4, setup.si(RATE) * (1.0 + setup.si(ENERGY) / 1e5))


def no_answer(_setup):
    raise ModelError("the film tears")


def observed(**changes):
    whole = planish.Observed(
        "rates (rates.csv)", "rate", NUMBERS, np.zeros(4), "m/s", np.arange(4), by_rate, (), (), {}
    )
    return replace(whole, **changes)


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml")


FREE_FAULTS = [
    (["removal.oxide.rat"], ["removal.oxide.rat", "did you mean"]),
    (["removal.oxyde.rate"], ["removal.oxyde.rate"]),
    (["pad.family"], ["pad.family", "is text"]),
    (["recipe.step.main.conditioning"], ["is true or false"]),
    (["pad.top"], ["is a table", "thickness"]),
    (["recipe.step.main.zone_pressures"], ["is a list", "zone_pressures.1"]),
    (["pad.top.modulus"], ["does not state it", "pad.top.shore_d"]),
    (["die.planarization_length"], ["does not state it", "give it a value first"]),
    (["removal.oxide.coefficients.k_p"], ["states the rate", RATE]),
    (["removal.oxide.coefficients.q"], ["unknown key for the law 'preston'"]),
    ([RATE, RATE], [RATE, "given twice"]),
    ([RATE, ""], ["path"]),
    ([RATE, 3], ["free = 3", "dotted path"]),
    (["recipe.step.polish.time"], ["no step 'polish'", "main"]),
    (
        ["pad.wear_coefficient"],
        ["pad.wear_coefficient", "moves none of the measured values", "add measurements"],
    ),
]


@pytest.mark.parametrize(("free", "told"), FREE_FAULTS, ids=[str(free) for free, _ in FREE_FAULTS])
def test_numbers_that_cannot_be_free(setup, free, told):
    with pytest.raises(PlanishError) as refused:
        planish.calibrate(setup, observed(), free, ahead=0)
    assert all(word in str(refused.value) for word in told), str(refused.value)


DATA_FAULTS = [
    ([], ["nothing was given"]),
    ([3.0], ["a float was given"]),
    ({"values": np.array([])}, ["rates (rates.csv)", "0 values"]),
    ({"values": np.array([1.0, np.nan, 1.0, 1.0])}, ["rates (rates.csv): value 2", "finite"]),
    ({"values": np.zeros(4)}, ["all 4 values are 0"]),
    ({"sd": np.zeros(3)}, ["4 values, 3 errors"]),
    ({"sd": np.array([0.0, -1.0, 0.0, 0.0])}, ["error 2", "0 or more"]),
    ({"groups": np.arange(5)}, ["5 groups"]),
    ({"predict": lambda setup: np.ones(3)}, ["the prediction has 3 values", "4"]),
    ({"predict": lambda setup: np.full(4, np.nan)}, ["rates (rates.csv): value 1 is predicted as nan"]),
    ({"predict": no_answer}, ["no answer for the setup as it stands", "the film tears"]),
]


@pytest.mark.parametrize(("data", "told"), DATA_FAULTS, ids=[str(index) for index in range(len(DATA_FAULTS))])
def test_measurements_that_cannot_be_used(setup, data, told):
    with pytest.raises((DataError, FitError)) as refused:
        planish.calibrate(setup, observed(**data) if isinstance(data, dict) else data, [RATE], ahead=0)
    assert all(word in str(refused.value) for word in told), str(refused.value)


OPTION_FAULTS = [
    ({"bounds": {RATE: "400..100 nm/min"}}, ["bounds of removal.oxide.rate", "from a lower to a higher"]),
    ({"bounds": {RATE: "1e7..1e8 nm/min"}}, ["bounds of removal.oxide.rate", "within"]),
    ({"bounds": {RATE: "100..400 psi"}}, ["two numbers in one unit", "psi"]),
    ({"bounds": {RATE: "about 200"}}, ["a range such as"]),
    ({"bounds": {ENERGY: "1..20 kJ/mol"}}, ["it is not free", RATE]),
    ({"bounds": {"removal.oxid": "1..2"}}, ["removal.oxid"]),
    ({"level": 1.0}, ["level = 1.0", "below 1"]),
    ({"level": "much"}, ["level", "share"]),
    ({"loss": "lorentz"}, ["loss = 'lorentz'", "huber or linear"]),
    ({"priors": "no"}, ["priors", "true or false"]),
    ({"starts": 0}, ["starts = 0"]),
    ({"ahead": -1}, ["ahead = -1"]),
    ({"samples": 1.5}, ["samples = 1.5"]),
    ({"workers": 0}, ["workers = 0"]),
    ({"date": "tomorrow"}, ["date = 'tomorrow'", "2026-11-27"]),
]


@pytest.mark.parametrize(
    ("options", "told"), OPTION_FAULTS, ids=[str(options) for options, _ in OPTION_FAULTS]
)
def test_options_that_cannot_be(setup, options, told):
    with pytest.raises(PlanishError) as refused:
        planish.calibrate(setup, observed(), [RATE], **{"ahead": 0, **options})
    assert all(word in str(refused.value) for word in told), str(refused.value)


def test_what_only_multiplies_has_no_single_answer_without_priors(setup):
    with pytest.raises(FitError, match=r"no single answer.*not told apart.*other pressures"):
        planish.calibrate(setup, observed(predict=by_both), [RATE, ENERGY], priors=False, ahead=0)


def test_one_value_does_not_tell_two_numbers(setup):
    one = observed(
        values=NUMBERS[:1], sd=np.zeros(1), groups=np.arange(1), predict=lambda setup: by_both(setup)[:1]
    )
    with pytest.raises(FitError, match="1 measured values for 2 free numbers"):
        planish.calibrate(setup, one, [RATE, ENERGY], priors=False, ahead=0)


def test_one_value_alone_says_that_its_error_is_assumed(setup):
    one = observed(values=NUMBERS[:1], sd=np.zeros(1), groups=np.arange(1), predict=lambda s: by_rate(s)[:1])
    found = planish.calibrate(setup, one, [RATE], ahead=0)
    assert any("too few values to tell how they scatter" in note for note in found.notes)


def test_everything_free_is_refused_with_a_number_that_moves_nothing(setup):
    every = [path for path in setup.origins if path.startswith(("pad.", "slurry."))]
    numbers = [
        path for path in every if isinstance(setup.get(path), int | float) or " " in str(setup.get(path))
    ]
    with pytest.raises(PlanishError):
        planish.calibrate(setup, observed(), numbers, ahead=0)


def test_a_bound_that_holds_the_fit_back_is_told(setup):
    found = planish.calibrate(
        setup, observed(), [RATE], bounds={RATE: "260..300 nm/min"}, priors=False, ahead=0
    )
    assert any("ended on the bound" in note for note in found.notes)


def test_a_value_far_from_what_was_stated_is_told(setup):
    far = observed(values=2.0 * NUMBERS)
    found = planish.calibrate(setup, far, [RATE], ahead=0)
    assert any("of the stated spreads away" in note for note in found.notes)


VERB = [
    (["--free", "removal.oxide.rate"], ["SETUP and one or more files"]),
    (["{setup}", "--free", "removal.oxide.rate"], ["SETUP and one or more files"]),
    (["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate,"], ["--free"]),
    (["{setup}", "{pre}", "{post}", "--free", "pad.family"], ["is text"]),
    (["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate", "--bound", "rate"], ["--bound"]),
    (["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate", "--out", "{pre}"], ["is a file"]),
    (
        ["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate", "--out", "/nowhere/f.toml"],
        ["no folder"],
    ),
    (["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate", "--rates", "{pre}"], ["without --free"]),
    (["{setup}", "missing.csv", "{post}", "--free", "removal.oxide.rate"], ["missing.csv"]),
    (["{setup}", "{pre}", "{post}", "--free", "removal.oxide.rate", "--time", "0 s"], ["--time"]),
]


@pytest.mark.parametrize(("words", "told"), VERB, ids=[" ".join(words) for words, _ in VERB])
def test_the_verb_refuses_in_one_line(words, told):
    named = {
        "setup": EXAMPLES / "rotary.toml",
        "pre": EXAMPLES / "data/wafer-before.csv",
        "post": EXAMPLES / "data/wafer-after.csv",
    }
    done = CliRunner().invoke(app, ["fit", *(word.format(**named) for word in words)])
    assert isinstance(done.exception, PlanishError), done.output
    assert all(word in str(done.exception) for word in told), str(done.exception)


def test_words_about_a_table_of_runs_need_one(tmp_path):
    from typer.testing import CliRunner

    from planish.cli.main import app

    for words in (["--column", "rate=Result"], ["--leave-out", "Result"], ["--decimal", "comma"]):
        done = CliRunner().invoke(app, ["fit", "setup.toml", "pre.csv", "post.csv", *words])
        assert done.exit_code != 0
        assert "must stand with SETUP and a table of runs" in str(done.exception) + done.output


def test_an_odd_column_of_runs_is_named_by_an_option(tmp_path):
    import shutil
    from pathlib import Path

    from typer.testing import CliRunner

    from planish.cli.main import app

    examples = Path(__file__).parents[2] / "examples"
    folder = shutil.copytree(examples / "data" / "runs", tmp_path / "runs")
    table = folder / "runs.csv"
    table.write_text(table.read_text().replace("cut_rate_um_per_h", "Loss [um/h]"))
    words = ["fit", str(examples / "rotary.toml"), str(table), "--free", "removal.oxide.rate", "--next", "0"]
    refused = CliRunner().invoke(app, words)
    assert "'Loss [um/h]': means nothing here" in str(refused.exception)
    kept = "W01,W02,wafer"
    rows = [
        line for line in table.read_text().splitlines() if line.split(",")[0] in kept or line.startswith("#")
    ]
    table.write_text("\n".join(rows) + "\n")
    for more in (["--column", "cut rate=Loss [um/h]"], ["--leave-out", "Loss [um/h]"]):
        done = CliRunner().invoke(app, [*words, *more, "--json"])
        assert done.exit_code == 0, done.output
