"""The endpoint by function and by verb: invented traces, read back, followed and watched."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app

SETUP = Path(__file__).parents[2] / "examples" / "rotary.toml"


@pytest.fixture(scope="module")
def setup():
    return planish.load(SETUP)


def ask(*words):
    return CliRunner().invoke(app, ["endpoint", *map(str, words)])


def test_the_same_seed_gives_the_same_trace(setup):
    one, same, other = (planish.invent_trace(setup, seed=seed) for seed in (4, 4, 5))
    assert np.array_equal(one.signals, same.signals)
    assert not np.array_equal(one.signals[:50], other.signals[:50])


def test_a_trace_written_is_read_back(setup, tmp_path):
    made = planish.invent_trace(setup, light="450..750 nm/5", share="80 %", seed=2)
    read = planish.read_trace(made.write(tmp_path / "white.csv"))
    assert read.times == pytest.approx(made.times)
    assert read.signals == pytest.approx(made.signals, rel=1e-8)
    assert read.wavelengths == pytest.approx(made.wavelengths)
    assert read.truth == pytest.approx(made.truth)
    assert dict(read.told) == dict(made.told)
    assert read.notes == made.notes


def test_following_needs_nothing_beside_what_the_trace_tells(setup, tmp_path):
    path = planish.invent_trace(setup, angle="10 deg", share="70 %", seed=1).write(tmp_path / "light.csv")
    found = planish.follow_trace(path, "500 nm").summary()
    assert abs(found["off_target_nm"]) < 5
    assert found["fringe_nm"] == pytest.approx(219.945, abs=0.01)
    assert found["understood_s"] < found["called_s"]


def test_options_go_before_what_the_file_says(setup):
    trace = planish.invent_trace(setup, seed=1)
    plain = planish.follow_trace(trace, "500 nm")
    thinner = planish.follow_trace(
        trace, "500 nm", film="silicon nitride", start="700..760 nm", rate="150..450 nm/min"
    )
    assert thinner.view.film == "silicon nitride"
    assert thinner.view.fringe < plain.view.fringe


def test_pattern_share_only_weakens_the_fringes():
    whole, part = planish.FilmView.of(), planish.FilmView.of(share="40 %")
    d = np.linspace(0, 900e-9, 100)
    swings = [np.ptp(view.reflected(d)) for view in (whole, part)]
    assert swings[1] == pytest.approx(0.4 * swings[0], rel=1e-12)


def test_friction_changes_where_the_prediction_clears(setup):
    trace = planish.invent_trace(setup, "friction", seed=3, wander=0.0)
    found = planish.watch_trace(trace, clear="99.9 %", rate_spread="3 %")
    gone = float(trace.times[np.searchsorted(-trace.truth, 0.0)])
    assert found.direction == "up"
    assert gone - 15 < found.found < gone + 5
    assert found.over.time > found.found


def test_eddy_currents_are_watched_by_their_slope(setup):
    trace = planish.invent_trace(setup, "eddy", seed=3, signal_to_noise=100, wander=0.0)
    found = planish.watch_trace(trace, by="slope", block="5 s", baseline="60 s")
    gone = float(trace.times[np.searchsorted(-trace.truth, 0.0)])
    assert found.direction == "up"
    assert found.plan.mean < 0
    assert gone - 15 < found.found < gone + 30


def test_kin_blocks_and_an_early_end_are_noted(setup):
    trace = planish.invent_trace(setup, seed=0)
    short = planish.follow_trace(trace, "10 nm")
    assert short.called is None
    assert any("not reached" in note for note in short.notes)
    times = np.arange(0.0, 200.0, 0.5)
    wave = np.sin(times / 3.0)[:, None] + 0.01 * np.random.default_rng(0).normal(size=(times.size, 1))
    wavy = planish.Trace("wavy", times, wave, np.empty(0), {}, np.empty(0))
    assert any("hang together" in note for note in planish.watch_trace(wavy).notes)


def test_every_answer_says_that_the_machine_comes_first(setup):
    for found in (
        planish.follow_trace(planish.invent_trace(setup), "500 nm"),
        planish.watch_trace(planish.invent_trace(setup, "friction")),
    ):
        assert any("interlocks" in note for note in found.notes)


def test_the_verbs_print_and_write_what_the_functions_say(tmp_path):
    light, friction = tmp_path / "light.csv", tmp_path / "friction.csv"
    done = ask("invent", SETUP, "-o", light, "--seed", 6, "--json", "--out", tmp_path / "made")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["samples"] > 100
    assert (tmp_path / "made" / "trace.png").exists()
    done = ask("follow", light, "--target", "500 nm", "--json", "--out", tmp_path / "followed")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout) == planish.follow_trace(light, "500 nm").document()
    assert json.loads(done.stdout) == planish.open_result(tmp_path / "followed" / "followed.nc").document()
    assert ask("invent", SETUP, "-o", friction, "--kind", "friction").exit_code == 0
    done = ask("watch", friction, "--out", tmp_path / "watched")
    assert done.exit_code == 0, done.stderr
    assert "promised delay" in done.stdout or "delay promised" in done.stdout
    assert (tmp_path / "watched" / "watched.png").exists()
