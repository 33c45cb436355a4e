"""Slurry: regime, mixed film, delivery balances and their limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from planish.errors import ModelError
from planish.physics import slurry

POSITIVE = st.floats(1e-8, 1e-4)


def test_hersey_number_and_gap():
    gap = slurry.effective_gap(10e-6, 0.5e-3, 0.2)
    assert float(gap) == pytest.approx(0.8 * 10e-6 + 0.2 * 0.5e-3)
    assert float(slurry.hersey_number(1e-3, 1.0, 2e4, 20e-6)) == pytest.approx(2.5e-3)
    with pytest.raises(ModelError):
        slurry.hersey_number(1e-3, 1.0, 0.0, 20e-6)


def test_stribeck_curve_falls_then_rises():
    H = np.logspace(-5, 1, 400)
    mu = slurry.friction_coefficient(H, boundary=0.4, floor=0.02)
    low = int(np.argmin(mu))
    assert mu[0] == pytest.approx(0.4, rel=1e-4)
    assert 0 < low < H.size - 1
    assert np.all(np.diff(mu[: low + 1]) < 0)
    assert np.all(np.diff(mu[low:]) > 0)
    assert 0.02 < mu[low] < 0.1
    with pytest.raises(ModelError):
        slurry.friction_coefficient(-1.0)


@given(v=st.floats(0.01, 4), p=st.floats(500, 7e4), length=st.floats(1e-4, 0.3), gap=st.floats(1e-6, 1e-4))
def test_mixed_film_carries_exactly_the_load(v, p, length, gap):
    s, eta, slider = 5e-6, 1.2e-3, 0.1
    film = slurry.mixed_film(eta, v, p, length, dry_gap=gap, tail_length=s, slider=slider)
    h = float(film.thickness)
    assert h >= gap
    carried = np.exp(-(h - gap) / s) + slider * eta * v * length / (p * h**2)
    assert carried == pytest.approx(1.0, abs=1e-11)
    assert 0 <= float(film.solid_share) <= 1


def test_film_limits():
    keys = {"dry_gap": 30e-6, "tail_length": 5e-6, "slider": 0.1}
    still = slurry.mixed_film(1e-3, 0.0, 2e4, 0.3, **keys)
    assert float(still.thickness) == 30e-6
    assert float(still.solid_share) == 1.0
    fast = slurry.mixed_film(1.0, 4.0, 1e3, 0.3, **keys)
    assert float(fast.thickness) == pytest.approx(np.sqrt(0.1 * 1.0 * 4.0 * 0.3 / 1e3), rel=1e-6)
    assert float(fast.solid_share) == pytest.approx(0.0, abs=1e-6)
    with pytest.raises(ModelError):
        slurry.mixed_film(1e-3, 1.0, 0.0, 0.3, **keys)


def test_film_grows_with_speed_and_falls_with_pressure():
    keys = {"dry_gap": 20e-6, "tail_length": 5e-6}
    by_speed = slurry.mixed_film(1e-3, np.linspace(0, 4, 40), 2e4, 0.02, **keys)
    assert np.all(np.diff(by_speed.thickness) > 0)
    assert np.all(np.diff(by_speed.solid_share) < 0)
    by_pressure = slurry.mixed_film(1e-3, 1.0, np.linspace(5e3, 5e4, 40), 0.02, **keys)
    assert np.all(np.diff(by_pressure.thickness) < 0)


def test_a_pad_without_grooves_floats_and_a_grooved_one_does_not():
    # Common practice, no source: grooves keep the wafer from planing on the slurry.
    keys = {"dry_gap": 25e-6, "tail_length": 5e-6}
    grooved = slurry.mixed_film(1e-3, 1.2, 2e4, 2e-3, **keys)
    plain = slurry.mixed_film(1e-3, 1.2, 2e4, 0.3, **keys)
    assert str(slurry.regime(grooved.solid_share)) == "boundary"
    assert str(slurry.regime(plain.solid_share)) in ("mixed", "hydrodynamic")
    mu = [float(slurry.mixed_friction(f, 1e-3, 1.2, 2e4, 0.4)) for f in (grooved, plain)]
    assert mu[0] > 1.5 * mu[1]


def test_regime_names():
    assert slurry.regime([1.0, 0.9, 0.5, 0.1, 0.0]).tolist() == [
        "boundary",
        "boundary",
        "mixed",
        "hydrodynamic",
        "hydrodynamic",
    ]


def test_groove_area_share():
    assert slurry.groove_area_share("none", 0.0, 0.0) == 0.0
    assert slurry.groove_area_share("concentric", 0.25e-3, 1.5e-3) == pytest.approx(1 / 6)
    assert slurry.groove_area_share("spiral", 0.25e-3, 1.5e-3) == pytest.approx(1 / 6)
    # Grid: count the land square.
    assert slurry.groove_area_share("grid", 0.5e-3, 2e-3) == pytest.approx((4 - 1.5**2) / 4)
    with pytest.raises(ModelError, match="pitch"):
        slurry.groove_area_share("grid", 2e-3, 1e-3)


def test_position_shares():
    np.testing.assert_allclose(
        slurry.position_share_rotary([0.0, 0.04, 0.19, 0.34, 0.5], 0.19, 0.15), [1, 1, 0.5, 0, 0]
    )
    np.testing.assert_allclose(
        slurry.position_share_linear([0.0, 0.09, 0.15, 0.3], 0.15), [1, 0.8, 0, 0], atol=1e-7
    )
    assert slurry.position_share_through(0.15, 0.3) == pytest.approx(0.25)
    assert slurry.position_share_through(0.15, 0.14) == 1.0


@given(captured=POSITIVE, consumption=POSITIVE, carried=POSITIVE)
def test_fresh_fraction_is_a_share_and_solves_its_two_balances(captured, consumption, carried):
    under = float(slurry.fresh_fraction(captured, consumption, carried))
    assert 0 < under < 1
    # Under the wafer: what is carried in minus out is what is spent; on the track: fresh minus spilled.
    track = under + under * consumption / carried
    assert captured * (1 - track) == pytest.approx(carried * (track - under), rel=1e-9, abs=captured * 1e-12)


def test_fresh_fraction_limits_and_monotony():
    assert float(slurry.fresh_fraction(1e-6, 0.0)) == 1.0
    assert float(slurry.fresh_fraction(0.0, 1e-7)) == 0.0
    assert float(slurry.fresh_fraction(0.0, 0.0)) == 1.0
    assert float(slurry.fresh_fraction(1e-6, 1e-6)) == 0.5
    flows = np.linspace(1e-7, 5e-6, 30)
    assert np.all(np.diff(slurry.fresh_fraction(flows, 3e-7, 1e-5)) > 0)
    with pytest.raises(ModelError):
        slurry.fresh_fraction(-1.0, 1.0)
    with pytest.raises(ModelError):
        slurry.slurry_consumption(1e-9, 0.07, 0.0)


def deliver(groove_depth=0.5e-3, flow=250e-6 / 60, disk_speed=0.0, rate=250e-9 / 60, at=0.04):
    """A top-fed rotary polisher of common size."""
    film, share = 30e-6, slurry.groove_area_share("concentric", 0.25e-3, 1.5e-3)
    carried = slurry.carried_flow(1.8, 0.15, film, groove_depth, share)
    depth = slurry.liquid_depth(film, groove_depth, share)
    exchange = slurry.exchange_flow(carried, disk_radius=0.05, disk_speed=disk_speed, depth=depth)
    position = slurry.position_share_rotary(at, 0.19, 0.15)
    captured = slurry.captured_flow(flow, exchange, position_share=position)
    spent = slurry.slurry_consumption(rate, np.pi * 0.15**2)
    return float(slurry.fresh_fraction(captured, spent, carried))


def test_delivery_answers_as_the_trade_expects():
    """More flow, deep grooves, conditioning, a well-placed drop: common practice, no source."""
    base = deliver()
    assert 0.5 < base < 0.95
    assert deliver(flow=400e-6 / 60) > base > deliver(flow=100e-6 / 60)
    assert base > deliver(groove_depth=0.05e-3)
    assert deliver(disk_speed=0.8) > base
    assert base > deliver(at=0.25)
    assert deliver(rate=100e-9 / 60) > base
    assert deliver(flow=0.0) == 0.0


def test_capture_never_exceeds_the_flow():
    captured = slurry.captured_flow([0.0, 1e-6, 1e-3], [0.0, 1e3, 1e-9], entry_share=1.0)
    np.testing.assert_allclose(captured, [0.0, 1e-6, 1e-9], rtol=1e-5)


def test_fresh_step_is_the_exact_solution():
    Q, C, V = 1e-6, 4e-7, 8e-6
    exact = solve_ivp(lambda t, f: (Q * (1 - f) - C * f) / V, (0, 7), [0.2], rtol=1e-11, atol=1e-13).y[0, -1]
    assert float(slurry.fresh_step(0.2, Q, C, V, 7.0)) == pytest.approx(exact, rel=1e-9)
    twice = slurry.fresh_step(slurry.fresh_step(0.2, Q, C, V, 3.0), Q, C, V, 4.0)
    assert float(twice) == pytest.approx(exact, rel=1e-9)
    assert float(slurry.fresh_step(0.2, Q, C, V, 1e6)) == pytest.approx(float(slurry.fresh_fraction(Q, C)))
    assert float(slurry.fresh_step(0.2, 0.0, 0.0, V, 10.0)) == pytest.approx(0.2)


def test_residence_time():
    assert float(slurry.residence_time(8e-6, 1e-6)) == pytest.approx(8.0)
    assert float(slurry.residence_time(8e-6, 0.0)) == np.inf


def test_size_factor():
    assert float(slurry.size_factor(80e-9, 80e-9)) == 1.0
    sizes = slurry.size_factor(np.linspace(10e-9, 400e-9, 50), 80e-9)
    assert np.all(np.diff(sizes) > 0)
    assert np.all(np.diff(sizes, 2) < 0)
