"""The tables of the docs that say what the invented rotary setup does over a lot are what it does today.

One row of each is run again, for the rows of a table move together; when one fails, run them all and put down what
comes out.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from planish.predict.lot.result import LotResult
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.setup.load import loads
from planish.setup.new import new_setup
from planish.units import NM_PER_MIN

DOCS = Path(__file__).parents[2] / "docs"
WAFERS = 200
CLOSE = 0.01  # beside half a unit of the last digit


def row(page: str, head: str, first: str) -> list[float]:
    """Return the numbers of a row of the table whose head line begins so."""
    table = (DOCS / page).read_text(encoding="utf-8").split(f"| {head} |")[1].split("\n\n")[0]
    line = next(line for line in table.splitlines() if line.startswith(f"| {first} |"))
    return [float(cell) for cell in line.strip("|").split("|")[1:]]


def lot(conditioning: bool = True) -> LotResult:
    rig = loads(new_setup("rotary")).rig
    return polish_lot(rig, WAFERS, variation=Variation.none(), conditioning=conditioning)


def near(told: list[float], units: list[float]) -> list[object]:
    return [pytest.approx(each, rel=CLOSE, abs=0.55 * unit) for each, unit in zip(told, units, strict=True)]


def test_a_pad_without_conditioning() -> None:
    records = lot(conditioning=False).records
    at = [0, 24, 49, 99, 199]
    head, page = "conditioning off, invented rotary setup", "theory/asperities.md"
    assert list(records.rate[at] * NM_PER_MIN) == near(row(page, head, "rate, nm/min"), [1.0] * 5)
    assert list(records.real_pressure[at] / 1e6) == near(
        row(page, head, "mean real pressure, MPa"), [1.0] * 5
    )


def test_a_pad_of_shore_55_and_its_disk() -> None:
    done = lot()
    told, rate = done.summary(), done.records.rate[4:]
    assert [
        told["last_rate_nm_per_min"],
        100 * float(rate.max() - rate.min()) / float(rate.mean()),
        told["first_wiwnu_sigma_percent"],
        told["last_wiwnu_sigma_percent"],
        told["last_scratch_index_relative"],
    ] == near(
        row(
            "guide/lot.md",
            "top pad, Shore D | rate of the last wafer, nm/min | range after the first four, % | WIWNU first, % | WIWNU last, % | scratch index, relative",
            "55",
        ),
        [1.0, 0.1, 0.01, 0.1, 0.01],
    )
    assert [
        told["last_rate_nm_per_min"],
        told["last_tail_um"],
        told["last_groove_depth_um"],
        told["last_scratch_index_relative"],
    ] == near(
        row(
            "theory/conditioning.md",
            "disk | rate, nm/min | summits' mean excess height, µm | groove left, µm | scratch index, relative",
            "100 grit, 7 lbf",
        ),
        [1.0, 0.1, 1.0, 0.01],
    )
