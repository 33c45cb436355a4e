"""Costs and flows that cannot be: refused in one line with place, value and remedy, and exit code 2."""

from __future__ import annotations

import subprocess
import sys

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError, PlanishError, SetupError

PLAIN = planish.new_setup("rotary")


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    file = tmp_path_factory.mktemp("setups") / "setup.toml"
    file.write_text(PLAIN, encoding="utf-8")
    return file


def refused(*words):
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert isinstance(done.exception, PlanishError), done.output
    assert "\n" not in str(done.exception)
    return str(done.exception)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"cost.platens": 0}, "must be a count"),
        ({"cost.platens": 2.5}, "must be a count"),
        ({"cost.scrapped": "120 %"}, "must be from 0 % to 99 %"),
        ({"cost.machine_years": 0}, "must be years"),
        ({"cost.failure_every": "0 h"}, "must be from 0.01 h"),
        ({"cost.load": "-1 s"}, "must be from 0 s"),
        ({"cost.water_flow": "2 psi"}, "cost.water_flow"),
        ({"cost.upkeep_price": "dear"}, "must be a price"),
        ({"cost.idle": "200 h"}, "must be from 0 h to 167 h"),
    ],
)
def test_keys(changes, said):
    with pytest.raises(SetupError, match=said):
        planish.loads(PLAIN).replace(changes)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"cost.platens": 3, "cost.visits": 2}, "cost.visits = 2: must be a divisor of the 3 platens"),
        (
            {"cost.engineering": "100 h", "cost.idle": "100 h"},
            "cost.engineering and cost.idle = '200 h': must be below the 168 h",
        ),
    ],
)
def test_keys_that_do_not_go_together(changes, said):
    with pytest.raises(SetupError) as told:
        planish.cost_of(planish.loads(PLAIN).replace(changes), 2)
    assert said in str(told.value)


def test_price_files(path, tmp_path):
    file = tmp_path / "prices.toml"

    def said(text):
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return refused("cost", path, "-n", "2", "--prices", file)

    assert "key = 'pad'" in said("pad = 3")
    assert "must be a key of the table [cost]" in said("[cost]\npad_price = 1\n[other]\nx = 1")
    assert "none at all" in said("")
    assert "is no TOML text" in said("pad_price 3")
    assert "is no TOML text" in said(b"\xff\xfe\x00")
    assert "at most 100000 bytes" in said("#" * 200_000)
    assert "cost.pad_price" in said('pad_price = "450 EUR"')
    assert "cannot be read" in refused("cost", path, "--prices", tmp_path / "none.toml")


def test_options_of_the_verbs(path):
    assert "--against and --tornado" in refused("cost", path, "--against", path, "--tornado", "10 %")
    assert "share to move by = 0.95" in refused("cost", path, "-n", "2", "--tornado", "95 %")
    assert "--tornado = 'much'" in refused("cost", path, "--tornado", "much")
    assert "no price is given" in refused("cost", path, "-n", "2", "--tornado", "10 %")
    assert "wafers = 3: must be" in refused("flow", path, "-n", "3")
    assert "--arrival = 'soon'" in refused("flow", path, "--arrival", "soon")
    assert "time between arrivals [s] = 20.0: must be above" in refused(
        "flow", path, "--lot", "2", "--arrival", "20 s"
    )
    assert "seed = -1" in refused("flow", path, "--seed", "-1")


def test_two_kinds_of_money(path):
    euro, yen = (
        planish.cost_of(planish.loads(PLAIN).replace({"cost": {"currency": name, "pad_price": 1}}), 2)
        for name in ("EUR", "JPY")
    )
    with pytest.raises(DataError, match="must be the same money"):
        planish.cost_saving(euro, yen)


def test_a_refusal_is_one_line_and_ends_with_two(path):
    done = subprocess.run(
        [sys.executable, "-m", "planish", "flow", str(path), "-n", "3"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
