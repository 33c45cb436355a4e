"""Closed forms on an elastic half-space.

Surface displacement under uniform pressure p on a circle of radius a:
4 p a E(r^2/a^2)/(pi E*), E the complete elliptic integral, derived in docs/theory/derivations.md;
Hertz (read as quoted in the ContactMechanics library); rigid flat punch: I. N. Sneddon, Int. J. Eng. Sci. 3 (1965) 47
(from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ellipe

from planish.physics.pressure.layers import ElasticLayer, rigid_base
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import PadOperator, build_pad_operator

A = 0.150
HALF_SPACE = (ElasticLayer(100e6, 0.3, math.inf),)
PLANE = 100e6 / (1 - 0.3**2)
MEAN = 3 * 6894.757


def half_space(cells: int) -> PadOperator:
    return build_pad_operator(pressure_grid(A, cells=cells), HALF_SPACE, rigid_base())


@pytest.fixture(scope="module")
def default() -> PadOperator:
    return half_space(120)


def at(operator: PadOperator, values: np.ndarray, r: float) -> float:
    """p cos(theta) is smooth in theta: interpolate that."""
    from scipy.interpolate import CubicSpline

    theta = np.arcsin(operator.grid.r / A)
    t = math.asin(r / A)
    mirrored = np.concatenate([-theta[::-1], theta])
    product = values * np.cos(theta)
    return float(CubicSpline(mirrored, np.concatenate([product[::-1], product]))(t) / math.cos(t))


def test_uniform_pressure(default: PadOperator) -> None:
    found = default.compliance @ np.ones(120)
    expected = 4 * A / (np.pi * PLANE) * ellipe((default.grid.r / A) ** 2)
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def rigid_punch(operator: PadOperator, mean_pressure: float) -> tuple[np.ndarray, float]:
    """Pressure and depth under a flat rigid wafer on the bare pad: one depth everywhere, the load given."""
    count = operator.grid.r.size
    shape = np.linalg.solve(operator.compliance[:count, :count], np.ones(count))
    depth = mean_pressure * operator.grid.areas.sum() / float(operator.grid.areas @ shape)
    return shape * depth, depth


def test_rigid_punch_depth_and_pressure(default: PadOperator) -> None:
    pressure, depth = rigid_punch(default, MEAN)
    assert depth == pytest.approx(44.3499e-6, rel=1e-5)
    assert depth == pytest.approx(MEAN * math.pi * A / (2 * PLANE), rel=1e-5)
    for share, ratio in ((0.0, 0.5), (0.5, 0.577350), (0.9, 1.147079), (0.99, 3.544406)):
        assert at(default, pressure, share * A) / MEAN == pytest.approx(ratio, rel=1e-5)


def test_rigid_punch_converges() -> None:
    """The singular edge costs a little of the second order that regular pressures show."""
    errors = []
    for cells in (30, 60, 120):
        operator = half_space(cells)
        pressure, depth = rigid_punch(operator, MEAN)
        exact = 0.5 * MEAN / np.sqrt(1 - (operator.grid.r / A) ** 2)
        inside = operator.grid.r < 0.9 * A
        errors.append(
            (np.abs(pressure / exact - 1)[inside].max(), abs(depth * 2 * PLANE / (MEAN * np.pi * A) - 1))
        )
    assert np.all(np.log2(np.array(errors)[:-1] / np.array(errors)[1:]) > 1.7)
    assert np.all(np.array(errors)[-1] < 1e-6)


def test_hertz_converges_at_second_order() -> None:
    errors = []
    for cells in (30, 60, 120):
        operator = half_space(cells)
        r = operator.grid.r
        found = np.linalg.solve(operator.compliance, A**2 - r**2 / 2)
        expected = 2 * PLANE / np.pi * np.sqrt(A**2 - r**2)
        errors.append(np.abs(found - expected).max() / expected[0])
    assert np.all(np.log2(np.array(errors[:-1]) / errors[1:]) > 1.95)
    assert errors[-1] < 1e-6


def test_hertz(default: PadOperator) -> None:
    """The displacement d - r^2/2R with d = a^2/R makes the contact just reach r = a."""
    curvature_radius = 1000.0
    r = default.grid.r
    found = np.linalg.solve(default.compliance, (A**2 - r**2 / 2) / curvature_radius)
    expected = 2 * PLANE / (np.pi * curvature_radius) * np.sqrt(A**2 - r**2)
    np.testing.assert_allclose(found, expected, rtol=2e-5)
    force = default.grid.areas @ found
    assert force == pytest.approx(4 / 3 * PLANE * A**3 / curvature_radius, rel=1e-5)


def test_hertz_with_the_contact_circle_found() -> None:
    """One-sided contact, circle inside the grid: drop nodes that pull until none does."""
    operator = half_space(240)
    r, areas = operator.grid.r, operator.grid.areas
    curvature_radius, radius = 1000.0, 0.1
    force = 4 / 3 * PLANE * radius**3 / curvature_radius
    touching = np.ones(r.size, dtype=bool)
    while True:
        size = int(touching.sum())
        system = np.zeros((size + 1, size + 1))
        system[:size, :size] = operator.compliance[np.ix_(touching, touching)]
        system[:size, size] = -1.0
        system[size, :size] = areas[touching]
        scale = np.append(np.full(size, 1.0), PLANE)  # rows of like size
        right = np.append(-(r[touching] ** 2) / (2 * curvature_radius), force)
        solved = np.linalg.solve(system / scale[:, None], right / scale)
        pulling = solved[:size] < 0
        if not pulling.any():
            break
        touching[np.flatnonzero(touching)[pulling]] = False
    assert r[touching].max() == pytest.approx(radius, abs=1.2e-3)  # one cell
    assert solved[size] == pytest.approx(radius**2 / curvature_radius, rel=1e-3)
    assert solved[0] == pytest.approx(2 * PLANE * radius / (np.pi * curvature_radius), rel=1e-3)


def test_far_field_is_that_of_a_point_force() -> None:
    """Boussinesq: w = F/(pi E* r) on the surface; the ring feels the wafer's force so."""
    grid = pressure_grid(0.01, 0.30, 0.32, cells=60)
    operator = build_pad_operator(grid, HALF_SPACE, rigid_base())
    moved = operator.compliance[60:, :60] @ np.full(60, 1e4)
    force = 1e4 * math.pi * 0.01**2
    # Next term of the far field of a uniform disc: 1 + (a/r)^2/8.
    expected = force / (np.pi * PLANE * grid.ring_r) * (1 + (0.01 / grid.ring_r) ** 2 / 8)
    np.testing.assert_allclose(moved, expected, rtol=1e-5)
