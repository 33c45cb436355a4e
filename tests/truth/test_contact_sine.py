"""Sine-wave contact against the closed forms of Westergaard and Johnson.

Source: Westergaard 1939, J. Applied Mechanics 6, 49 (read as quoted in the ContactMechanics library). E* = 109.89 MPa, amplitude 1 um, wavelength 1 mm:
full contact from p* = pi E* A / wavelength = 345.2296 kPa on.
"""

from __future__ import annotations

import numpy as np
import pytest

from planish.physics.contact.problem import ContactProblem

MODULUS, AMPLITUDE, WAVELENGTH = 109.89e6, 1e-6, 1e-3
FULL_PRESSURE = np.pi * MODULUS * AMPLITUDE / WAVELENGTH


def solve_contact(surface, mean_pressure, cell, compliance, *, start=None, tol=1e-6, **options):
    """Press the pad on one surface."""
    problem = ContactProblem(np.shape(surface), cell, compliance, **options)
    return problem.solve(surface, mean_pressure, start=start, tol=tol)


def _wave(points: int) -> tuple[np.ndarray, np.ndarray]:
    x = (np.arange(points) - points // 2) * WAVELENGTH / points
    return x, AMPLITUDE * np.cos(2 * np.pi * x / WAVELENGTH)


def _westergaard(x: np.ndarray, ratio: float) -> np.ndarray:
    root = np.maximum(ratio - np.sin(np.pi * x / WAVELENGTH) ** 2, 0.0)
    return 2 * FULL_PRESSURE * np.cos(np.pi * x / WAVELENGTH) * np.sqrt(root)


def test_check_value_of_full_contact() -> None:
    np.testing.assert_allclose(FULL_PRESSURE, 345.2296e3, rtol=1e-6)


@pytest.mark.parametrize("along", [0, 1])
def test_full_contact_is_a_sine(along: int) -> None:
    x, z = _wave(256)
    field = np.tile(z[:, None], (1, 2)) if along == 0 else np.tile(z, (2, 1))
    found = solve_contact(field, 1.5 * FULL_PRESSURE, WAVELENGTH / 256, MODULUS, tol=1e-10)
    line = found.pressure[:, 0] if along == 0 else found.pressure[0]
    expected = FULL_PRESSURE * (1.5 + np.cos(2 * np.pi * x / WAVELENGTH))
    np.testing.assert_allclose(line, expected, rtol=1e-9)
    assert found.contact_fraction == 1.0


@pytest.mark.parametrize("ratio", [0.2, 0.37, 0.5, 0.8])
def test_partial_contact(ratio: float) -> None:
    x, z = _wave(256)
    found = solve_contact(np.tile(z, (2, 1)), ratio * FULL_PRESSURE, WAVELENGTH / 256, MODULUS, tol=1e-9)
    p, expected = found.pressure[0], _westergaard(x, ratio)
    half = WAVELENGTH / np.pi * np.arcsin(np.sqrt(ratio))
    peak = expected.max()
    assert found.contact_fraction * WAVELENGTH == pytest.approx(2 * half, rel=0.01)
    assert p.mean() == pytest.approx(ratio * FULL_PRESSURE, rel=1e-12)
    assert p.max() == pytest.approx(peak, rel=1e-3)
    # the pressure ends with a vertical tangent: judged inside 0.9 a, and in the mean
    inside = np.abs(x) < 0.9 * half
    assert np.abs(p - expected)[inside].max() < 1e-3 * peak
    assert np.abs(p - expected).mean() < 1e-3 * expected.mean()


def test_partial_contact_converges() -> None:
    errors = []
    for points in (32, 128, 512):
        x, z = _wave(points)
        found = solve_contact(np.tile(z, (2, 1)), 0.5 * FULL_PRESSURE, WAVELENGTH / points, MODULUS, tol=1e-9)
        expected = _westergaard(x, 0.5)
        errors.append(np.linalg.norm(found.pressure[0] - expected) / np.linalg.norm(expected))
    orders = np.log2(np.array(errors[:-1]) / errors[1:]) / 2
    assert np.all(orders > 0.85), errors  # first order in L2: the square root at the edge


def test_gap_outside_contact_is_positive_and_inside_zero() -> None:
    _, z = _wave(256)
    found = solve_contact(np.tile(z, (2, 1)), 0.5 * FULL_PRESSURE, WAVELENGTH / 256, MODULUS, tol=1e-9)
    assert np.all(found.gap >= 0)
    assert np.all(found.gap[found.pressure > 0] == 0)
    # Johnson (13.8): both bodies apart by up to about the amplitude in the trough
    assert 0.1 * AMPLITUDE < found.gap.max() < 2 * AMPLITUDE
