"""The slurry film under the wafer against closed forms and its own finer solutions.

The duct's series is the textbook solution of Poiseuille flow in a rectangle (its first term: read as quoted in a
channel-flow code); the small
disturbance of an even load is solved by hand: with q = p (1 + e rho^2), no turning and small U and e, Reynolds'
equation has the right side -U c s/2 dq/dx/p, c = 1 + d phi_s/dH, and so p_f = U c s e a/(8 K) (rho - rho^3) cos theta.
Under a rigid head on a thin film over deep grooves friction tilts the load by 4 mu h x/a^2, the gap by s times that,
and so p_f = -U c s mu h/(2 K) (1 - rho^2), its mean over the load -U c s mu h/(4 K p).
In a gap so narrow that the pad drags far more liquid along than pressure moves, K falls out of the equation: the film
keeps the height at which it came in, so summits carry everywhere what they carry at the leading rim.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from planish.errors import ModelError
from planish.physics.slurry.film import SPOKES, film_cells, film_pressure
from planish.physics.slurry.film_balance import Flow, RigidHead
from planish.physics.slurry.gap import (
    Gap,
    duct_conductance,
    flow_factor,
    groove_height,
    mobility,
    rough_height,
    rough_shear,
    shear_factor,
    tip_relief,
)

RADIUS, PRESSURE, VISCOSITY = 0.15, 20684.28, 2e-3
PLAIN = Gap(height=20.9e-6, roughness=7.8e-6, tail=5e-6)


def grooved(depth):
    return replace(
        PLAIN, groove_width=0.6e-3, groove_depth=depth, groove_pitch=3e-3, groove_share=0.2 if depth else 0.0
    )


def cell_means(load, rings=32):
    """Exact means over the cells of a load given by radius."""
    faces = RADIUS * film_cells(rings)
    nodes, weights = np.polynomial.legendre.leggauss(24)
    low, high = faces[:-1, None], faces[1:, None]
    r = 0.5 * (high + low) + 0.5 * (high - low) * nodes
    return np.sum(weights * r * load(r), axis=1) / np.sum(weights * r, axis=1)


def heavy_edge(r):
    return 1.0 + 0.3 * np.exp(-(RADIUS - r) / 3e-3)


def share(gap=PLAIN, speed=1.0, turning=0.0, load=heavy_edge, rings=32, pressure=PRESSURE):
    q, rim = cell_means(load, rings), load(np.array(RADIUS))
    scale = pressure / float(np.diff(film_cells(rings) ** 2) @ q)
    found = film_pressure(gap, Flow(VISCOSITY, speed, turning), RADIUS, scale * q, scale * rim)
    return 1.0 - found.share


def test_factors_at_the_gap_of_a_usual_pad():
    assert flow_factor(20.9 / 7.8) == pytest.approx(0.79929, abs=5e-6)
    assert shear_factor(20.9 / 7.8) == pytest.approx(0.60720, abs=5e-6)
    assert mobility(PLAIN, VISCOSITY, 20.9e-6) == pytest.approx(3.0404e-13, rel=2e-5)


@pytest.mark.parametrize(
    "width, height", [(0.5e-3, 0.75e-3), (0.75e-3, 0.5e-3), (0.6e-3, 0.6e-3), (1e-3, 50e-6)]
)
def test_duct_against_its_series(width, height):
    m, big = min(width, height), max(width, height)
    odd = np.arange(1, 400, 2)
    series = np.sum(np.tanh(odd * math.pi * big / (2 * m)) / odd**5)
    exact = m**3 * big / 12 * (1 - 192 * m / (math.pi**5 * big) * series)
    assert duct_conductance(width, height) == pytest.approx(exact, rel=4e-3)


@pytest.mark.parametrize("turning", [0.0, 5.0, -9.0])
@pytest.mark.parametrize("speed", [0.0, 1.0, 4.0])
def test_an_even_load_or_a_pad_at_rest_leaves_the_liquid_at_rest(speed, turning):
    load = np.ones_like if speed else heavy_edge
    assert abs(share(speed=speed, turning=turning if speed else 0.0, load=load)) < 1e-13


def test_small_disturbance_closed_form():
    small, slow, rings = 1e-3, 1e-5, 48
    q = cell_means(lambda r: PRESSURE * (1 + small * (r / RADIUS) ** 2), rings)
    found = film_pressure(PLAIN, Flow(VISCOSITY, slow, 0.0), RADIUS, q, PRESSURE * (1 + small))
    step, sigma = 1e-9, PLAIN.roughness
    wider, gap, narrower = (float(rough_height(PLAIN.height + d, sigma)) for d in (step, 0.0, -step))
    c = (wider - narrower + sigma * float(shear_factor(wider / sigma) - shear_factor(narrower / sigma))) / (
        2 * step
    )
    K = float(mobility(PLAIN, VISCOSITY, gap))
    rho = found.radius / RADIUS
    lead = slow * c * PLAIN.tail * small * RADIUS / (8 * K)
    exact = lead * (rho - rho**3)[:, None] * np.cos(2 * math.pi * np.arange(SPOKES) / SPOKES)[None]
    assert np.abs(found.fluid - exact).max() < 2e-3 * np.abs(exact).max()


@pytest.mark.parametrize("light", [1.0, -1.0])
@pytest.mark.parametrize("height, off", [(-2e-6, 3e-3), (-6e-6, 3e-4), (-9e-6, 5e-5), (-12e-6, 1e-5)])
def test_a_dragged_film_keeps_what_summits_carry_at_the_rim(height, off, light):
    def load(r):
        return 1.0 + light * 0.3 * np.exp(-(RADIUS - r) / 3e-3)

    q, rim = cell_means(load), float(load(np.array(RADIUS)))
    scale = PRESSURE / float(np.diff(film_cells() ** 2) @ q)
    gap = replace(PLAIN, height=height)
    found = film_pressure(gap, Flow(VISCOSITY, 1.0, 0.0), RADIUS, scale * q, scale * rim)
    assert found.followed == 1.0
    assert np.abs(found.log_solid - math.log(scale * rim / PRESSURE)).max() < off
    assert found.share == pytest.approx(scale * rim / PRESSURE, rel=off)


@pytest.mark.parametrize("turning, fine", [(0.0, -0.1175), (5.263, -0.0980)])
def test_heavy_edge_draws_the_wafer_down_as_finer_solutions_say(turning, fine):
    """The fine value is that of a separate prototype of the same equations on its own grid."""
    assert share(turning=turning, rings=128) == pytest.approx(fine, abs=1e-3)
    assert share(turning=turning) == pytest.approx(fine, abs=3e-3)


def test_light_edge_lifts():
    assert share(load=lambda r: 1.0 - 0.3 * np.exp(-(RADIUS - r) / 3e-3)) > 0.05


def test_grooves_take_the_film_away_without_a_jump():
    by_depth = [share(grooved(depth)) for depth in (0.0, 1e-9, 1e-6, 1e-5, 3e-5, 1e-4, 2.5e-4, 7.5e-4)]
    # the share of the land leaves the gap of the summits in one piece with the depth
    assert by_depth[1] == pytest.approx(by_depth[0], abs=1e-4)
    assert np.all(np.diff(by_depth[3:]) > 0)
    assert -2e-4 < by_depth[-1] < 0
    near = [share(grooved(depth)) for depth in np.linspace(0, 40e-6, 41)]
    assert np.abs(np.diff(near)).max() < 0.01


def test_land_of_shallow_grooves_is_in_one_piece():
    tail = 5e-6
    assert groove_height(0.2, 0.0, tail) == 0.0
    assert groove_height(0.2, 1.0, tail) == pytest.approx(tail * math.log(0.8))


def test_open_pores_let_the_pressure_out():
    shares = [abs(share(replace(PLAIN, drainage=length))) for length in (1e-3, 5e-3, 20e-3, math.inf)]
    assert shares == sorted(shares)
    assert shares[0] < 0.25 * shares[-1]


def test_smooth_in_speed_pressure_and_viscosity():
    for speeds in (np.linspace(0.05, 3.0, 25),):
        drawn = np.array([share(speed=speed) for speed in speeds])
        assert np.all(np.isfinite(drawn))
        assert np.abs(np.diff(drawn, 2)).max() < 0.02


def test_open_gap_of_a_rough_face():
    assert rough_height(50e-6, 7.8e-6) == pytest.approx(50e-6, rel=1e-9)
    assert rough_height(0.0, 7.8e-6) == pytest.approx(7.8e-6 / math.sqrt(2 * math.pi))
    assert rough_height(-150e-6, 7.8e-6) == 1e-10  # solids touch


def test_liquid_is_sheared_no_more_than_rounded_tips_leave_room_for():
    """Over the paraboloid of one summit's own area the mean depth is 1/(4 pi n R); closer never shears less."""
    n, R = 2e8, 3e-5
    relief = tip_relief(n, R)
    r = np.sqrt((np.arange(20_000) + 0.5) / 20_000 / (np.pi * n))  # of equal areas
    assert relief == pytest.approx(np.mean(r**2 / (2 * R)), rel=1e-6)
    wide = rough_shear(np.array([40e-6, 80e-6]), 7.8e-6, relief)
    np.testing.assert_allclose(wide, [1 / 40e-6, 1 / 80e-6], rtol=1e-5)
    for roughness in (0.05e-6, 0.2e-6, 2e-6, 7.8e-6, 30e-6):
        shear = rough_shear(np.linspace(-5, 8, 400) * roughness, roughness, relief)
        assert np.all(np.diff(shear) <= 1e-12 * shear[:-1])
        assert shear.max() <= 1 / relief
    steep = rough_shear(np.linspace(-0.5, 3, 2000), 1.0, 1e-9)
    assert steep[0] == pytest.approx(
        np.max([ndtr(z) ** 2 / rough_height(z, 1.0) for z in np.linspace(0, 1, 2001)]), rel=1e-6
    )


def test_random_films_are_found():
    rng = np.random.default_rng(3)
    for _ in range(60):
        gap = replace(
            grooved(10 ** rng.uniform(-6, -3)),
            height=rng.uniform(8e-6, 50e-6),
            roughness=rng.uniform(3e-6, 12e-6),
            tail=rng.uniform(1e-6, 8e-6),
        )
        edge, width = rng.uniform(-0.6, 1.0), rng.uniform(2e-3, 12e-3)
        found = share(
            gap,
            speed=10 ** rng.uniform(-2, 0.6),
            turning=rng.uniform(-15, 15),
            pressure=10 ** rng.uniform(3.3, 4.8),
            load=lambda r, e=edge, w=width: 1.0 + e * np.exp(-(RADIUS - r) / w),
        )
        assert math.isfinite(found)
        assert found < 1


def rigid(gap=PLAIN, speed=1.0, turning=0.0, lever=0.007, give=2.8e-10, rings=32):
    load = np.full(rings, PRESSURE)
    return film_pressure(
        gap, Flow(VISCOSITY, speed, turning), RADIUS, load, PRESSURE, held=RigidHead(give, lever)
    )


@pytest.mark.parametrize("speed", [0.1, 1.0])
def test_rigid_head_on_a_gimbal_draws_the_wafer_down_as_solved_by_hand(speed):
    gap, step = grooved(750e-6), 1e-9
    lower = gap.height + groove_height(gap.groove_share, gap.groove_depth, gap.tail)
    gap = replace(gap, height=lower)
    h = rough_height([lower - step, lower, lower + step], gap.roughness)
    dragged = h + gap.roughness * shear_factor(h / gap.roughness)
    c = (dragged[2] - dragged[0]) / (2 * step)
    K = float(mobility(gap, VISCOSITY, h[1]))
    by_hand = -speed * c * 0.007 * gap.tail / (4 * K * PRESSURE)
    assert 1 - rigid(gap, speed).share == pytest.approx(by_hand, rel=0.01)


@pytest.mark.parametrize("gap", [PLAIN, grooved(50e-6)])
@pytest.mark.parametrize("give", [5e-11, 2.8e-10, 3e-9])
def test_rigid_head_stands_where_load_and_moments_balance(gap, give):
    found = rigid(gap, turning=5.0, give=give)
    load = found.solid + found.fluid
    weights = np.repeat(np.diff(film_cells() ** 2)[:, None], SPOKES, axis=1) / SPOKES
    theta = 2 * np.pi * np.arange(SPOKES) / SPOKES
    x, y = (found.radius[:, None] * turn(theta)[None, :] for turn in (np.cos, np.sin))
    assert float((weights * load).sum()) == pytest.approx(PRESSURE, rel=1e-12)
    wanted = -0.007 * float((weights * found.solid).sum())
    assert float((weights * load * x).sum()) == pytest.approx(wanted, rel=1e-9)
    assert float((weights * load * y).sum()) == pytest.approx(0.0, abs=1e-9 * PRESSURE * RADIUS)


def test_rigid_head_without_lever_leaves_an_even_load_alone():
    assert np.abs(rigid(lever=0.0, turning=5.0).fluid).max() < 1e-7 * PRESSURE


@pytest.mark.parametrize("gap", [PLAIN, grooved(50e-6)])
def test_rigid_head_on_coarse_and_fine_rings(gap):
    assert rigid(gap, turning=5.0).share == pytest.approx(rigid(gap, turning=5.0, rings=96).share, abs=1e-3)


def test_rigid_head_sucks_more_than_a_membrane_and_turning_evens_it():
    still, turning = (1 - rigid(turning=omega).share for omega in (0.0, 5.0))
    assert still < turning < share(turning=5.0) < 0


def test_bad_values_are_named():
    with pytest.raises(ModelError, match="viscosity"):
        film_pressure(PLAIN, Flow(0.0, 1.0, 0.0), RADIUS, np.full(32, 1e4), 1e4)
    with pytest.raises(ModelError, match="load on the film"):
        film_pressure(PLAIN, Flow(1e-3, 1.0, 0.0), RADIUS, np.zeros(32), 1e4)
