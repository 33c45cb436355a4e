"""Charts, run lengths, capability and gauge studies that cannot be: refused in one line with place, value and remedy."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.hold.run_length import forward

GOOD = {"x": [1.0, 2.0, 1.5, 2.5, 1.0, 2.0], "lot": ["a", "a", "b", "b", "c", "c"]}


def chart(data=None, value="x", kind="individuals", **options):
    return planish.hold_chart(GOOD if data is None else data, value, kind, **options)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("x\n", "has column names but no rows"),
        ("1,2\n3,4\n", "numbers stand where column names belong"),
        ("x\n1\n", "1 row with a value: must be two or more"),
        ("x,y\n,1\n,2\n,3\n", "column 'x': no row holds a number"),
        ("x,y\n1,1\nthin,2\n3,3\n", "line 3, column 'x' = 'thin': must be a number"),
        ("x,y\n1,1\ninf,2\n3,3\n", "line 3, column 'x' = 'inf': must be a finite number"),
        ("x,y\n1,1\n1e400,2\n3,3\n", "must be a finite number"),
        ("x,y\n7,1\n7,2\n7,3\n", "all 3 values are the same"),
        ("x,y\n1e200,1\n2e200,2\n3e200,3\n", "must be below 1e100"),
        ("x,y\nnan,1\nNaN,2\n-,3\n", "no row holds a number"),
        ("x,y\n1,1\n2,2,9\n3,3\n", "3 cells where 2 columns are named"),
        ("a,y\n1,1\n2,2\n", "the measured column = 'x': must be the name of one of its columns: a, y"),
        ("x,X\n1,1\n2,2\n", "must be the name of one of its columns"),
        ("x;y\n1,234;1\n2,345;2\n", "may be a decimal comma or a group of three digits"),
        ("x;y\n1,5;1\n2.5;2\n", "must have one decimal sign"),
    ],
)
def test_files(tmp_path, text, said):
    file = tmp_path / "t.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as refused:
        planish.hold_chart(file, "x")
    assert said in str(refused.value)
    assert str(file) in str(refused.value)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"kind": "shewhart"}, "chart = 'shewhart': must be one of individuals, xbar, ewma, cusum, t2"),
        ({"kind": "ewma", "weight": 0.0}, "weight = 0.0: must be above 0 and at most 1"),
        ({"kind": "ewma", "weight": 1.01}, "weight = 1.01: must be above 0 and at most 1"),
        ({"kind": "ewma", "weight": float("nan")}, "weight = nan"),
        ({"weight": 0.2}, "it is for ewma"),
        ({"kind": "cusum", "reference": -1.0}, "reference [sigma] = -1.0: must be 0 to 10"),
        ({"kind": "cusum", "head_start": 1.0}, "head start = 1.0: must be a share of the limit"),
        ({"limit": 0.0}, "limit [sigma] = 0.0"),
        ({"limit": 3.0, "arl": 500}, "arl = 500: must be left out where the limit is given"),
        ({"arl": 0.5}, "arl = 0.5: must be above 1"),
        ({"kind": "xbar"}, "group = None: must be the column of groups"),
        ({"group": "lot"}, "left out but for the chart 'xbar'"),
        ({"sigma": -1.0}, "sigma = -1.0: must be a number above 0"),
        ({"centre": float("inf")}, "centre = inf"),
        ({"baseline": 1}, "baseline"),
        ({"phase": "pad"}, "the column of phases = 'pad'"),
        ({"new_phase": [1]}, "new phase = 1: must be a row from 2 to 6"),
        ({"new_phase": [99]}, "new phase = 99"),
        ({"new_phase": [6]}, "phase 'from row 6': 1 row: must be two or more"),
        ({"rules": ["3 of 2 beyond 1 sigma"]}, "rule = '3 of 2 beyond 1 sigma'"),
        ({"rules": ["whatever"]}, "rule = 'whatever': must be a rule in words"),
        ({"kind": "ewma", "rules": ["handbook"]}, "it is for individuals"),
        ({"kind": "cusum", "widen": True}, "widen = True: must be left out here"),
        ({"alpha": 0.01}, "left out but for the chart 't2'"),
        ({"value": ["x", "x"]}, "one column"),
        ({"kind": "t2"}, "two columns or more"),
        ({"kind": "t2", "value": ["x"], "limit": 3.0}, "its limit follows from alpha"),
        ({"decimal": "dot", "data": "t.csv"}, "decimal = 'dot': must be point or comma"),
    ],
)
def test_options(options, said):
    with pytest.raises(DataError) as refused:
        chart(**options)
    assert said in str(refused.value)


def test_a_model_without_ages_and_ages_that_cannot_be():
    setup = planish.new_setup("rotary")
    with pytest.raises(DataError, match="model, age"):
        chart(age="lot")
    data = {"x": [1.0, 2.0, 3.0], "age": [0, 1, -1]}
    with pytest.raises(
        DataError, match=r"row 3: wafers on the pad = -1.0: must be a whole number from 0 to 5000"
    ):
        chart(data, model=setup, age="age")
    with pytest.raises(DataError, match=r"row 2: wafers on the pad = 1.5"):
        chart({**data, "age": [0, 1.5, 2]}, model=setup, age="age")


def test_a_group_of_one():
    data = {"x": [1.0, 2.0, 3.0], "lot": ["a", "a", "b"]}
    with pytest.raises(DataError, match="group 'b' has 1 row: must have two or more"):
        chart(data, kind="xbar", group="lot")


def test_a_group_in_two_phases():
    with pytest.raises(DataError, match="group 'b' lies in two phases"):
        chart(kind="xbar", group="lot", new_phase=[4])


def test_groups_without_any_spread():
    data = {"x": [1.0, 1.0, 2.0, 2.0], "lot": ["a", "a", "b", "b"]}
    with pytest.raises(DataError, match="no group scatters"):
        chart(data, kind="xbar", group="lot")


def test_t_squared_of_fewer_rows_than_columns():
    data = {name: [1.0, 2.0, 4.0] for name in "abc"}
    with pytest.raises(DataError, match="3 rows for 3 columns: must be at least 5"):
        planish.hold_chart(data, list("abc"), "t2")


def test_t_squared_of_columns_that_say_the_same():
    rng = np.random.default_rng(0)
    a, b = rng.standard_normal((2, 30))
    with pytest.raises(DataError, match="columns 'a', 'b', 'c' say the same"):
        planish.hold_chart({"a": a, "b": b, "c": a + b}, list("abc"), "t2")
    with pytest.raises(DataError, match="column 'b': all values are the same"):
        planish.hold_chart({"a": a, "b": np.ones(30)}, list("ab"), "t2")


def test_columns_of_different_lengths():
    with pytest.raises(DataError, match="must be the same number"):
        chart({"x": [1.0, 2.0], "y": [1.0]})


def test_more_phases_than_there_may_be():
    data = {"x": np.arange(2500.0), "wafer": np.arange(2500)}
    with pytest.raises(DataError, match="2500 phases: must be at most 1000"):
        chart(data, phase="wafer")


def test_files_that_are_too_large(tmp_path):
    file = tmp_path / "large.csv"
    file.write_text("x,a,b,c,d,e\n" + "1,1,1,1,1,1\n" * 180_000, encoding="utf-8")
    with pytest.raises(DataError, match="more than 1000000 cells"):
        planish.hold_chart(file, "x")
    pl.DataFrame({name: np.ones(300_000) for name in "abcd"}).write_parquet(tmp_path / "large.parquet")
    with pytest.raises(DataError, match="more than 1000000 cells"):
        planish.hold_chart(tmp_path / "large.parquet", "a")


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: planish.hold_run_length("xbar"), "chart = 'xbar': must be one of individuals, ewma, cusum"),
        (lambda: planish.hold_run_length("ewma"), "weight = None"),
        (lambda: planish.hold_run_length("ewma", weight=1e-6), "at least 0.001"),
        (lambda: planish.hold_run_length("ewma", weight=0.1, shift=float("nan")), "shift [sigma] = nan"),
        (
            lambda: planish.hold_run_length("ewma", weight=0.1, drift=0.1, drift_from=2),
            "drift from = 2: must be 0 or 1",
        ),
        (lambda: planish.hold_run_length("cusum", 90.0), "limit [sigma] = 90.0"),
        (lambda: planish.hold_run_length("cusum", 20.0, reference=3.0), "average run length: more than"),
        (
            lambda: planish.hold_run_length("individuals", rules=["6 rising or falling"]),
            "one that counts points",
        ),
        (
            lambda: planish.hold_run_length("ewma", weight=0.1, one_sided=True),
            "its limits stand on both sides",
        ),
        (lambda: planish.hold_run_length("cusum", settling=True), "settling = True"),
        (
            lambda: planish.hold_run_length("cusum", 4.0, reference=0.0, head_start=0.9),
            "head start = 0.9: must be smaller",
        ),
        (lambda: planish.hold_limit("ewma", 1.0, weight=0.1), "arl = 1.0: must be above 1"),
        (lambda: planish.hold_limit("ewma", 1e9, weight=0.1), "arl = 1000000000.0"),
        (lambda: planish.hold_limit("ewma", float("nan"), weight=0.1), "arl = nan"),
    ],
)
def test_run_lengths(call, said):
    with pytest.raises(DataError) as refused:
        call()
    assert said in str(refused.value)


def test_a_drift_too_slow_to_end(monkeypatch):
    monkeypatch.setattr(forward, "MOST_SAMPLES", 500)
    with pytest.raises(DataError, match="drift = 1e-07: charts still run after 500 samples"):
        planish.hold_run_length("ewma", weight=0.1, drift=1e-7)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({}, "specification limits: none given"),
        ({"lsl": 2.0, "usl": 1.0}, "usl = 1.0: must be above lsl, 2"),
        ({"lsl": float("nan")}, "lsl = nan"),
        ({"usl": 3.0, "confidence": 1.0}, "confidence = 1.0"),
        ({"usl": 3.0, "coverage": 0.0}, "coverage = 0.0"),
    ],
)
def test_capability(options, said):
    with pytest.raises(DataError) as refused:
        planish.hold_capability(GOOD, "x", **options)
    assert said in str(refused.value)


def test_gauge_studies():
    rows = {
        "y": [1.0, 1.1, 2.0, 2.1, 1.2, 1.0, 2.2],
        "part": [1, 1, 2, 2, 1, 1, 2],
        "by": ["a"] * 4 + ["b"] * 3,
    }
    with pytest.raises(DataError, match="1 to 2 measurements of a part by an appraiser"):
        planish.hold_gauge(rows, "y", "part", "by")
    with pytest.raises(DataError, match=r"column of appraisers .crossed. or a column of runs"):
        planish.hold_gauge(rows, "y", "part")
    with pytest.raises(DataError, match="1 parts and 2 appraisers"):
        planish.hold_gauge(
            {"y": [1.0, 2.0, 1.0, 2.0], "part": [1] * 4, "by": list("aabb")}, "y", "part", "by"
        )
    with pytest.raises(DataError, match="repeats do not scatter"):
        planish.hold_gauge(
            {"y": [1.0, 1.0, 2.0, 2.0] * 2, "part": [1, 1, 2, 2] * 2, "by": list("aaaabbbb")},
            "y",
            "part",
            "by",
        )
    with pytest.raises(DataError, match="tolerance = 0"):
        planish.hold_gauge(rows, "y", "part", "by", tolerance=0)
    with pytest.raises(DataError, match="sd, repeats"):
        planish.hold_gauge(rows, "y", "part", run="by")


@pytest.mark.parametrize(
    "words",
    [
        ["hold", "nowhere.csv", "--value", "x"],
        ["hold", "arl", "--chart", "ewma"],
        ["hold", "limit", "--chart", "ewma", "--weight", "0.1", "--arl", "0.2"],
        ["hold", "arl", "--chart", "cusum", "-o", "picture.docx"],
    ],
)
def test_the_command_ends_with_one_line(words):
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, DataError)
    assert "\n" not in str(done.exception)
