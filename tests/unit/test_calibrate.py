"""Numbers of a setup fitted to measurements of their own making: recovered, with honest intervals, written and read."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.explain.figures.style import as_png
from planish.fit.calibrate.model import Model
from planish.fit.calibrate.observed import Heading
from planish.fit.calibrate.parameters import parameters
from planish.fit.calibrate.wafers import observed_rates

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
import bench_calibrate as bench

EXAMPLES = Path(__file__).parents[2] / "examples"
DATA = EXAMPLES / "data"
DIGEST = "0123456789abcdef" * 4
TIMED = {
    "recipe.step.main.stop_on_removed": None,
    "recipe.step.main.max_time": None,
    "recipe.step.main.time": "60 s",
    "wafer.film.1.thickness": "3000 nm",
}


@dataclass(frozen=True)
class Rate:
    """A rate by a formula of two numbers of the setup: quick, and as nonlinear as a law is."""

    pressures: tuple[float, ...]
    changes: dict[str, object] = field(default_factory=dict)

    def __call__(self, setup: Any) -> np.ndarray:
        rate = setup.si("removal.oxide.rate")
        warm = setup.si("removal.oxide.activation_energy") / 11000.0
        p = np.array(self.pressures)
        return rate * p**warm


@dataclass(frozen=True)
class Wafer:
    """The removal at some radii by the full model."""

    changes: tuple[tuple[str, object], ...]
    radius: tuple[float, ...]

    def __call__(self, setup: Any) -> np.ndarray:
        wafer = planish.polish(setup.replace(dict(self.changes)))
        return np.interp(self.radius, wafer.radius, wafer.removed)


def rates(setup, truth, pressures=(0.5, 1.0, 2.0, 3.0), share=0.01, seed=0, times=3):
    predict = Rate(tuple(np.repeat(pressures, times)))
    true = predict(setup.replace(truth))
    rng = np.random.default_rng(seed)
    values = true * (1.0 + share * rng.standard_normal(true.size))
    nothing = np.zeros(true.size)
    return planish.Observed(
        "rates (rates.csv)", "rate", values, nothing, "m/s", np.arange(true.size), predict,
        (("rates.csv", DIGEST),), ("rates.csv: 12 rates",), {},
    )  # fmt: skip


FREE = ("removal.oxide.rate", "removal.oxide.activation_energy")
TRUTH = {"removal.oxide.rate": "271 nm/min", "removal.oxide.activation_energy": "9.4 kJ/mol"}


@pytest.fixture(scope="module")
def setup():
    return planish.load(EXAMPLES / "rotary.toml").replace(TIMED)


@pytest.fixture(scope="module")
def found(setup):
    return planish.calibrate(setup, rates(setup, TRUTH), FREE, priors=False, ahead=0, date="2026-11-27")


def test_known_numbers_come_out_again(found):
    rows = found.document()["parameters"]
    for path, true in (("removal.oxide.rate", 271.0), ("removal.oxide.activation_energy", 9.4)):
        assert rows[path]["low"] < true < rows[path]["high"]
        assert rows[path]["value"] == pytest.approx(true, rel=0.02)
    assert rows["removal.oxide.rate"]["unit"] == "nm/min"
    assert found.document()["cannot_tell"] == []


def test_without_errors_the_numbers_are_exact(setup):
    exact = planish.calibrate(setup, rates(setup, TRUTH, share=0.0), FREE, priors=False, ahead=0)
    rows = exact.document()["parameters"]
    assert rows["removal.oxide.rate"]["value"] == pytest.approx(271.0, rel=1e-6)
    assert rows["removal.oxide.activation_energy"]["value"] == pytest.approx(9.4, rel=1e-6)


def test_the_full_model_gives_its_rate_back(setup):
    """Two wafers at two pressures, with the errors of a gauge and of rings, fitted by the model that polished them."""
    rng = np.random.default_rng(4)
    rings = np.repeat(np.linspace(0.0, 0.14, 6), 6)
    group = np.repeat(np.arange(6), 6)
    sets = []
    for number, pressure in enumerate((2, 4)):
        changes = (("recipe.step.main.zone_pressures", f"{pressure} psi"),)
        predict = Wafer(changes, tuple(rings))
        true = predict(setup.replace({"removal.oxide.rate": "231 nm/min"}))
        off = 0.004 * rng.standard_normal(rings.size) + 0.004 * rng.standard_normal(6)[group]
        values = true + true.mean() * off
        sets.append(
            planish.Observed(
                f"wafer {number}",
                "sites",
                values,
                np.zeros(rings.size),
                "m",
                group,
                predict,
                (),
                (),
                dict(changes),
            )
        )
    found = planish.calibrate(setup, sets, ["removal.oxide.rate"], priors=False, ahead=1)
    row = found.document()["parameters"]["removal.oxide.rate"]
    assert row["low"] < 231.0 < row["high"]
    assert row["high"] - row["low"] < 0.02 * 231.0
    (scatter,) = found.document()["scatter"]
    assert scatter["value_percent"] == pytest.approx(0.4, abs=0.1)
    assert 0.1 < scatter["group_percent"] < 0.8  # of twelve rings
    (run,) = found.document()["next_runs"]
    assert 0 < run["doubt_left_percent"] < 100
    assert any("tool maker's limits" in note for note in found.notes)
    told = planish.loads(found.to_toml(), folder=EXAMPLES)
    assert planish.polish_lot(told, 2, seed=1).summary()


def test_the_numbers_are_the_same_on_any_number_of_workers():
    setup = planish.loads(planish.new_setup("rotary")).replace(TIMED)
    heads = [
        Heading(f"rates at {psi} psi", {"recipe.step.main.zone_pressures": f"{psi} psi"}) for psi in (2, 4)
    ]
    sets = [
        observed_rates(setup, np.array([4.1e-9, 4.2e-9]) * scale, head)
        for head, scale in zip(heads, (0.9, 1.9), strict=True)
    ]
    one, two = (
        planish.calibrate(setup, sets, [FREE[0]], priors=False, ahead=1, date="2026-11-27", workers=workers)
        for workers in (1, 2)
    )
    assert one.document() == two.document()


def test_intervals_hold_the_true_numbers_as_often_as_they_say():
    """A small share of benchmarks/bench_calibrate.py, 40 seeds: 160 intervals a set, four at a time from one fit."""
    free = parameters(planish.loads(bench.LAW), bench.FREE)
    assert [one.path for one in free] == list(bench.FREE)
    for name in ("rates, error known", "rates, error unknown"):
        holds = np.mean([bench.one((name, seed))[0] for seed in range(40)])
        assert 0.80 <= holds <= 0.98, name


def test_what_is_known_before_pulls_and_can_be_switched_off(setup):
    far = rates(setup, {"removal.oxide.rate": "300 nm/min"}, pressures=(1.0,), share=0.1, times=4)
    alone = planish.calibrate(setup, far, ["removal.oxide.rate"], priors=False, ahead=0)
    held = planish.calibrate(setup, far, ["removal.oxide.rate"], ahead=0)
    value = [each.document()["parameters"]["removal.oxide.rate"]["value"] for each in (held, alone)]
    assert 250.0 < value[0] < value[1]
    assert any("did not count" in note for note in alone.notes)


def test_the_rate_of_the_film_on_top_is_free_where_nothing_is_said(setup):
    found = planish.calibrate(setup, rates(setup, TRUTH, pressures=(1.0,)), ahead=0)
    assert list(found.document()["parameters"]) == ["removal.oxide.rate"]


def test_what_one_pressure_cannot_tell_is_named(setup):
    # At pressure 2 alone, rate and exponent only multiply each other.
    one = rates(setup, TRUTH, pressures=(2.0,))
    found = planish.calibrate(setup, one, FREE, ahead=0)
    (row,) = found.document()["cannot_tell"]
    assert "removal.oxide.activation_energy" in row["parameters"]
    assert found.fitted().model.fitted is not None
    assert "do not tell it alone" in found.to_toml()


def test_a_coefficient_of_a_law_and_bounds(setup):
    law = setup.replace(
        {"removal.oxide": {"law": "power", "rate": "250 nm/min", "coefficients": {"alpha": 1.0, "beta": 1.0}}}
    )
    free = parameters(law, ["removal.oxide.coefficients.alpha", "removal.oxide.rate"],
                      {"removal.oxide.rate": "200..300 nm/min"})  # fmt: skip
    alpha, rate = free
    assert not alpha.log
    assert rate.log
    assert rate.shown(rate.low) == pytest.approx(200.0)
    assert rate.shown(rate.high) == pytest.approx(300.0)


def test_parts_say_what_is_known_before(setup):
    rate, shore, cut, size = parameters(
        setup, ["removal.oxide.rate", "pad.top.shore_d", "conditioner.cut_level", "slurry.size_power"]
    )
    assert rate.known == pytest.approx(np.sqrt(np.log1p(0.05**2)))  # 5 %, by its logarithm
    assert shore.known == pytest.approx(3.0)
    assert size.known == pytest.approx(0.6)  # of a value that is 0
    assert cut.known is not None
    assert "demo" in shore.source or shore.source


def test_the_fitted_file_keeps_comments_and_says_where_values_come_from(setup, found):
    text = found.to_toml()
    before = {line for line in setup.to_toml().splitlines() if line.lstrip().startswith("#")}
    assert before <= set(text.splitlines())
    (line,) = [line for line in text.splitlines() if line.startswith("rate = ")]
    assert "fitted 2026-11-27: 90 % interval" in line
    assert "rates.csv" in line
    again = planish.loads(text)
    assert again == found.fitted()
    fitted = again.model.fitted
    assert fitted.planish == planish.__version__
    assert fitted.file[0].sha256 == DIGEST
    assert [row.key for row in fitted.value] == list(FREE)
    assert not [one for one in planish.check(again) if one.level in ("error", "warning")]


def test_a_comment_behind_a_value_stays(found):
    setup = found.setup.replace({"removal.oxide.rate": "250 nm/min"})
    text = setup.to_toml().replace('rate = "250 nm/min"', 'rate = "250 nm/min"  # of monitor wafers')
    kept = planish.calibrate(planish.loads(text), rates(setup, TRUTH), FREE, ahead=0)
    (line,) = [line for line in kept.to_toml().splitlines() if line.startswith("rate = ")]
    assert line.endswith("; of monitor wafers")
    twice = planish.calibrate(kept.fitted(), rates(setup, TRUTH), ["removal.oxide.rate"], ahead=0)
    assert len(twice.fitted().model.fitted.value) == 2  # the other number stands as it was fitted


def test_fitted_bands_take_the_place_of_the_parts(found):
    band = planish.polish_band(planish.loads(found.to_toml()))["mean_removed_nm"]
    before = planish.polish_band(found.setup)["mean_removed_nm"]
    error = found.fitted().origins["removal.oxide.rate"].spread
    share = float(error.removesuffix(" %")) / 100
    now = abs(band.shares["rate of oxide"]) / band.value
    assert now == pytest.approx(share * 0.9, rel=0.2)  # a little less than the rate itself: slurry is used up
    assert now < 0.2 * abs(before.shares["rate of oxide"]) / before.value
    assert "removal.oxide.activation_energy" in band.shares


def test_a_fitted_stiffness_counts_alone(setup):
    value = {"key": "pad.top.shore_d", "value": 56.0, "low": 55.0, "high": 57.0, "spread": "0.1"}
    table = {"planish": planish.__version__, "date": "2026-11-27", "method": "by hand", "value": [value]}
    told = setup.replace({"pad.top.shore_d": 56.0, "fitted": table})
    now, before = (planish.polish_band(one)["mean_removed_nm"].shares for one in (told, setup))
    assert abs(now["modulus of the top pad"]) < 0.1 * abs(before["modulus of the top pad"])


def test_a_model_of_another_version_asks_for_a_new_fit(found):
    text = found.to_toml().replace(f'planish = "{planish.__version__}"', 'planish = "0.1.9"')
    (told,) = [one for one in planish.check(planish.loads(text)) if one.place == "fitted.planish"]
    assert told.level == "warning"
    assert "fit again" in told.message


def test_a_value_changed_after_the_fit_loses_its_band(found):
    changed = found.fitted().replace({"removal.oxide.rate": "300 nm/min"})
    (told,) = [one for one in planish.check(changed) if one.place == "removal.oxide.rate"]
    assert "no longer counts" in told.message
    assert changed.origins["removal.oxide.rate"].spread == ""


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"key": "removal.oxid.rat e"}, "key"),
        ({"spread": "much"}, "spread"),
        ({"value": "soft"}, "value"),
    ],
)
def test_a_damaged_table_is_refused(found, row, told):
    table = found.fitted().document["fitted"]
    table["value"][0] |= row
    with pytest.raises(planish.PlanishError, match=told):
        found.setup.replace({"fitted": table})


def test_draws_agree_with_the_intervals(setup):
    found = planish.calibrate(setup, rates(setup, TRUTH), FREE, priors=False, ahead=0, samples=600, seed=3)
    rows = found.document()
    for draw in rows["sampled"]:
        fitted = rows["parameters"][draw["parameter"]]
        width = fitted["high"] - fitted["low"]
        assert draw["low"] == pytest.approx(fitted["low"], abs=0.25 * width)
        assert draw["high"] == pytest.approx(fitted["high"], abs=0.25 * width)


def test_its_picture_is_the_same_from_its_file(found, tmp_path):
    saved = planish.open_result(found.save(tmp_path / "fit.nc"))
    assert as_png(saved.plot()) == as_png(found.plot())


def test_derivatives_are_those_of_the_formula(setup):
    observed = rates(setup, TRUTH)
    model = Model(setup, (observed,), parameters(setup, FREE))
    point = model.start
    slope = model.jacobian(point)
    p = np.array(observed.predict.pressures)
    rate = observed.predict(setup)
    assert slope[:, 0] == pytest.approx(rate, rel=1e-4)  # by its logarithm
    assert slope[:, 1] == pytest.approx(rate * np.log(p) / 11000.0, rel=1e-4)


class TestVerb:
    """The command."""

    FILES = (str(EXAMPLES / "rotary.toml"), str(DATA / "wafer-before.csv"), str(DATA / "wafer-after.csv"))

    def test_it_prints_and_writes_a_fitted_setup(self, tmp_path):
        out = tmp_path / "fitted.toml"
        words = ["fit", *self.FILES, "--free", "removal.oxide.rate", "--next", "0", "--date", "2026-11-27"]
        done = CliRunner().invoke(app, [*words, "--out", str(out), "--json"])
        assert done.exit_code == 0, done.stderr
        rows = json.loads(done.stdout)
        assert set(rows["parameters"]) == {"removal.oxide.rate"}
        assert rows["cannot_tell"] == []
        again = planish.load(out)
        assert again.get("removal.oxide.rate") == rows["changes"]["removal.oxide.rate"]
        assert [row.file for row in again.model.fitted.file] == ["wafer-before.csv", "wafer-after.csv"]
        plain = CliRunner().invoke(app, [*words, "--out", str(tmp_path / "all")])
        assert "these data tell every free number" in plain.stdout
        assert {"fit.png", "fit.svg", "fitted.toml", "fit.nc"} == {
            f.name for f in (tmp_path / "all").iterdir()
        }

    def test_without_free_it_is_the_fit_of_one_wafer(self):
        done = CliRunner().invoke(app, ["fit", *self.FILES, "--json"])
        assert done.exit_code == 0
        assert "k_p_per_Pa" in json.loads(done.stdout)
