"""Bad questions for ranked causes: each is refused in one line that names the place, the value and what is allowed."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import PlanishError

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))
from upsets import X, Y, main_step

SITES = tuple(str(at) for at in range(X.size))


def wafers(count, quantity="thickness", unit="nm"):
    return [
        planish.SiteMap(X, Y, np.full(X.size, 5e-7) + 1e-9 * at, SITES, quantity, unit, "invented")
        for at in range(count)
    ]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"baseline": 4}, "baseline = 4: must be a whole number from 5"),
        ({"baseline": 2.5}, "baseline = 2.5"),
        ({"baseline": 12}, "0 wafers after the baseline of 12: must be 2 or more"),
        ({"after": wafers(11)}, "11 wafers after the polish and 12 before"),
        ({"after": wafers(12, "removal")}, "measured quantity = 'removal': must be thickness"),
        ({"before": []}, "must be a file or folder of sites, or a list of site maps"),
        ({"time": "t"}, "table = None: must be given, to hold the columns t"),
        ({"table": {"t": [60.0] * 12}}, "one of whose columns is named"),
        ({"table": {"t": [60.0] * 11}, "time": "t"}, "11 rows: must be as many as there are wafers"),
        ({"table": {"t": [60.0] * 12}, "time": "tt"}, "the column of time = 'tt'"),
        ({"table": {"t": [0.0] * 12}, "time": "t"}, "column 't' = 0.0: must be above 0"),
        ({"table": {"t [days]": [1.0] * 12}, "time": "t"}, "unit = 'days': must be s, min or h"),
        (
            {"table": {"a": [1.0] * 12, "b": [1.0] * 12}, "friction": "a", "torque": "b"},
            "left out where friction is given",
        ),
        ({"table": {"p": [3.0] * 12}, "pad": "p"}, "row 2: wafers on the pad = 3: must be another"),
        ({"table": {"p": list(range(5000, 5012))}, "pad": "p"}, "must be at most 1500"),
        ({"table": {"p [mm]": list(range(12))}, "pad": "p"}, "unit = 'mm': must be wafers, s, min or h"),
        ({"events": ["40 pad"]}, "wafer = 40: must be 1 to 12"),
        ({"events": ["3 carpet"]}, "kind = 'carpet': must be one of pad, disk"),
    ],
)
def test_a_bad_question_is_refused_in_one_line(changed, words):
    given = {"before": wafers(12), "after": wafers(12), "baseline": 8, "cells": 24} | changed
    with pytest.raises(PlanishError) as refused:
        planish.rank_causes(main_step(), given.pop("before"), given.pop("after"), **given)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "words",
    [
        ["nowhere.toml", "before.csv", "after.csv", "--baseline", "8"],
        ["SETUP", "before.csv", "after.csv", "--baseline", "8"],
        ["SETUP", "before.csv", "after.csv", "--baseline", "8", "-o", "out.docx"],
        ["SETUP", "before.csv", "after.csv", "--baseline", "8", "--set", "nothing"],
    ],
)
def test_the_command_ends_with_one_line(words):
    setup = str(Path(__file__).parents[2] / "examples" / "rotary.toml")
    done = CliRunner().invoke(
        app, ["hold", "causes", *(setup if word == "SETUP" else word for word in words)]
    )
    assert isinstance(done.exception, PlanishError)
    assert "\n" not in str(done.exception)
