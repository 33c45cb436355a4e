"""Nested variance of the open data set Oxide (R package nlme).

72 oxide thicknesses: 8 lots x 3 wafers x 3 sites. Described in Littell,
Milliken, Stroup & Wolfinger 1996 and Pinheiro & Bates 2000, appendix A.20
(as the package's help page says). The check values are the balanced
analysis of variance; the book's REML standard deviations 11.398, 5.989 and
3.545 (from memory) agree.
"""

from __future__ import annotations

import pytest

from planish.measure.nested import read_nested

MEAN_SQUARE = {"lot": 1289.331349, "wafer": 120.166667, "site": 12.569444}
SD = {"lot": 11.397683, "wafer": 5.988801, "site": 3.545341}


@pytest.mark.shared_data
def test_every_digit(shared_data):
    out = read_nested(shared_data("wafers/oxide-lots.csv"), ["lot", "wafer", "site"], "thickness").document()
    assert round(out["mean"], 6) == 2000.152778
    assert out["balanced"] is True
    assert out["degrees_of_freedom"] == {"lot": 7, "wafer": 16, "site": 48}
    assert {k: round(v, 6) for k, v in out["mean_squares"].items()} == MEAN_SQUARE
    assert {k: round(v, 6) for k, v in out["sd"].items()} == SD


@pytest.mark.shared_data
def test_innermost_level_may_be_left_to_the_residual(shared_data):
    file = shared_data("wafers/oxide-lots.csv")
    named = read_nested(file, ["LOT", "wafer", "Site"], "THICKNESS").document()["sd"]
    left = read_nested(file, ["lot", "wafer"], "thickness").document()["sd"]
    assert left["within"] == pytest.approx(named["Site"], rel=1e-12)
    assert left["lot"] == pytest.approx(named["LOT"], rel=1e-12)
