"""Hardness to modulus, and what pores and fillers do to it.

Sources: log10 E = 0.0235 S - 0.6403 (read as quoted in Borrello's note on Shore A and modulus); open cells, Gibson &
Ashby (read as quoted in an audit of a sea-ice closure); closed cells, the same authors (from memory); Guth 1945 (read as
quoted in the RheoJAX documentation); Halpin-Tsai (read as quoted in a lecture on composites). The numbers below were
computed from the relations independently.
"""

from __future__ import annotations

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.errors import ModelError
from planish.physics.surface import hardness as h


@pytest.mark.parametrize(
    ("reading", "scale", "mpa"),
    [(50, "A", 3.425), (80, "A", 17.37), (30, "D", 17.37), (57, "D", 74.85), (60, "D", 88.04)],
)
def test_qi_joyce_boyce(reading: float, scale: h.Scale, mpa: float) -> None:
    assert h.shore_modulus(reading, scale) * 1e-6 == pytest.approx(mpa, rel=5e-4)
    shore = mpmath.mpf(reading) + (50 if scale == "D" else 0)
    exact = mpmath.power(10, mpmath.mpf("0.0235") * shore - mpmath.mpf("0.6403"))
    assert h.shore_modulus(reading, scale) * 1e-6 == pytest.approx(float(exact), rel=1e-12)


@given(st.floats(1.0, 100.0), st.sampled_from(["A", "D"]))
def test_inverse(reading: float, scale: h.Scale) -> None:
    modulus = h.shore_modulus(reading, scale)
    assert h.shore_reading(modulus, scale) == pytest.approx(reading, rel=1e-9, abs=1e-9)


def test_scales_meet_where_the_standard_lets_them() -> None:
    # Shore A 80 and Shore D 30 are the same stiffness in that relation, as in common conversion charts.
    assert h.shore_modulus(80.0, "A") == pytest.approx(h.shore_modulus(30.0, "D"), rel=1e-12)


def test_foam_limits() -> None:
    for cells in ("none", "open", "closed"):
        assert h.foam_factor(0.0, cells) == pytest.approx(1.0, rel=1e-15)  # type: ignore[arg-type]
    assert h.foam_factor(0.5, "open") == pytest.approx(0.25)
    # all solid in the edges: the closed cell is an open one; all in the faces: linear in density
    assert h.foam_factor(0.4, "closed", 1.0) == pytest.approx(0.36)
    assert h.foam_factor(0.4, "closed", 0.0) == pytest.approx(0.6)


@given(st.floats(0.0, 0.9), st.floats(0.0, 0.09), st.floats(0.0, 1.0))
def test_more_pores_are_softer_and_open_cells_softest(porosity: float, more: float, edges: float) -> None:
    assert h.foam_factor(porosity + more) <= h.foam_factor(porosity)
    assert h.foam_factor(porosity, "closed", edges) >= h.foam_factor(porosity, "open") - 1e-12
    # never above the upper (parallel) bound of a two-phase solid with an empty phase
    assert h.foam_factor(porosity, "closed", edges) <= 1.0 - porosity + 1e-12


def test_fillers() -> None:
    assert h.filler_factor(0.0) == 1.0
    assert h.filler_factor(0.1) == pytest.approx(1.391)  # 1 + 0.25 + 0.141
    # Einstein's slope for dilute rigid spheres
    assert (h.filler_factor(1e-6) - 1.0) / 1e-6 == pytest.approx(2.5, rel=1e-4)
    # Halpin-Tsai: equal moduli change nothing; soft fillers soften; rigid limit (1 + s c)/(1 - c)
    assert h.filler_factor(0.3, 1.0) == pytest.approx(1.0)
    assert h.filler_factor(0.3, 0.01) < 1.0
    assert h.filler_factor(0.2, 1e9) == pytest.approx(1.4 / 0.8, rel=1e-6)


@given(st.floats(0.01, 0.5), st.floats(0.05, 1e4))
def test_halpin_tsai_lies_between_the_bounds(share: float, ratio: float) -> None:
    # series (Reuss) and parallel (Voigt) bounds of any two-phase solid
    reuss = 1.0 / ((1.0 - share) + share / ratio)
    voigt = (1.0 - share) + share * ratio
    assert reuss * (1 - 1e-9) <= h.filler_factor(share, ratio) <= voigt * (1 + 1e-9)


def test_pad_and_solid_undo_each_other() -> None:
    made = h.pad_modulus(200e6, 0.35, "closed", 0.7, 0.0)
    assert h.solid_modulus(made, 0.35, "closed", 0.7) == pytest.approx(200e6, rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: h.shore_modulus(0.0, "A"),
        lambda: h.shore_modulus(101.0, "D"),
        lambda: h.foam_factor(1.0),
        lambda: h.foam_factor(-0.1),
        lambda: h.filler_factor(0.7),
        lambda: h.filler_factor(0.1, -1.0),
        lambda: h.pad_modulus(float("nan")),
        lambda: h.solid_modulus(-1.0),
        lambda: h.shore_reading(0.0, "A"),
    ],
)
def test_outside_validity(call) -> None:
    with pytest.raises(ModelError, match="must be"):
        call()
