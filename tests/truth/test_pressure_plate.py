"""The wafer plate alone.

Simply supported circular plate, uniform load, The Civil Engineering Handbook, 2nd ed., eq. 47.75 (read):
w(0) = (5+nu) q a^4/(64 (1+nu) D). Plate on an elastic foundation, Timoshenko & Woinowsky-Krieger, Theory of Plates
and Shells (chapter 8, from memory): point load w(0) = P l^2/(8 D),
w(r) = -P l^2/(2 pi D) kei(r/l), l = (D/k)^(1/4). The free-edged disc under part load is
worked out here from the Kelvin functions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import iv, kei, kv

from planish.errors import ModelError
from planish.physics.pressure.layers import belt_base, rigid_base
from planish.physics.pressure.plate import (
    PlateOperator,
    bearing_lift,
    plate_operator,
    ring_load_deflection,
    zone_load,
)
from planish.physics.pressure.radial_grid import PressureGrid, pressure_grid

A, E, NU, H, K = 0.150, 130e9, 0.28, 775e-6, 1e10
D = E * H**3 / (12 * (1 - NU**2))
L = (D / K) ** 0.25


def plate_on_springs(plate: PlateOperator, load: np.ndarray, stiffness: float) -> np.ndarray:
    """Deflection [m] of the plate on two-sided springs [Pa/m]: bent by load less springs, which carry it all."""
    count = plate.areas.size
    system = np.zeros((count + 1, count + 1))
    system[:count, :count] = np.eye(count) + stiffness * plate.flexibility * plate.areas[None, :]
    system[:count, count] = -1.0
    system[count, :count] = plate.areas
    right = np.append(plate.flexibility @ (plate.areas * load), plate.areas @ load / stiffness)
    return np.linalg.solve(system, right)[:count]


def free_disc(r: np.ndarray, b: float, q: float) -> np.ndarray:
    """Plate on springs, load q on r < b, edge free at A: complex Bessel functions of sqrt(i) r/l."""
    m = np.exp(0.25j * np.pi) / L
    # Infinite plate: two complex-conjugate parts, each a disc load through (laplacian - m^2) type kernels.
    inside, outside = r < b, r >= b

    def particular(r: np.ndarray) -> np.ndarray:
        out = np.empty(r.shape, dtype=complex)
        out[inside] = 1 - m * b * kv(1, m * b) * iv(0, m * r[inside])
        out[outside] = m * b * iv(1, m * b) * kv(0, m * r[outside])
        return out

    # w = q/k Re(part + c I0(m r)); c from moment and shear at the edge.
    i0, i1 = iv(0, m * A), iv(1, m * A)
    k0, k1 = kv(0, m * A), kv(1, m * A)
    p = m * b * iv(1, m * b)

    def moment(f0: complex, f1: complex, sign: int) -> complex:
        # f0 = I0 or K0; f' = sign m f1; f'' = m^2 f0 - f'/r
        slope = sign * m * f1
        return m * m * f0 - (1 - NU) / A * slope

    def shear(f1: complex, sign: int) -> complex:
        return m * m * sign * m * f1  # d/dr of the laplacian

    rows = []
    right = []
    for of_i, of_k in ((moment(i0, i1, 1), moment(k0, k1, -1)), (shear(i1, 1), shear(k1, -1))):
        rows.append([of_i.real, -of_i.imag])
        right.append(-(p * of_k).real)
    re, im = np.linalg.solve(np.array(rows), np.array(right))
    return np.asarray(q / K * (particular(r) + complex(re, im) * iv(0, m * r)).real)


def at(grid: PressureGrid, values: np.ndarray, r: list[float]) -> np.ndarray:
    theta = np.arcsin(grid.r / grid.wafer_radius)
    t = np.concatenate([-theta[::-1], theta, np.pi - theta[::-1]])
    spline = CubicSpline(t, np.concatenate([values[::-1], values, values[::-1]]))
    return spline(np.arcsin(np.array(r) / grid.wafer_radius))


CASES = [
    (0.100, [0.0, 0.050, 0.100, 0.125, 0.150], [2.000001, 1.999518, 0.982916, -0.019997, -0.000370]),
    (0.140, [0.0, 0.070, 0.140, 0.145, 0.150], [2.000000, 2.000029, 1.032600, 0.272779, -0.400145]),
]


@pytest.mark.parametrize("loaded, radii, micrometres", CASES)
def test_free_disc_on_springs(loaded: float, radii: list[float], micrometres: list[float]) -> None:
    exact = free_disc(np.array(radii), loaded, 20e3)
    np.testing.assert_allclose(exact * 1e6, micrometres, atol=6e-7)  # the printed digits
    grid = pressure_grid(A)
    load = zone_load(grid.r, [loaded, A], [20e3, 0.0], 0.0)
    found = at(grid, plate_on_springs(plate_operator(grid, E, NU, H), load, K), radii)
    counted = np.abs(exact) > 1e-8  # the two others cross zero
    np.testing.assert_allclose(found[counted], exact[counted], rtol=1e-4)
    np.testing.assert_allclose(found, exact, atol=1e-4 * 2e-6)


def test_free_disc_converges_at_second_order_or_better() -> None:
    errors = []
    for cells in (30, 60, 120):
        grid = pressure_grid(A, cells=cells)
        load = zone_load(grid.r, [0.100, A], [20e3, 0.0], 0.0)
        found = plate_on_springs(plate_operator(grid, E, NU, H), load, K)
        errors.append(np.abs(found - free_disc(grid.r, 0.100, 20e3)).max())
    assert np.all(np.log2(np.array(errors[:-1]) / errors[1:]) > 2)


@pytest.mark.parametrize("cells, within", [(120, 1e-4), (240, 2e-5)])
def test_point_load_on_springs(cells: int, within: float) -> None:
    """A 150 mm wafer, 15 bending lengths in radius. At 300 mm the same error takes 240 cells."""
    radius, force = 0.075, 100.0
    grid = pressure_grid(radius, cells=cells)
    to_nodes = ring_load_deflection(grid.r, grid.r, radius, D, NU)
    of_point = ring_load_deflection(grid.r, np.zeros(1), radius, D, NU)[:, 0]
    system = np.zeros((cells + 1, cells + 1))
    system[:cells, :cells] = np.eye(cells) + K * to_nodes * grid.areas
    system[:cells, cells], system[cells, :cells] = -1.0, K * grid.areas
    solved = np.linalg.solve(system, np.append(force * of_point, force))
    here = np.array([0.0, L])
    found = (
        force * ring_load_deflection(here, np.zeros(1), radius, D, NU)[:, 0]
        - ring_load_deflection(here, grid.r, radius, D, NU) @ (K * grid.areas * solved[:cells])
        + solved[cells]
    )
    expected = [force * L**2 / (8 * D), -force * L**2 / (2 * np.pi * D) * kei(1.0)]
    np.testing.assert_allclose(np.array(expected) * 1e6, [53.43769, 33.67893], rtol=2e-7)
    np.testing.assert_allclose(found, expected, rtol=within)


@pytest.mark.parametrize("cells", [30, 120, 480])
def test_simply_supported_plate_however_fine_its_edge(cells: int) -> None:
    """The outermost cell of 480 is below 1 um: cells that fine ruin a differenced plate."""
    grid = pressure_grid(A, cells=cells)
    circles = np.append(grid.r, A)
    force = np.append(grid.areas * 1e3, -grid.areas.sum() * 1e3)
    centre, edge = ring_load_deflection(np.array([0.0, A]), circles, A, D, NU) @ force
    assert centre - edge == pytest.approx((5 + NU) * 1e3 * A**4 / (64 * (1 + NU) * D), rel=1e-5)


def test_flexibility_is_symmetric_positive_and_blind_to_an_even_load() -> None:
    grid = pressure_grid(A)
    plate = plate_operator(grid, E, NU, H)
    assert plate.rigidity == pytest.approx(5.4717311, rel=1e-7)
    np.testing.assert_allclose(plate.flexibility, plate.flexibility.T, rtol=0, atol=1e-18)
    even = plate.flexibility @ (grid.areas * 1e4)
    assert np.abs(even).max() < 1e-12
    values = np.linalg.eigvalsh(plate.flexibility * np.sqrt(np.outer(grid.areas, grid.areas)))
    assert values.min() > -1e-12 * values.max()


def test_zone_load_keeps_force_and_moments() -> None:
    grid = pressure_grid(A)
    for width in (0.0, 1e-3, 5e-3):
        load = zone_load(grid.r, [0.0503, 0.1017, A], [10e3, 30e3, 20e3], width)
        force = np.pi * (10e3 * 0.0503**2 + 30e3 * (0.1017**2 - 0.0503**2) + 20e3 * (A**2 - 0.1017**2))
        # A smooth wall of width d spreads its step like a sharp one pi d^2/20 wider in area.
        spread = np.pi * width**2 / 20 * ((10e3 - 30e3) + (30e3 - 20e3))
        assert grid.areas @ load == pytest.approx(force + spread, rel=1e-9)
    sharp = zone_load(grid.r, [0.1, A], [20e3, 0.0], 0.0)
    assert grid.areas * grid.r**2 @ sharp == pytest.approx(20e3 * np.pi * 0.1**4 / 2, rel=1e-6)
    np.testing.assert_allclose(zone_load(grid.r, [A], [2e4], 1e-3), 2e4, rtol=1e-8)


def test_belt_bends_like_a_plate_on_springs() -> None:
    base = belt_base(E, NU, H, 0.0, K)
    r = np.array([0.0, L])
    small = 1e-5
    lift = bearing_lift(r, [small, 0.2], [100 / (np.pi * small**2), 0.0], base)
    mean = 100 / (np.pi * 0.2**2) / K  # zones are counted from their mean
    np.testing.assert_allclose(lift + mean, [53.43769e-6, 33.67893e-6], rtol=1e-4)
    tight = bearing_lift(r, [small, 0.2], [100 / (np.pi * small**2), 0.0], belt_base(E, NU, H, 5e4, K))
    assert tight[0] < lift[0]
    # Twice the root of k D: the two roots meet.
    even = belt_base(E, NU, H, 4 * math.sqrt(K * D), K)
    near = belt_base(E, NU, H, 4 * math.sqrt(K * D) * 1.0001, K)
    np.testing.assert_allclose(
        bearing_lift(r, [0.05, 0.2], [1e4, 0.0], even),
        bearing_lift(r, [0.05, 0.2], [1e4, 0.0], near),
        rtol=1e-3,
    )


@pytest.mark.parametrize(
    "bad",
    [
        lambda g: plate_operator(g, -1.0, 0.3, 1e-3),
        lambda g: plate_operator(g, 1e9, 0.5, 1e-3),
        lambda g: plate_operator(g, 1e9, 0.3, 0.1),
        lambda g: zone_load(g.r, [0.05, A], [1e4], 0.0),
        lambda g: zone_load(g.r, [A, 0.05], [1e4, 1e4], 0.0),
        lambda g: zone_load(g.r, [A], [math.nan], 0.0),
        lambda g: zone_load(g.r, [A], [1e4], -1.0),
        lambda g: bearing_lift(g.r, [A], [1e4], rigid_base()),
        lambda g: pressure_grid(-1.0),
        lambda g: pressure_grid(A, 0.149, 0.17),
        lambda g: pressure_grid(A, 0.16, 0.155),
        lambda g: pressure_grid(A, 0.16),
        lambda g: pressure_grid(A, cells=4),
    ],
)
def test_impossible_values_are_refused(bad) -> None:
    with pytest.raises(ModelError, match="must be"):
        bad(pressure_grid(A, cells=30))
