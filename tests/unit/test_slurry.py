"""Slurry: regime, delivery balances and their limits."""

from __future__ import annotations

import numpy as np
import pytest

from planish.physics.slurry import delivery as slurry
from planish.physics.slurry import film


def test_regime_names():
    assert film.regime([1.0, 0.9, 0.5, 0.1, 0.0]).tolist() == [
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
    whole = float(spent * (1 / captured + 1 / carried)) if captured else np.inf
    return slurry.balanced_fresh(lambda fresh: whole * fresh * 1.05 / (0.8 * (fresh + 0.25)))


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
