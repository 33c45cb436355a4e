"""The command that holds all that was measured against a setup."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, PlanishError
from planish.jobs.calibrating import told_runs

ROOT = Path(__file__).parents[2]
SETUP = ROOT / "examples" / "rotary.toml"
DATA = ROOT / "examples" / "data"
RUNS = DATA / "runs" / "runs.csv"


def run(*words: object):
    return CliRunner().invoke(app, ["measure", *map(str, words)])


def test_a_table_of_runs_against_its_setup():
    result = run(RUNS, "--setup", SETUP, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    sets = found["sets"]
    assert [one["kind"] for one in sets] == ["sites"] * 6 + ["lot", "cut"]
    assert {one["unit"] for one in sets} == {"nm", "nm/min", "um/h"}
    # The values behind the invented runs (examples/make_data.py) lie below the setup's own in each set.
    assert all(one["measured_mean"] < one["predicted_mean"] for one in sets)
    assert sum(line.startswith("measured: ") for line in found["sources"]) == 13
    assert found["worst_set"].startswith("wafer W05")
    assert found["notes"][0].startswith("runs.csv: 14 rows; wafer is 'wafer'")


def test_what_stands_behind_the_invented_runs_foretells_them_within_their_noise():
    truth = planish.load(SETUP).replace(
        {"removal.oxide.rate": "232 nm/min", "slurry.entry_share": 0.2, "conditioner.halving_time": "120 h"}
    )
    for one in planish.observe(truth, RUNS):
        ratio = one.values / one.predict(truth)
        assert abs(ratio.mean() - 1) < 3 * (0.006 if one.kind == "sites" else 0.008)  # stated in make_data.py
        if one.kind == "sites":
            assert np.std(ratio * one.predict(truth)) > 0


def test_the_command_prints_a_row_a_set_and_what_was_understood(tmp_path):
    result = run(DATA / "wafer-before.csv", DATA / "wafer-after.csv", "--setup", SETUP, "--out", tmp_path)
    assert (tmp_path / "held.png").stat().st_size > 5000
    again = planish.open_result(tmp_path / "held.nc")
    assert again.kind == "measured sets"
    assert again.plot() is not None
    assert result.exit_code == 0, result.output
    assert "sites" in result.stdout
    assert "misfit percent" in result.stdout


def test_odd_columns_are_told_or_left_out(tmp_path):
    table = tmp_path / "runs.csv"
    table.write_text("Result [nm/min],slot\n300,1\n", encoding="utf-8")
    odd = run(table, "--setup", SETUP)
    assert isinstance(odd.exception, DataError)
    told = run(table, "--setup", SETUP, "--column", "rate=Result [nm/min]", "--leave-out", "slot", "--json")
    assert told.exit_code == 0, told.output
    assert json.loads(told.stdout)["sets"][0]["measured_mean"] == pytest.approx(300)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((RUNS, "--setup", SETUP, "--nested", "lot"), "measure --nested: must stand without --setup"),
        ((RUNS, "--leave-out", "slot"), "--leave-out: must stand with --setup"),
        ((RUNS, "--setup", SETUP, "--column", "rate"), "must be of the form role=name"),
    ],
)
def test_options_that_do_not_go_together(words, said):
    result = run(*words)
    assert isinstance(result.exception, PlanishError)
    assert said in str(result.exception)


def test_a_role_is_said_once():
    with pytest.raises(DataError, match="said once for rate"):
        told_runs(["rate=a", "rate=b"])
    assert told_runs(["rate=a", "rate=a"]).columns == {"rate": "a"}
