"""The words of ``planish hold`` that move settings, as a person types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app

TIMED = str(Path(__file__).parents[2] / "examples" / "copper-barrier.toml")
TRY = ["hold", "try", TIMED, "--wafers", "30", "--seeds", "1", "--pad-every", "12", "--disk-every", "20"]


def run(*words):
    return CliRunner().invoke(app, list(words))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = str(tmp_path_factory.mktemp("cli") / "step")
    done = run("hold", "begin", TIMED, "--in", where, "--by", "ana", "--pad-life", "8", "--disk-life", "8")
    assert done.exit_code == 0, done.stderr
    assert "kalman on step barrier: advice since" in done.stdout
    return where


def test_a_trial_is_printed_written_and_the_same_by_function(tmp_path):
    done = run(*TRY, "--json", "--out", str(tmp_path))
    assert done.exit_code == 0, done.stderr
    saved = planish.open_result(tmp_path / "control.nc")
    document = json.loads(done.stdout)
    assert document == saved.document()
    assert {row["control"] for row in document["controls"]} == {"fixed time", "ewma", "double ewma", "kalman"}
    assert any("qualified staff" in note for note in document["notes"])
    assert (tmp_path / "control.png").stat().st_size > 20_000
    rows = (tmp_path / "course.csv").read_text().splitlines()
    assert len(rows) == 31
    assert "kalman_removed_nm" in rows[0]
    page = tmp_path / "trial.html"
    done = run(*TRY, "-o", str(page), "--spread", "pad=3 %", "--time-change", "5 %")
    assert "fixed time" in done.stdout
    assert "Before any setting is used" in page.read_text(encoding="utf-8")


def test_from_advice_to_approval_to_off(folder):
    done = run("hold", "advise", "--in", folder, "--by", "ana")
    assert "advice 1 for head 1, platen 1: waits" in done.stdout
    assert "qualified staff" in done.stdout
    assert run("hold", "approve", "1", "--by", "ana", "--why", "seen", "--in", folder).exit_code == 0
    assert "ran with 55 s" in run("hold", "ran", "w1", "--in", folder).stdout
    told = json.loads(run("hold", "learn", "w1", "--removed", "39 nm", "--in", folder, "--json").stdout)
    assert told["learned"]
    assert run("hold", "ran", "w2", "--in", folder).exit_code == 0
    assert "missing" in run("hold", "learn", "w2", "--missing", "--in", folder).stdout
    assert "new pad on platen 1" in run("hold", "changed", "pad", "--by", "bo", "--in", folder).stdout
    assert run("hold", "off", "--in", folder).stdout.startswith("switched off")
    done = run("hold", "advise", "--in", folder, "--json")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["off"]
    assert "no move is made" in run("hold", "advise", "--in", folder).stdout
    done = run("hold", "approve", "1", "--by", "ana", "--in", folder)
    assert "no move is made" in str(done.exception)
    done = run("hold", "on", "--by", "ana", "--why", "checked", "--automatic", "--in", folder)
    assert "switched on, automatic" in done.stdout
    assert json.loads(run("hold", "advise", "--in", folder, "--json").stdout)["approved"]
    state = run("hold", "state", "--in", folder)
    assert "automatic since" in state.stdout
    assert json.loads(run("hold", "state", "--in", folder, "--json").stdout)["places"][0]["waiting"] == 1


def test_on_wants_a_name_and_a_reason(folder):
    assert run("hold", "on", "--in", folder).exit_code == 2
    assert run("hold", "on", "--by", "ana", "--in", folder).exit_code == 2
