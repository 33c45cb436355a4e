"""Vacuum hold against closed forms and a numerical plate.

Sources: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, ch. 3 (circular plates); Stoney
1909; Young-Laplace. From memory; the plate formulas are checked by integrating the plate equation.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from planish.errors import ModelError
from planish.physics.pressure import holding
from planish.physics.pressure.layers import plate_stiffness

D = plate_stiffness(130e9, 0.28, 775e-6)


def test_stiffness() -> None:
    assert pytest.approx(5.4717311, rel=1e-7) == D  # 130 GPa, 0.28, 775 µm


def _plate(q: float, a: float, nu: float, clamped: bool) -> float:
    """Return the centre deflection from d/dr[(1/r) d/dr(r dw/dr)] = q r/(2D), solved numerically."""

    def rhs(r: np.ndarray, y: np.ndarray) -> np.ndarray:
        _w, slope, curvature = y
        inner = np.where(r > 0, r, 1.0)
        return np.vstack([slope, curvature, q * r / (2 * D) - curvature / inner + slope / inner**2])

    def ends(left: np.ndarray, right: np.ndarray) -> np.ndarray:
        rim = right[1] if clamped else right[2] + nu * right[1] / a
        return np.array([left[1], right[0], rim])

    r = np.linspace(1e-5 * a, a, 400)
    guess = np.zeros((3, r.size))
    return float(solve_bvp(rhs, ends, r, guess, tol=1e-9, max_nodes=20000).y[0, 0])


def test_clamped_sag() -> None:
    assert holding.clamped_sag(50e3, 0.02, D) == pytest.approx(
        _plate(50e3, 0.02, 0.28, clamped=True), rel=1e-3
    )


def test_flattening_is_the_simply_supported_sag_undone() -> None:
    curvature = 0.01
    q = holding.flattening_pressure(curvature, 0.15, D, 0.28)
    assert _plate(q, 0.15, 0.28, clamped=False) == pytest.approx(curvature * 0.15**2 / 2, rel=1e-3)


def test_clamped_stress_is_the_rim_moment() -> None:
    # rim moment of a clamped disc q b^2/8, bending stress 6 M/h^2
    q, b, h = 50e3, 0.0125, 775e-6
    assert holding.clamped_stress(q, b, h) == pytest.approx(6 * (q * b**2 / 8) / h**2, rel=1e-12)


def test_stoney() -> None:
    # 100 MPa in 1 µm on a (100) wafer of 775 µm with E/(1-nu) = 180.5 GPa: radius of curvature
    # E h^2/(6 (1-nu) sigma t) = 180.6 m, a bow of about 62 µm over 300 mm
    curvature = holding.stoney_curvature(100e6, 1e-6, 130e9, 0.28, 775e-6)
    assert 1 / curvature == pytest.approx(180.74, rel=1e-3)
    assert holding.stoney_curvature(-100e6, 1e-6, 130e9, 0.28, 775e-6) == -curvature


def test_weight_and_water() -> None:
    # a 300 mm wafer weighs about 128 g
    mass = holding.wafer_weight_pressure(2329.0, 775e-6) * np.pi * 0.15**2 / holding.GRAVITY
    assert mass == pytest.approx(0.1276, rel=2e-3)
    assert holding.film_pull(30e-6) == pytest.approx(4853.0, rel=1e-3)


def test_refusals() -> None:
    with pytest.raises(ModelError, match="above 0"):
        holding.film_pull(0.0)
    with pytest.raises(ModelError, match="above 0"):
        plate_stiffness(-1.0, 0.28, 1e-3)
