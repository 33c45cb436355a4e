"""Slurry: regime, mixed film, delivery balances and their limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.physics.slurry import film as slurry

POSITIVE = st.floats(1e-8, 1e-4)


def mixed_film(viscosity, speed, pressure, length, *, dry_gap, tail_length, slider=slurry.SLIDER):
    """The film at each of several conditions."""
    lifts = slider * viscosity * np.asarray(speed, float) * length / np.asarray(pressure, float)
    found = [slurry.mixed_film_at(float(lift), dry_gap, tail_length) for lift in np.atleast_1d(lifts)]
    thickness, share = (np.squeeze(np.array(part)) for part in zip(*found, strict=True))
    return slurry.Film(thickness, share)


@given(v=st.floats(0.01, 4), p=st.floats(500, 7e4), length=st.floats(1e-4, 0.3), gap=st.floats(1e-6, 1e-4))
def test_mixed_film_carries_exactly_the_load(v, p, length, gap):
    s, eta, slider = 5e-6, 1.2e-3, 0.1
    film = mixed_film(eta, v, p, length, dry_gap=gap, tail_length=s, slider=slider)
    h = float(film.thickness)
    assert h >= gap
    carried = np.exp(-(h - gap) / s) + slider * eta * v * length / (p * h**2)
    assert carried == pytest.approx(1.0, abs=1e-11)
    assert 0 <= float(film.solid_share) <= 1


def test_film_limits():
    keys = {"dry_gap": 30e-6, "tail_length": 5e-6, "slider": 0.1}
    still = mixed_film(1e-3, 0.0, 2e4, 0.3, **keys)
    assert float(still.thickness) == 30e-6
    assert float(still.solid_share) == 1.0
    fast = mixed_film(1.0, 4.0, 1e3, 0.3, **keys)
    assert float(fast.thickness) == pytest.approx(np.sqrt(0.1 * 1.0 * 4.0 * 0.3 / 1e3), rel=1e-6)
    assert float(fast.solid_share) == pytest.approx(0.0, abs=1e-6)


def test_film_grows_with_speed_and_falls_with_pressure():
    keys = {"dry_gap": 20e-6, "tail_length": 5e-6}
    by_speed = mixed_film(1e-3, np.linspace(0, 4, 40), 2e4, 0.02, **keys)
    assert np.all(np.diff(by_speed.thickness) > 0)
    assert np.all(np.diff(by_speed.solid_share) < 0)
    by_pressure = mixed_film(1e-3, 1.0, np.linspace(5e3, 5e4, 40), 0.02, **keys)
    assert np.all(np.diff(by_pressure.thickness) < 0)


def test_a_pad_without_grooves_floats_and_a_grooved_one_does_not():
    # Common practice, no source: grooves keep the wafer from planing on the slurry.
    keys = {"dry_gap": 25e-6, "tail_length": 5e-6}
    grooved = mixed_film(1e-3, 1.2, 2e4, 2e-3, **keys)
    plain = mixed_film(1e-3, 1.2, 2e4, 0.3, **keys)
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


def test_position_shares():
    np.testing.assert_allclose(
        slurry.position_share_rotary([0.0, 0.04, 0.19, 0.34, 0.5], 0.19, 0.15), [1, 1, 0.5, 0, 0]
    )
    np.testing.assert_allclose(
        slurry.position_share_linear([0.0, 0.09, 0.15, 0.3], 0.15), [1, 0.8, 0, 0], atol=1e-7
    )
    assert slurry.position_share_through(0.15, 0.3) == pytest.approx(0.25)
    assert slurry.position_share_through(0.15, 0.14) == 1.0


def deliver(groove_depth=0.5e-3, flow=250e-6 / 60, disk_speed=0.0, rate=250e-9 / 60, at=0.04):
    """A top-fed rotary polisher of common size."""
    film, share = 30e-6, 1 / 6  # of grooves 0.25 mm wide, 1.5 mm apart
    carried = slurry.carried_flow(1.8, 0.15, film, groove_depth, share)
    depth = slurry.liquid_depth(film, groove_depth, share)
    exchange = slurry.exchange_flow(carried, disk_radius=0.05, disk_speed=disk_speed, depth=depth)
    position = slurry.position_share_rotary(at, 0.19, 0.15)
    captured = slurry.captured_flow(flow, exchange, position_share=position)
    spent = slurry.slurry_consumption(rate, np.pi * 0.15**2)
    return slurry.balanced_fresh(float(spent * (1 / captured + 1 / carried)) if captured else np.inf, 0.8)


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
