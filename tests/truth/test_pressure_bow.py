"""A bowed wafer, and a pad that is not flat.

Sources: a plate with a curvature of its own on springs is worked out here in Kelvin functions (Timoshenko &
Woinowsky-Krieger, Theory of Plates and Shells, p. 267, has the flat one: read as quoted in a script for plates on
foundations); Stoney 1909 (read as quoted in Feng, Huang & Rosakis 2007);
the pressures beside the rim were computed by a solver of our own on another grid and are kept as check values;
the rest is closed forms worked out here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import bei, beip, ber, berp, j0, j1

from planish.physics.motion.rotary import Rotary
from planish.physics.pressure import bow, flatness
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.physics.pressure.plate import backed_plate, plate_operator
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure

A, E, NU, H = 0.150, 130e9, 0.28, 775e-6
D = E * H**3 / (12 * (1 - NU**2))
Q = 3 * 6894.757


def bowed_on_springs(r: np.ndarray, curvature: float, stiffness: float) -> np.ndarray:
    """Deflection [m] of an unloaded plate of natural curvature on two-sided springs, edge free.

    D lap^2 u + k u = 0 as r^2 drops out of the bilaplacian, so u = c1 ber x + c2 bei x, x = r/l. At the edge the
    moment is that of u less the natural shape, u'' + nu u'/a = (1 + nu) kappa, and the shear (lap u)' = 0; with
    lap ber = -bei and lap bei = ber.
    """
    length = (D / stiffness) ** 0.25
    x = A / length
    first = np.array([berp(x), beip(x)]) / length
    laplacian = np.array([-bei(x), ber(x)]) / length**2
    shear = np.array([-beip(x), berp(x)]) / length**3
    moment = laplacian - (1 - NU) / A * first
    c = np.linalg.solve(np.array([moment, shear]), np.array([(1 + NU) * curvature, 0.0]))
    return np.asarray(c[0] * ber(r / length) + c[1] * bei(r / length))


@pytest.mark.parametrize("stiffness", [1e8, 1e9, 1e10])
@pytest.mark.parametrize("backing", [0.0, 3e9])
def test_plate_with_a_curvature_of_its_own_on_springs(stiffness: float, backing: float) -> None:
    """To 1e-4 of the largest deflection; a backing is springs on the other face, so the two add."""
    curvature = bow.bow_curvature(50e-6, A)
    grid = pressure_grid(A)
    plate = plate_operator(grid, E, NU, H)
    if backing:
        plate = backed_plate(plate, backing)
    shape = plate.held(-bow.bow_height(grid.r, curvature))
    count = grid.r.size
    system = np.zeros((count + 1, count + 1))  # u - rise = shape - F A k u, the springs' force 0
    system[:count, :count] = np.eye(count) + stiffness * plate.flexibility * plate.areas
    system[:count, count], system[count, :count] = -1.0, plate.areas
    found = np.linalg.solve(system, np.append(shape, 0.0))[:count]
    exact = bowed_on_springs(grid.r, curvature, stiffness + backing)
    assert np.abs(found - exact).max() < 1e-4 * np.abs(exact).max()


FROM_RIM = np.array([0.3, 1, 2, 3, 4, 6, 8, 10, 15]) * 1e-3
TABLE = {
    0.0: [0.944, 0.974, 1.002, 1.014, 1.016, 1.010, 1.005, 1.002, 1.000],
    50e-6: [0.908, 0.945, 0.982, 1.001, 1.008, 1.008, 1.006, 1.005, 1.006],
    -50e-6: [0.981, 1.002, 1.021, 1.026, 1.024, 1.012, 1.003, 0.998, 0.993],
    20e-6: [0.930],
    -20e-6: [0.959],
}


@pytest.mark.parametrize("lifted", TABLE)
def test_pressure_beside_the_rim_of_a_bowed_wafer(lifted: float) -> None:
    """300 mm silicon on three layers beside a ring at 1.4 times 3 psi, the pressure over its mean."""
    grid = pressure_grid(A, A + 0.5e-3, A + 22.5e-3, cells=240)
    stack = (
        ElasticLayer(62.4e6, 0.3, 0.75e-3),
        ElasticLayer(74.85e6, 0.3, 1.25e-3),
        ElasticLayer(4.49e6, 0.2, 1.3e-3),
    )
    found = solve_pressure(
        build_pad_operator(grid, stack, rigid_base()),
        plate_operator(grid, E, NU, H),
        np.full(grid.r.size, Q),
        1.4 * Q,
        asperity_length=5e-6,
        asperity_pressure=2e6,
        foundation_offset=bow.bow_height(grid.r, bow.bow_curvature(lifted, A)),
    )
    seen = np.interp(A - FROM_RIM, grid.r, found.pressure / Q)[: len(TABLE[lifted])]
    np.testing.assert_allclose(seen, TABLE[lifted], atol=6e-4)


def test_a_tense_film_on_the_polished_face_presses_the_edge_down() -> None:
    """Stoney's 100 MPa in 1 um is a bow of about 62 um; it draws the film's own face hollow."""
    curvature = bow.film_curvature([(100e6, 1e-6)], E, NU, H)
    assert curvature * A**2 / 2 == pytest.approx(-62.2e-6, rel=1e-3)
    assert bow.film_curvature([(100e6, 1e-6), (-50e6, 2e-6)], E, NU, H) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("backing", [0.0, 2e9])
@pytest.mark.parametrize("wavelength", [0.02, 0.04, 0.08])
def test_what_a_wave_passes_is_what_the_whole_solver_says(wavelength: float, backing: float) -> None:
    """A small height J0(x r) under a wide wafer makes a pressure of the same shape, of the height given."""
    number = 2 * np.pi / wavelength
    grid = pressure_grid(A, cells=160)
    stack = (ElasticLayer(67e6, 0.3, 2e-3), ElasticLayer(4.5e6, 0.2, 1.5e-3))
    plate = plate_operator(grid, E, NU, H)
    if backing:
        plate = backed_plate(plate, backing)
    pad = build_pad_operator(grid, stack, rigid_base())

    def pressure(height: float) -> np.ndarray:
        load = np.full(grid.r.size, Q)
        foundation = height * j0(number * grid.r)
        return solve_pressure(
            pad, plate, load, asperity_length=5e-6, asperity_pressure=2e6, foundation_offset=foundation
        ).pressure

    change = (pressure(1e-9) - pressure(-1e-9)) / 2e-9
    middle = grid.r < 0.04
    give = float(surface_compliance(number, stack, rigid_base()))
    share = flatness.passed(number, give, plate.rigidity, backing, np.array([5e-6]), np.array([Q]))[0]
    # The wave's mean over the wafer moves the head, evenly.
    shapes = np.stack([j0(number * grid.r[middle]), np.ones(int(middle.sum()))], axis=1)
    fitted = float(np.linalg.lstsq(shapes, change[middle], rcond=None)[0][0])
    assert fitted == pytest.approx(Q * share, rel=0.02)


@pytest.mark.parametrize("amplitude", [2e-6, 5e-6])
def test_a_swinging_gap_lets_the_summits_carry_more(amplitude: float) -> None:
    """On a line: lambda ln(p/p0) + give p = height + cos, by Newton. The mean gap rises by lambda <d^2>/2."""
    length, give, mean = 5e-6, 3e-10, Q  # a give that is the same for all waves, so each place stands alone
    wave = amplitude * np.cos((np.arange(64) + 0.5) * np.pi / 32)
    height = length * np.log(mean)
    p = np.full(64, mean)
    for _ in range(60):
        residual = length * np.log(p) + give * (p - mean) - wave - height
        steep = length / p + give
        rise = (np.mean(residual / steep) - np.mean(p - mean)) / np.mean(1 / steep)
        p = p * np.exp(np.clip(-(residual - rise) / steep / p, -1, 1))
        height += rise
    assert p.mean() == pytest.approx(mean, rel=1e-10)
    swing = np.mean((p / mean - 1) ** 2)
    lower = length * np.log(mean) - height  # how much lower the level of ln p may lie for the same load
    said = float(flatness.raised_by_swing(np.array([length]), np.array([swing]))[0])
    assert lower == pytest.approx(said, rel=0.6 * swing**0.5 + 0.02)
    share = flatness.passed(1e9, give, D, 0.0, np.array([length]), np.array([mean]))[0]
    assert swing == pytest.approx((share * amplitude) ** 2 / 2, rel=0.15)


def test_straight_waves_that_turn_past() -> None:
    """Mean over both turns: A [J0(x r) - 2 J1(x a)/(x a)] J0(x c), the head following the mean height."""
    grid = pressure_grid(A)
    number, c = 2 * np.pi / 0.05, 0.19
    found = flatness.turning_gap(grid.r, grid.areas, flatness.Waves(20e-6, number, straight=True), c)
    exact = 10e-6 * (j0(number * grid.r) - 2 * j1(number * A) / (number * A)) * j0(number * c)
    np.testing.assert_allclose(found.mean, exact, atol=1e-10)
    # All of A^2/2 that is not in the mean, the plane that the head follows being small at this length.
    total = grid.areas @ (found.variance + found.mean**2) / grid.areas.sum()
    assert total == pytest.approx(0.5 * 10e-6**2, rel=0.05)


def test_rings_that_turn_past_as_points_on_their_paths_meet_them() -> None:
    """The path of a wafer point over the platen, sampled, less mean height and plane found by least squares."""
    machine = Rotary(centre_offset=0.19, platen_radius=0.385)
    grid = pressure_grid(A)
    number = 2 * np.pi * 6 / 0.77
    found = flatness.turning_gap(grid.r, grid.areas, flatness.Waves(20e-6, number), 0.19)

    def field(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.asarray(10e-6 * np.cos(number * np.hypot(x, y)))

    rng = np.random.default_rng(3)
    radius, turn = A * np.sqrt(rng.random(200_000)), 2 * np.pi * rng.random(200_000)
    x, y = radius * np.cos(turn), radius * np.sin(turn)
    basis = np.stack([np.ones_like(x), x, y], axis=1)
    plane, *_ = np.linalg.lstsq(basis, field(x + 0.19, y), rcond=None)
    times = np.linspace(0.0, 997.0, 40_001)
    for index in (20, 60, 100):
        r = float(grid.r[index])
        px, py = machine.path(r, 0.3, times, 9.42, 8.69)
        # Distance from the platen's axis says where on the wafer's circle the point stands.
        along = (px**2 + py**2 - 0.19**2 - r**2) / (2 * 0.19)
        seen = field(px, py) - plane[0] - plane[1] * along
        assert seen.mean() == pytest.approx(found.mean[index], abs=0.15e-6)
        assert seen.var() == pytest.approx(found.variance[index], rel=0.03)


def test_friction_tilts_a_rigid_head() -> None:
    """The moment of friction about the gimbal is that of a pressure rising by the tilt, 9 % here."""
    tilt = flatness.friction_tilt(0.35, 10e-3, A)
    assert tilt == pytest.approx(0.0933, rel=1e-3)
    grid = pressure_grid(A)
    back = 0.5 * float(grid.areas @ (tilt * grid.r**2 / A))  # of x p over the wafer, p = 1 + tilt x/a
    assert back == pytest.approx(0.35 * np.pi * A**2 * 10e-3, rel=1e-6)
