"""Motion: paths, sliding distance, direction spread, retracing, symmetries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import gamma

from planish.errors import ModelError
from planish.physics import motion

SPEED = st.floats(-12, 12).filter(lambda w: w == 0 or abs(w) > 1e-3)
NODES = np.polynomial.legendre.leggauss(200)
DRIVES = {
    "rotary": {"offset": 0.19, "platen_speed": 9.4, "carrier_speed": 8.7},
    "linear": {"belt_speed": 2.0, "carrier_speed": 3.1},
    "orbital": {"orbit_radius": 0.016, "orbit_speed": 62.8, "carrier_speed": 2.1},
}


@given(A=st.floats(0, 5, allow_subnormal=False), B=st.floats(0, 5, allow_subnormal=False))
def test_mean_speed_lies_between_its_bounds_and_is_symmetric(A, B):
    speed = float(motion.mean_speed(A, B))
    assert max(A, B) * (1 - 1e-12) <= speed <= (A + B) * (1 + 1e-12)
    assert speed == pytest.approx(float(motion.mean_speed(B, A)), rel=1e-14)
    assert speed == float(motion.mean_speed(-A, B))
    assert float(motion.speed_moment(A, B, 1.0)) == pytest.approx(speed, rel=1e-11, abs=1e-300)
    assert float(motion.speed_moment(A, B, 2.0)) == pytest.approx(A * A + B * B, rel=1e-12, abs=1e-300)


def test_moment_zero_is_one_and_moments_grow_with_power():
    assert float(motion.speed_moment(1.3, 0.4, 0.0)) == 1.0
    roots = [float(motion.speed_moment(1.3, 0.9, b)) ** (1 / b) for b in (0.25, 0.5, 1, 2, 3)]
    assert np.all(np.diff(roots) > 0)
    with pytest.raises(ModelError, match="exponent"):
        motion.speed_moment(1.0, 1.0, -1.0)


@given(w_p=SPEED, w_c=SPEED, r=st.floats(0, 0.15))
def test_speed_does_not_depend_on_the_sense_of_turning(w_p, w_c, r):
    one = float(motion.rotary_mean_speed(r, 0.19, w_p, w_c))
    assert one == float(motion.rotary_mean_speed(r, 0.19, -w_p, -w_c))


@pytest.mark.parametrize("kind", DRIVES)
def test_paths_have_the_velocity_as_their_derivative(kind):
    keys, h = DRIVES[kind], 1e-6
    osc = {"oscillation_amplitude": 0.01, "oscillation_frequency": 0.3} if kind == "rotary" else {}
    t = np.array([0.0, 0.37, 1.9])
    ahead = motion.wafer_path_on_pad(kind, 0.12, 0.7, t + h, **keys, **osc)
    behind = motion.wafer_path_on_pad(kind, 0.12, 0.7, t - h, **keys, **osc)
    along_path = np.hypot(ahead[0] - behind[0], ahead[1] - behind[1]) / (2 * h)
    vx, vy = motion.velocity(kind, 0.12 * np.cos(0.7), 0.12 * np.sin(0.7), t, **keys, **osc)
    np.testing.assert_allclose(along_path, np.hypot(vx, vy), rtol=1e-7)


@pytest.mark.parametrize("kind", DRIVES)
def test_the_two_paths_meet(kind):
    # The pad point under a wafer point at one time must be seen there by that wafer point.
    keys, t = DRIVES[kind], 1.234
    x, y = motion.wafer_path_on_pad(kind, 0.12, 0.7, t, **keys)
    wx, wy = motion.pad_path_on_wafer(kind, float(x), float(y), t, **keys)
    assert wx == pytest.approx(0.12 * np.cos(0.7), abs=1e-14)
    assert wy == pytest.approx(0.12 * np.sin(0.7), abs=1e-14)


def test_places_off_the_wafer_break_the_line():
    x, _ = motion.pad_path_on_wafer(
        "rotary", 0.19, 0.0, np.linspace(0, 5, 400), wafer_radius=0.15, **DRIVES["rotary"]
    )
    assert np.isnan(x).any()
    assert np.isfinite(x).any()


@pytest.mark.parametrize("kind", DRIVES)
@given(r0=st.floats(0, 0.15), phi0=st.floats(-3, 3), duration=st.floats(0.01, 1))
def test_sliding_distance_is_the_integral_of_the_speed(kind, r0, phi0, duration):
    u, w = NODES
    t = duration / 2 * (1 + u)
    vx, vy = motion.velocity(kind, r0 * np.cos(phi0), r0 * np.sin(phi0), t, **DRIVES[kind])
    summed = duration / 2 * (w * np.hypot(vx, vy)).sum()
    closed = float(motion.sliding_distance(kind, r0, phi0, duration, **DRIVES[kind]))
    assert closed == pytest.approx(summed, rel=1e-9)


def test_sliding_distance_over_many_turns_is_mean_speed_times_time():
    keys = DRIVES["rotary"]
    turn = 2 * np.pi / keys["carrier_speed"]
    mean = float(motion.mean_speed_at("rotary", 0.147, **keys))
    assert float(motion.sliding_distance("rotary", 0.147, 0.3, 80 * turn, **keys)) == pytest.approx(
        80 * turn * mean, rel=1e-12
    )


def test_sliding_distance_of_a_wafer_that_does_not_turn():
    keys = {"offset": 0.19, "platen_speed": 9.4, "carrier_speed": 0.0}
    # Outward, the point at phi = 0 runs on a circle of radius offset + r; the opposite one on offset - r.
    assert float(motion.sliding_distance("rotary", 0.1, 0.0, 2.0, **keys)) == pytest.approx(9.4 * 0.29 * 2)
    assert float(motion.sliding_distance("rotary", 0.1, np.pi, 2.0, **keys)) == pytest.approx(9.4 * 0.09 * 2)
    linear = {"belt_speed": 2.0, "carrier_speed": 0.0}
    assert float(motion.sliding_distance("linear", 0.1, 1.0, 2.0, **linear)) == pytest.approx(4.0)


def test_map_is_round_for_a_turning_wafer_and_not_for_a_still_one():
    x, y = np.meshgrid(np.linspace(-0.1, 0.1, 5), np.linspace(-0.1, 0.1, 5))
    turning = motion.speed_map("rotary", x, y, **DRIVES["rotary"])
    np.testing.assert_allclose(turning, turning.T, rtol=1e-14)
    still = motion.speed_map("rotary", x, y, offset=0.19, platen_speed=9.4)
    np.testing.assert_allclose(still, 9.4 * np.hypot(x + 0.19, y), rtol=1e-14)


def test_direction_spread_limits_and_against_sampling():
    assert float(motion.direction_spread(1.0, 0.0)) == 1.0
    assert float(motion.direction_spread(0.0, 1.0)) == 0.0
    assert float(motion.direction_spread(0.0, 0.0)) == 0.0
    assert float(motion.line_direction_spread(1.0, 0.0)) == 1.0
    assert float(motion.line_direction_spread(0.0, 1.0)) == pytest.approx(0.0, abs=1e-15)
    phase = (np.arange(4096) + 0.5) * 2 * np.pi / 4096
    for A, B in [(1.0, 0.3), (1.0, 0.95), (0.4, 1.2), (2.0, 2.0)]:
        v = B + A * np.exp(1j * phase)
        speed = np.abs(v)
        once = 1 - abs(v.mean()) / speed.mean()
        twice = 1 - abs((v**2 / speed).mean()) / speed.mean()
        assert float(motion.direction_spread(A, B)) == pytest.approx(once, abs=2e-7)
        assert float(motion.line_direction_spread(A, B)) == pytest.approx(twice, abs=2e-7)


@given(A=st.floats(0.01, 5), B=st.floats(0, 5, allow_subnormal=False))
def test_direction_spreads_stay_between_0_and_1(A, B):
    for spread in (motion.direction_spread(A, B), motion.line_direction_spread(A, B)):
        assert 0 <= float(spread) <= 1


def test_retracing():
    assert motion.retracing_ratio(9.0, 9.0) == motion.Retrace(1, 1, 0.0)
    assert motion.retracing_ratio(9.0, 6.0)[:2] == (3, 2)
    assert motion.retracing_ratio(9.0, -4.5)[:2] == (2, -1)
    assert motion.retracing_ratio(93.0, 87.0) is None  # 31 : 29
    assert motion.retracing_ratio(93.0, 87.0, max_denominator=31)[:2] == (31, 29)
    assert motion.retracing_ratio(9.0, 0.0) is None
    near = motion.retracing_ratio(90.0, 90.05)
    assert near is not None
    assert near.miss == pytest.approx(0.05 / 90)
    with pytest.raises(ModelError):
        motion.retracing_ratio(1.0, 1.0, 0)


def test_a_retracing_ratio_really_closes_the_path():
    found = motion.retracing_ratio(9.0, 6.0)
    period = found.first_turns * 2 * np.pi / 9.0
    t = np.array([0.3, 0.3 + period])
    x, y = motion.wafer_path_on_pad("rotary", 0.1, 0.2, t, offset=0.19, platen_speed=9.0, carrier_speed=6.0)
    assert x[0] == pytest.approx(x[1], abs=1e-13)
    assert y[0] == pytest.approx(y[1], abs=1e-13)


def test_unknown_motion_is_refused():
    for call in (
        lambda: motion.mean_speed_at("sideways", 0.1),
        lambda: motion.wafer_path_on_pad("sideways", 0.1, 0.0, 1.0),
        lambda: motion.speed_amplitudes("sideways", 0.1),
        lambda: motion.wafer_to_pad_weights("sideways", [0.1], [0.0, 1.0]),
    ):
        with pytest.raises(ModelError, match="rotary, linear or orbital"):
            call()


@pytest.mark.parametrize("beta", [0.3, 0.7, 1.0, 1.8])
def test_moment_where_the_two_speeds_are_equal(beta):
    # Mean of |2 cos(phi/2)|^beta: 2^beta Gamma((beta+1)/2)/(sqrt(pi) Gamma(beta/2+1)), the beta integral.
    exact = 1.3**beta * 2**beta * gamma((beta + 1) / 2) / (np.sqrt(np.pi) * gamma(beta / 2 + 1))
    assert float(motion.speed_moment(1.3, 1.3, beta)) == pytest.approx(exact, rel=1e-12)
