"""Cleaning steps that cannot be are refused with what can."""

from __future__ import annotations

from pathlib import Path

import pytest

from planish.errors import PlanishError
from planish.predict.cleaning import clean_wafer

SETUP = Path(__file__).parents[2] / "examples" / "rotary.toml"


@pytest.mark.parametrize(
    ("step", "says"),
    [
        ("brush 1e308 m/s 95 %", "speed = '1e.308 m/s': must be from 0.001 m/s to 30 m/s"),
        ("brush 1e-9 m/s", "must be from 0.001 m/s"),
        ("sound 1e300 W/cm^2 1 MHz", "intensity .*must be from"),
        ("sound 1 W/cm^2 1e30 MHz", "frequency.*must be from"),
        ("rinse 1e9 rpm 1000 ml/min", "angular speed.*must be from"),
        ("rinse 1000 rpm 1e12 ml/min", "flow.*must be from"),
        ("brush 1 m/s 120 %", "a share of at most 100 %"),
    ],
)
def test_a_step_that_cannot_be(step, says):
    with pytest.raises(PlanishError, match=says):
        clean_wafer(SETUP, [step])


@pytest.mark.parametrize("hamaker", [1e-300, 0.0, 1.0, float("nan")])
def test_a_hamaker_constant_that_cannot_be(hamaker):
    with pytest.raises(PlanishError, match="Hamaker constant"):
        clean_wafer(SETUP, hamaker=hamaker)


@pytest.mark.parametrize("viscosity", [1e-300, 0.0, 1e9, float("nan")])
def test_a_liquid_that_cannot_be(viscosity):
    with pytest.raises(PlanishError, match="viscosity"):
        clean_wafer(SETUP, viscosity=viscosity)
