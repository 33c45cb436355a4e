"""Traces and questions about them that cannot be: each is refused in one line that says where, what and how else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, PlanishError

SETUP = Path(__file__).parents[2] / "examples" / "rotary.toml"
GOOD = "time [s],signal\n" + "".join(f"{t},{np.sin(t / 9):.6f}\n" for t in range(120))
START, RATE = ("930 nm", "1070 nm"), ("150 nm/min", "250 nm/min")


def refused(tmp_path, words, text=GOOD):
    path = tmp_path / "trace.csv"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(app, [str(path) if word == "TRACE" else word for word in ["endpoint", *words]])
    assert isinstance(done.exception, PlanishError | SystemExit), done.exception
    return str(done.exception)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("signal\n1\n2\n3\n", "time [s]"),
        ("time,signal\n0,1\n1,2\n2,3\n", "named with its unit"),
        ("time [s]\n0\n1\n2\n", "no signal"),
        ("time [s],a,b\n0,1,1\n1,2,2\n2,3,3\n", "--column"),
        ("time [s],signal\n0,1\n1,2\n", "three or more"),
        ("time [s],signal\n0,1\n2,2\n1,3\n", "line 4"),
        ("time [s],signal\n0,1\n1,1\n1,3\n", "line 4"),
        ("time [s],signal\n0,1\n1,x\n2,3\n", "line 3"),
        ("time [s],signal\n0,1\n1,nan\n2,3\n", "finite"),
        ("time [s],signal\n0,1\n1,1e300\n2,3\n", "at most 1e15"),
        ("", "empty"),
    ],
)
def test_a_trace_that_cannot_be(tmp_path, text, word):
    path = tmp_path / "trace.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as caught:
        planish.read_trace(path)
    assert word in str(caught.value)


@pytest.mark.parametrize(
    ("words", "word"),
    [
        (["--target", "500 nm"], "light: not given"),
        (["--target", "500 nm", "--light", "632.8 nm"], "start: not given"),
        (["--target", "500 nm", "--light", "632.8 nm", "--start", "930..1070 nm"], "rate: not given"),
        (["--target", "500"], "unit is missing"),
        (["--target", "2000 nm"], "below the start"),
        (["--target", "-5 nm"], "0 nm or more"),
        (["--target", "500 nm", "--start", "700..1300 nm"], "within one fringe"),
        (["--target", "500 nm", "--start", "1070..930 nm"], "least and most"),
        (["--target", "500 nm", "--start", "1000 nm"], "a range"),
        (["--target", "500 nm", "--rate", "0..100 nm/min"], "above 0"),
        (["--target", "500 nm", "--film", "cheese"], "silica"),
        (["--target", "500 nm", "--film", "missing.csv"], "no such file"),
        (["--target", "500 nm", "--ambient", "copper"], "does not absorb"),
        (["--target", "500 nm", "--light", "450..750 nm"], "number of colours"),
        (["--target", "500 nm", "--light", "450..750 nm/9"], "one a column"),
        (["--target", "500 nm", "--light", "9000 nm"], "nm"),
        (["--target", "500 nm", "--angle", "90 deg"], "below 90 degrees"),
        (["--target", "500 nm", "--share", "0 %"], "above 0"),
        (["--target", "500 nm", "--polarization", "x"], "s, p or mean"),
        (["--target", "500 nm", "--below", "nitride"], "a material and its thickness"),
        (["--target", "500 nm", "--lead", "-1 s"], "from 0 to 60 s"),
        (["--target", "500 nm", "--wander", "0 %"], "above 0"),
        (["--target", "500 nm", "--clear", "99 %"], "left out where the target"),
        (["--target", "500 nm", "--column", "torque"], "torque"),
    ],
)
def test_a_question_about_light_that_cannot_be(tmp_path, words, word):
    usual = {"--light": "632.8 nm", "--start": "930..1070 nm", "--rate": "150..250 nm/min"}
    asks_for_less = "not given" in word
    more = [] if asks_for_less else [x for k, v in usual.items() if k not in words for x in (k, v)]
    assert word in refused(tmp_path, ["follow", "TRACE", *words, *more])


@pytest.mark.parametrize(
    ("words", "word"),
    [
        (["--by", "colour"], "level or slope"),
        (["--direction", "left"], "up, down or either"),
        (["--baseline", "5 s"], "from 10 blocks"),
        (["--baseline", "500 s"], "longer than its baseline"),
        (["--block", "0 s"], "above 0"),
        (["--false-alarms", "0 %"], "from 0.0001"),
        (["--longest", "0.1 s"], "from one block"),
        (["--change", "-1"], "above 0"),
        (["--change", "1e-9"], "longer blocks have less noise"),
        (["--by", "slope"], "three samples or more"),
        (["--clear", "30 %", "--baseline", "11 s"], "from 50 %"),
    ],
)
def test_a_watch_that_cannot_be(tmp_path, words, word):
    jump = "time [s],signal\n" + "".join(
        f"{t},{0.01 * ((t * 7919) % 13) + 5 * (t > 60)}\n" for t in range(120)
    )
    assert word in refused(tmp_path, ["watch", "TRACE", *words], jump)


def test_a_signal_that_never_varies_is_no_baseline(tmp_path):
    flat = "time [s],signal\n" + "".join(f"{t},1\n" for t in range(90))
    assert "never varies" in refused(tmp_path, ["watch", "TRACE"], flat)


def test_several_colours_are_not_watched(tmp_path):
    text = "time [s],450_nm,500_nm\n" + "".join(f"{t},{t % 3},{t % 4}\n" for t in range(90))
    assert "--column" in refused(tmp_path, ["watch", "TRACE"], text)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"kind": "sound"}, "light, friction or eddy"),
        ({"seed": -1}, "whole number"),
        ({"signal_to_noise": 0.0}, "signal to noise"),
        ({"interval": "0 s"}, "interval"),
        ({"until": "2000 nm"}, "below the start"),
        ({"spot": "200..210 mm"}, "radii"),
        ({"wander": 2.0}, "wander"),
        ({"kind": "friction", "step": 0.0}, "step"),
        ({"kind": "friction", "film": "silica"}, "light alone"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_trace_that_cannot_be_invented(options, word):
    with pytest.raises((PlanishError, TypeError), match=word):
        planish.invent_trace(planish.load(SETUP), **options)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"time": 0.0, "sample": [0.4]}, "above 0"),
        ({"time": float("nan"), "sample": [0.4]}, "time of a sample"),
        ({"time": 2.0, "sample": [float("inf")]}, "finite"),
        ({"time": 2.0, "sample": [0.4, 0.5]}, "one a colour"),
    ],
)
def test_a_sample_that_cannot_be(given, word):
    following = planish.FilmFollower(planish.FilmView.of(), target="500 nm", start=START, rate=RATE)
    following.feed(0.0, 0.4)
    with pytest.raises(DataError, match=word):
        following.feed(**given)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"time": 0.0, "share": 0.99}, "above 0 s"),
        ({"time": 60.0, "share": 1.0}, "below 100 %"),
        ({"time": 60.0, "share": 0.999, "rate_spread": "40 %"}, "slow places"),
        ({"time": 60.0, "share": 0.999, "film_spread": "60 %"}, "spread of the film"),
    ],
)
def test_an_over_polish_that_cannot_be(options, word):
    with pytest.raises(DataError, match=word):
        planish.over_polish(**options)


def test_a_trace_is_not_written_over_the_setup_nor_into_a_file(tmp_path):
    setup = tmp_path / "setup.toml"
    setup.write_text(SETUP.read_text(encoding="utf-8"), encoding="utf-8")
    before = setup.read_bytes()
    done = CliRunner().invoke(app, ["endpoint", "invent", str(setup), "-o", str(setup)])
    assert "must be another file" in str(done.exception)
    done = CliRunner().invoke(app, ["endpoint", "invent", str(setup), "-o", str(setup / "trace.csv")])
    assert "cannot be written" in str(done.exception)
    assert setup.read_bytes() == before
