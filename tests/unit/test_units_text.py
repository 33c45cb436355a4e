"""Text quantities in and out."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish import units
from planish.errors import PlanishError


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        # NIST SP 811 appendix B (from memory): psi, lbf, ft/min, inch, mil exact or to 7 digits
        ("1 psi", "pressure", 6894.757),
        ("1 lbf", "force", 4.448222),
        ("1 ft/min", "speed", 0.00508),
        ("1 in", "length", 0.0254),
        ("1 mil", "length", 25.4e-6),
        ("1 Å", "thickness", 1e-10),
        ("2500 A/min", "rate", 250e-9 / 60),
        ("2500 Å/min", "rate", 250e-9 / 60),
        ("2500 angstrom/min", "rate", 250e-9 / 60),
        ("60 rpm", "angular_speed", 6.283185307),
        ("-30 rpm", "angular_speed", -3.141592654),
        ("600 orbits/min", "angular_speed", 62.83185307),
        ("13 sweeps/min", "frequency", 13 / 60),
        ("200 ml/min", "flow", 200e-6 / 60),
        ("30 degC", "temperature", 303.15),
        ("30°C", "temperature", 303.15),
        ("86 degF", "temperature", 303.15),
        ("5 µm", "depth", 5e-6),
        ("5 μm", "depth", 5e-6),
        ("5um", "depth", 5e-6),
        ("+.5 mm", "length", 5e-4),
        ("1e3 nm", "length", 1e-6),
        ("2 Pa·s", "viscosity", 2.0),
        ("2 mPa s", "viscosity", 2e-3),
        ("1 g/cm³", "density", 1000.0),
        ("35 %", "ratio", 0.35),
        ("0.35", "ratio", 0.35),
        ("16e-14 cm^2/dyn", "per_pressure", 1.6e-12),
        ("1 yard", "length", 0.9144),  # not in the table: pint
    ],
)
def test_reads(text: str, dimension: str, si: float) -> None:
    assert units.to_si(text, dimension) == pytest.approx(si, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("3", "pressure", "unit is missing"),
        (3.0, "pressure", "text"),
        (True, "pressure", "text"),
        (None, "pressure", "text"),
        ("", "length", "number"),
        ("psi", "pressure", "number"),
        ("3 rpm", "pressure", "unit of pressure"),
        ("3 psii", "pressure", "did you mean 'psi'"),
        ("nan psi", "pressure", "finite"),
        ("-inf psi", "pressure", "finite"),
        ("1e999 psi", "pressure", "finite"),
        ("1,000 nm", "length", "comma"),
        ("1,5 mm", "length", "comma"),
        ("3 mm x", "length", "unit of length"),
        ("2 Hz", "angular_speed", "angular speed"),
        ("2 kHz", "angular_speed", "angular speed"),
        ("2 rpm", "frequency", "frequency"),
        ("2 rad/s", "frequency", "frequency"),
        ("30 delta_degC", "temperature", "temperature"),
        ("3 mm", "ratio", "ratio"),
        ("3 m**99", "length", "length"),
        ("3 __import__('os')", "length", "length"),
        ("3 " + "m" * 200, "length", "number"),
        ("0x10 mm", "length", "unit of length"),
    ],
)
def test_refuses(text: object, dimension: str, words: str) -> None:
    with pytest.raises(PlanishError, match="must be") as caught:
        units.to_si(text, dimension)  # type: ignore[arg-type]
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_unknown_dimension_is_refused() -> None:
    with pytest.raises(PlanishError, match="known dimensions"):
        units.to_si("3 psi", "tastiness")


@given(st.floats(min_value=0.1, max_value=1000.0), st.sampled_from(sorted(units.dimensions())))
def test_shown_text_reads_back_to_its_digits(value: float, dimension: str) -> None:
    for system in ("trade", "si"):
        text = units.show(value, dimension, system, digits=12)  # type: ignore[arg-type]
        # Twelve digits of a Celsius reading near absolute zero are twelve digits of 273, not of the kelvins left.
        near = 1e-9 if dimension == "temperature" else None
        assert units.to_si(text, dimension) == pytest.approx(value, rel=1e-9, abs=near)


def test_show() -> None:
    assert units.show(20684.27, "pressure") == "3 psi"
    assert units.show(20684.27, "pressure", "si") == "2.068e+04 Pa"
    assert units.show(303.15, "temperature") == "30 °C"
    assert units.show(5e-6, "depth") == "5 µm"
    assert units.show(0.35, "ratio") == "35 %"


def test_the_normal_path_does_not_import_pint() -> None:
    code = (
        "import sys; from planish import units; units.to_si('3 psi','pressure'); units.show(1.0,'rate');"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
