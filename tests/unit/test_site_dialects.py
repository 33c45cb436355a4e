"""Forty ways of writing one wafer: each is read to the digits written, and says how it was understood."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import site_dialects as ways

import planish

#: Ways that a plain table may be written in, about which there is nothing to tell.
PLAIN = (
    "plain",
    "utf_8_with_mark",
    "carriage_returns",
    "polar_degrees",
    "inches",
    "exponents",
    "stacked_wafers",
)


def written(tmp_path: Path, dialect: ways.Dialect) -> Path:
    path = tmp_path / dialect.name
    path.write_bytes(dialect.data)
    return path


def test_there_are_forty():
    assert len(ways.WAYS) >= 40


@pytest.mark.parametrize("name", ways.WAYS)
def test_a_way_of_writing_is_read_to_the_digits_written(tmp_path, name):
    dialect = ways.WAYS[name]()
    wafer = ways.WAFERS[dialect.wafer]
    keep = np.setdiff1d(np.arange(len(wafer.x)), dialect.without)
    sites = planish.read_sites(written(tmp_path, dialect), **dialect.said)
    assert sites.quantity == "thickness"
    assert len(sites) == len(keep)
    for read, true in ((sites.x, wafer.x), (sites.y, wafer.y)):
        assert np.max(np.abs(1e3 * read - true[keep])) <= 0.51 * dialect.place
    assert np.max(np.abs(1e9 * sites.value - wafer.thickness[keep])) <= 0.51 * dialect.value
    told = "".join(sites.understood)
    assert bool(told) == (name not in PLAIN)
    assert "\n" not in told
    assert len(told) < 700
