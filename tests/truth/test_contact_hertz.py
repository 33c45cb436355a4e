"""A stand-alone surface: Hertz, and Love's uniformly pressed square.

Sources: Hertz (read as quoted in the ContactMechanics library); Love 1929 (read as quoted in the ASPHER
documentation): a square of side 2a under p sinks at its centre by
u = (8/pi) ln(1+sqrt 2) p a / E*.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.fft

from planish.physics.contact.kernel import as_compliance, free_kernel
from planish.physics.contact.problem import ContactProblem

MODULUS = 100e6


def solve_contact(surface, mean_pressure, cell, compliance, *, start=None, tol=1e-6, **options):
    """Press the pad on one surface."""
    problem = ContactProblem(np.shape(surface), cell, compliance, **options)
    return problem.solve(surface, mean_pressure, start=start, tol=tol)


def _apply(kernel, pressure: np.ndarray) -> np.ndarray:
    grid = np.zeros(kernel.padded)
    grid[: pressure.shape[0], : pressure.shape[1]] = pressure
    full = scipy.fft.irfft2(scipy.fft.rfft2(grid) * kernel.multiplier, s=kernel.padded)
    return full[: pressure.shape[0], : pressure.shape[1]]


def test_uniform_square_sinks_as_love_says() -> None:
    n, cell = 63, 1e-4
    kernel = free_kernel((n, n), (cell, cell), as_compliance(MODULUS))
    sunk = _apply(kernel, np.full((n, n), 2e4))
    expected = 8 / np.pi * np.log(1 + np.sqrt(2)) * 2e4 * (n * cell / 2) / MODULUS
    assert sunk[n // 2, n // 2] == pytest.approx(expected, rel=1e-12)


def _hertz(points: int) -> tuple[float, float, float]:
    radius, side = 0.05, 4e-3
    cell = side / points
    x = (np.arange(points) + 0.5) * cell - side / 2
    r2 = x[:, None] ** 2 + x[None, :] ** 2
    contact_radius = 1e-3
    force = 4 * MODULUS * contact_radius**3 / (3 * radius)
    found = solve_contact(-r2 / (2 * radius), force / side**2, cell, MODULUS, periodic=False, tol=1e-8)
    peak = 1.5 * force / (np.pi * contact_radius**2)
    expected = peak * np.sqrt(np.maximum(1 - r2 / contact_radius**2, 0))
    area = found.contact_fraction * side**2 / (np.pi * contact_radius**2)
    depth = -found.approach / (contact_radius**2 / radius)
    return float(np.abs(found.pressure - expected).sum() / expected.sum()), area, depth


def test_sphere_follows_hertz_and_converges() -> None:
    coarse, _, _ = _hertz(32)
    fine, area, depth = _hertz(128)
    assert fine < 5e-3
    assert fine < 0.4 * coarse
    assert area == pytest.approx(1.0, abs=0.03)
    assert depth == pytest.approx(1.0, abs=2e-3)


def test_bonded_layer_alone_matches_the_periodic_pad_when_wide() -> None:
    # A pad on a rigid base answers only nearby: with a compliance that decays, a lone patch far from
    # the edges must sink alike whether the grid repeats or not. C(q) = 2/(E q) tanh(q h)-like curve.
    thickness = 5e-4

    def compliance(q: np.ndarray) -> np.ndarray:
        q = np.maximum(np.asarray(q, dtype=float), 1e-9)
        return 2.0 / (MODULUS * q) * np.tanh(q * thickness)

    n, cell = 96, 1e-4
    kernel = free_kernel((n, n), (cell, cell), compliance)
    pressure = np.zeros((n, n))
    pressure[40:56, 40:56] = 2e4
    free = _apply(kernel, pressure)
    big = 512
    wide = np.zeros((big, big))
    wide[:n, :n] = pressure
    qy = 2 * np.pi * np.fft.fftfreq(big, cell)
    qx = 2 * np.pi * np.fft.rfftfreq(big, cell)
    factors = compliance(np.hypot(qy[:, None], qx[None, :]))
    periodic = scipy.fft.irfft2(scipy.fft.rfft2(wide) * factors, s=(big, big))[:n, :n]
    # cells of uniform pressure against band-limited ones differ at the patch's edge only
    inside = np.s_[44:52, 44:52]
    np.testing.assert_allclose(free[inside], periodic[inside], rtol=2e-3)
    np.testing.assert_allclose(free[48, 70:], periodic[48, 70:], atol=2e-4 * periodic.max())
