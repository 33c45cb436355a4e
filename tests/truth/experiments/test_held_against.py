"""Published experiments and what planish says of them; sources stand with the data in ``planish.experiments``."""

from __future__ import annotations

import numpy as np
import pytest

from planish.experiments import content, grain_size, threshold, worn_summits
from planish.experiments.known import EXPERIMENTS

BY_NAME = {one.name: one for one in EXPERIMENTS}


def rows(name, start=""):
    found = [row for row in BY_NAME[name].rows() if row.what.startswith(start)]
    assert found
    return found


def test_names_are_told_once():
    assert len(BY_NAME) == len(EXPERIMENTS)
    for one in EXPERIMENTS:
        assert one.title
        assert one.source
        assert one.said


def test_exponents_of_pressure_and_speed():
    by_what = {row.what: row for row in rows("pressure-and-speed")}
    assert by_what["silica: exponent of rate on pressure"].off == pytest.approx(0.0, abs=0.12)
    assert by_what["silica: exponent of rate on speed"].off == pytest.approx(0.0, abs=0.25)  # missed: stated
    ceria = by_what["ceria: exponent of rate on pressure"]
    assert ceria.predicted > 1.25  # a threshold bends upward, though less than was measured
    assert by_what["ceria: exponent of rate on speed"].off == pytest.approx(0.0, abs=0.2)


def test_a_threshold_is_told_from_a_power():
    by_law = {law: threshold.fitted(law) for law in ("threshold", "power")}
    assert by_law["threshold"].coefficients["p_threshold"] == pytest.approx(11.1e3, rel=0.03)
    assert by_law["threshold"].misfit < 0.012
    assert by_law["power"].misfit > 5 * by_law["threshold"].misfit
    assert threshold.speed_power() == pytest.approx(1.45, abs=0.05)
    middle = next(row for row in rows("threshold", "speed") if row.kind == "predicted")
    assert abs(middle.off_percent) < 15


def test_grain_size_has_the_sign_of_its_slurry():
    assert grain_size.exponent(grain_size.SMALLER_IS_FASTER) == pytest.approx(-0.55, abs=0.07)
    assert grain_size.exponent(grain_size.LARGER_IS_FASTER) == pytest.approx(0.85, abs=0.17)
    assert max(abs(row.off_percent) for row in rows("small-grains")) < 5
    assert max(abs(row.off_percent) for row in rows("large-grains")) < 20


def test_content_saturates_for_one_film():
    assert content.half_content(content.TANTALUM_NITRIDE) == pytest.approx(5.5, abs=1.5)
    assert max(abs(row.off_percent) for row in rows("content", "tantalum")) < 10
    assert content.half_content(content.OXIDE) > 100


def test_an_inhibitor_acts_on_the_chemical_step():
    assert max(abs(row.off_percent) for row in rows("inhibitor")) < 6


def test_use_of_slurry_lies_in_the_range_reported():
    least, most = rows("slurry-use")
    assert least.predicted > least.measured
    assert most.predicted < most.measured


def test_less_flow_slows_by_some_per_cent():
    for row in rows("flow"):
        assert abs(row.off_percent) < 4
        assert row.predicted < 100


def test_blunter_summits_touch_over_more_area():
    (area,) = rows("worn-summits", "real contact")
    assert area.predicted == pytest.approx(area.measured, abs=5)
    pressed = [float(worn_summits.contact(*each).real_pressure)
               for each in zip(worn_summits.RADII, worn_summits.DEVIATIONS, strict=True)]  # fmt: skip
    assert pressed[1] / pressed[0] == pytest.approx(0.585, abs=0.01)
    powers = [float(np.log(change) / np.log(pressed[1] / pressed[0])) for change in (0.41, 1.47)]
    assert powers == pytest.approx([1.67, -0.72], abs=0.03)
