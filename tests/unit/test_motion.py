"""Motion: mean speeds, paths, retracing, symmetries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import gamma

from planish.errors import ModelError
from planish.physics.motion import speed
from planish.physics.motion.rotary import Rotary

SPEED = st.floats(-12, 12).filter(lambda w: w == 0 or abs(w) > 1e-3)
NODES = np.polynomial.legendre.leggauss(200)
MACHINE = Rotary(centre_offset=0.19, platen_radius=0.4)


@given(A=st.floats(0, 5, allow_subnormal=False), B=st.floats(0, 5, allow_subnormal=False))
def test_mean_speed_lies_between_its_bounds_and_is_symmetric(A, B):
    mean = float(speed.mean_speed(A, B))
    assert max(A, B) * (1 - 1e-12) <= mean <= (A + B) * (1 + 1e-12)
    assert mean == pytest.approx(float(speed.mean_speed(B, A)), rel=1e-14)
    assert mean == float(speed.mean_speed(-A, B))
    assert float(speed.speed_moment(A, B, 1.0)) == pytest.approx(mean, rel=1e-11, abs=1e-300)
    assert float(speed.speed_moment(A, B, 2.0)) == pytest.approx(A * A + B * B, rel=1e-12, abs=1e-300)


def test_moment_zero_is_one_and_moments_grow_with_power():
    assert float(speed.speed_moment(1.3, 0.4, 0.0)) == 1.0
    roots = [float(speed.speed_moment(1.3, 0.9, b)) ** (1 / b) for b in (0.25, 0.5, 1, 2, 3)]
    assert np.all(np.diff(roots) > 0)
    with pytest.raises(ModelError, match="exponent"):
        speed.speed_moment(1.0, 1.0, -1.0)


@given(w_p=SPEED, w_c=SPEED, r=st.floats(0, 0.15))
def test_speed_does_not_depend_on_the_sense_of_turning(w_p, w_c, r):
    one = float(MACHINE.mean_speed(r, w_p, w_c))
    assert one == float(MACHINE.mean_speed(r, -w_p, -w_c))


def test_retracing():
    assert speed.retracing_ratio(9.0, 9.0) == speed.Retrace(1, 1, 0.0)
    assert speed.retracing_ratio(9.0, 6.0)[:2] == (3, 2)
    assert speed.retracing_ratio(9.0, -4.5)[:2] == (2, -1)
    assert speed.retracing_ratio(93.0, 87.0) is None  # 31 : 29
    assert speed.retracing_ratio(93.0, 87.0, max_denominator=31)[:2] == (31, 29)
    assert speed.retracing_ratio(9.0, 0.0) is None
    near = speed.retracing_ratio(90.0, 90.05)
    assert near is not None
    assert near.miss == pytest.approx(0.05 / 90)
    with pytest.raises(ModelError):
        speed.retracing_ratio(1.0, 1.0, 0)


def test_a_retracing_ratio_really_closes_the_path():
    found = speed.retracing_ratio(9.0, 6.0)
    period = found.first_turns * 2 * np.pi / 9.0
    t = np.array([0.3, 0.3 + period])
    x, y = MACHINE.path(0.1, 0.2, t, 9.0, 6.0)
    assert x[0] == pytest.approx(x[1], abs=1e-13)
    assert y[0] == pytest.approx(y[1], abs=1e-13)


@pytest.mark.parametrize("beta", [0.3, 0.7, 1.0, 1.8])
def test_moment_where_the_two_speeds_are_equal(beta):
    # Mean of |2 cos(phi/2)|^beta: 2^beta Gamma((beta+1)/2)/(sqrt(pi) Gamma(beta/2+1)), the beta integral.
    exact = 1.3**beta * 2**beta * gamma((beta + 1) / 2) / (np.sqrt(np.pi) * gamma(beta / 2 + 1))
    assert float(speed.speed_moment(1.3, 1.3, beta)) == pytest.approx(exact, rel=1e-12)
