"""Rate laws from the command line: consumables beside them, the check of wafers left out, refusals."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import PlanishError
from planish.fit.forest import learn_rates
from planish.jobs.rates import fit_rates, read_measured_wafers
from planish.measure.traces.invented import TRUTH, invented_traces
from planish.results.plain import clean


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("traces")
    samples, rates = invented_traces(seed=1)
    samples.write_parquet(folder / "traces.parquet")
    rates.write_parquet(folder / "rates.parquet")
    return folder / "traces.parquet", folder / "rates.parquet"


def run(files, *words):
    traces, rates = files
    return CliRunner().invoke(
        app, ["fit", str(traces), "--rates", str(rates), *map(str, words)], catch_exceptions=False
    )


@pytest.fixture(scope="module")
def told(files):
    done = run(files, "--json")
    assert done.exit_code == 0
    return json.loads(done.stdout)


def test_the_counter_that_drives_the_rate_is_named(told):
    # what the invented traces were made with: an older disk costs rate, its life here is 500 wafers
    true = 100 * TRUTH["per_use"] * 500
    for counters in told["consumables"]["regimes"].values():
        best = next(iter(counters))
        assert best == "use_dresser"
        assert counters[best]["skill"] > 0.1
        value, error = counters[best]["percent_per_life_drift_followed"]
        assert abs(value - true) < 3 * error + 2
    assert any("use_membrane" in note for note in told["consumables"]["notes"])
    assert "check" not in told


def test_the_terminal_shows_the_counters(files):
    shown = run(files).stdout
    assert "What the age of consumables explains of the rate" in shown
    assert "dresser" in shown
    assert "note: stage first, chambers 1-2: use_membrane only ever rose" in shown


def test_traces_without_counters_say_so(files, tmp_path):
    import polars as pl

    traces, rates = files
    table = pl.read_parquet(traces)
    table.drop([c for c in table.columns if c.startswith("use_")]).write_parquet(tmp_path / "bare.parquet")
    bare = (tmp_path / "bare.parquet", rates)
    assert json.loads(run(bare, "--json").stdout)["consumables"] is None
    assert "no usage counters among the traces" in run(bare).stdout


def test_check_judges_guesses_in_between_and_ahead_beside_plain_trees(files, told):
    seen = []
    wafers = read_measured_wafers(*files)
    found = json.loads(json.dumps(clean(fit_rates(wafers, folds=1, tell=seen.append).document())))
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1.0)
    assert {key: item for key, item in found.items() if key != "check"} == told
    check = found["check"]
    # the forest is judged on the very wafers that the law is judged on
    learned = learn_rates(wafers)
    left = ~learned.training
    error = np.sqrt(np.mean((learned.predicted["forest"] - learned.measured)[left] ** 2))
    assert check["by_time"]["rmse_by_regime"]["all"]["forest"] == pytest.approx(error)
    assert check["by_time"]["wafers_judged"] == sum(r["wafers_left_out"] for r in found["regimes"])
    for part, words in (("interspersed", "no forecast"), ("ahead", "only wafers that started before")):
        assert words in check[part]["mode"]
        assert set(check[part]["rmse"]) == {"guess", "plain_trees", "last_three"}
        assert check[part]["rmse"]["guess"] < check[part]["rmse"]["plain_trees"]
        assert 85 < check[part]["band_coverage_percent"] <= 100


def test_the_terminal_shows_the_check(tmp_path):
    samples, rates = invented_traces(seed=1, wafers=160)
    samples.write_parquet(tmp_path / "traces.parquet")
    rates.write_parquet(tmp_path / "rates.parquet")
    shown = run((tmp_path / "traces.parquet", tmp_path / "rates.parquet"), "--check", "--folds", 1).stdout
    for words in (
        "forest",
        "RMSE of guesses in between",
        "RMSE of guesses ahead",
        "plain trees",
        "the band held",
    ):
        assert words in shown


@pytest.mark.parametrize("words", [("a.csv", "b.csv", "c.csv", "--check"), ("t.parquet", "--check")])
def test_check_without_rates_is_refused(words):
    with pytest.raises(PlanishError, match="fit --check"):
        CliRunner().invoke(app, ["fit", *words], catch_exceptions=False)


def test_check_with_predict_is_refused(files):
    with pytest.raises(PlanishError, match="fit --check"):
        run(files, "--check", "--predict", files[0])
