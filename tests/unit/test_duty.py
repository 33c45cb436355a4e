"""Shares of time between wafer and pad places: closed forms, reciprocity, agreement with sampled paths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planish.errors import ModelError
from planish.physics.motion import duty
from planish.physics.motion.linear import Linear
from planish.physics.motion.orbital import Orbital
from planish.physics.motion.rotary import Rotary

MACHINES = {
    "rotary": Rotary(centre_offset=0.19, platen_radius=0.385),
    "linear": Linear(belt_width=0.4, belt_length=2.4),
    "orbital": Orbital(orbit_radius=0.016, pad_radius=0.19),
}
DRIVES = {"rotary": (9.4, 8.7), "linear": (2.0, 3.1), "orbital": (62.8, 2.1)}
EDGES = {
    "rotary": np.linspace(0, 0.385, 78),
    "linear": np.linspace(0, 0.2, 41),
    "orbital": np.linspace(0, 0.19, 39),
}
NODES = np.linspace(0, 0.15, 31)


def place_on_pad(kind, x, y):
    return np.abs(y) if kind == "linear" else np.hypot(x, y)


@pytest.mark.parametrize("swing", [0.0, 0.012])
@pytest.mark.parametrize("kind", MACHINES)
def test_rows_sum_to_one_and_are_shares(kind, swing):
    machine = MACHINES[kind]
    W = duty.time_shares(machine.shape, NODES, EDGES[kind], machine.distance, swing)
    assert W.shape == (31, EDGES[kind].size - 1)
    assert W.min() >= -1e-15
    np.testing.assert_allclose(W.sum(axis=1), 1.0, atol=1e-14)


@pytest.mark.parametrize("kind", MACHINES)
def test_weights_agree_with_a_sampled_path(kind):
    machine = MACHINES[kind]
    rate = {"rotary": 8.7, "linear": 3.1, "orbital": 60.7}[kind]
    t = (np.arange(200_000) + 0.5) * (2 * np.pi / rate / 200_000)
    W = machine.wafer_to_pad_weights([0.03, 0.12], EDGES[kind])
    for row, r in zip(W, (0.03, 0.12), strict=True):
        x, y = machine.path(r, 0.2, t, *DRIVES[kind])
        counts, _ = np.histogram(place_on_pad(kind, x, y), EDGES[kind])
        np.testing.assert_allclose(row, counts / t.size, atol=2e-5)


@pytest.mark.parametrize("kind", ["rotary", "linear"])
def test_oscillation_average_against_a_fine_sum(kind):
    machine, swing = MACHINES[kind], 0.02
    phases = np.sin((np.arange(3000) + 0.5) * np.pi / 3000 - np.pi / 2)
    nodes = [0.0, 0.05, 0.13]
    summed = sum(
        duty.time_shares(machine.shape, nodes, EDGES[kind], machine.distance + swing * s) for s in phases
    )
    closed = duty.time_shares(machine.shape, nodes, EDGES[kind], machine.distance, swing)
    # The sum is the coarse one: at r = 0 it steps by one phase in 3000.
    np.testing.assert_allclose(closed, summed / 3000, atol=4e-4)
    np.testing.assert_allclose(closed[1:], (summed / 3000)[1:], atol=1e-5)


def covered(kind, R, swing):
    """Length [m] of the pad's circle (belt: of the two lines) at ``R`` [m] under the wafer, mean over the swing."""
    sines = np.sin((np.arange(2000) + 0.5) * np.pi / 2000 - np.pi / 2)[:, None]
    if kind == "linear":
        y = R + swing * sines
        return (2 * 2 * np.sqrt(np.maximum(0.15**2 - y**2, 0.0))).mean(axis=0)
    c = 0.016 if kind == "orbital" else 0.19 + swing * sines
    cosine = np.clip((R**2 + c**2 - 0.15**2) / (2 * R * c), -1, 1)
    return np.atleast_2d(2 * R * np.arccos(cosine)).mean(axis=0)


@pytest.mark.parametrize("swing", [0.0, 0.012])
@pytest.mark.parametrize("kind", MACHINES)
def test_reciprocity(kind, swing):
    """Area that rings and bins share, seen from the wafer and seen from the pad, is one number."""
    swing = swing if kind != "orbital" else 0.0
    place = MACHINES[kind].distance, swing
    shape = MACHINES[kind].shape
    edges, rings = EDGES[kind], np.linspace(0, 0.15, 13)
    area = duty.overlap_areas(shape, rings, edges, *place)
    np.testing.assert_allclose(area.sum(axis=1), np.pi * np.diff(rings**2), rtol=1e-12)
    # From the wafer: pointwise shares integrated over a ring by Gauss-Legendre.
    u, w = np.polynomial.legendre.leggauss(60)
    low, high = rings[5], rings[6]
    r = low + (high - low) / 2 * (1 + u)
    shares = duty.time_shares(shape, r, edges, *place)
    from_wafer = ((high - low) / 2 * w * 2 * np.pi * r) @ shares
    np.testing.assert_allclose(area[5], from_wafer, atol=2e-3 * area[5].max())
    # From the pad: pointwise duty integrated over a bin.
    k = int(np.argmax(area.sum(axis=0)))
    R = edges[k] + (edges[k + 1] - edges[k]) / 2 * (1 + u)
    half = (edges[k + 1] - edges[k]) / 2
    bin_area = (half * w * covered(kind, R, swing)).sum()
    assert area[:, k].sum() == pytest.approx(bin_area, rel=1e-4)


@pytest.mark.parametrize("kind", MACHINES)
def test_pad_view_is_consistent(kind):
    edges, rings = EDGES[kind], np.linspace(0, 0.15, 16)
    view = MACHINES[kind].pad_to_wafer_weights(rings, edges, *DRIVES[kind])
    sums = view.weights.sum(axis=1)
    assert np.all((np.abs(sums - 1) < 1e-12) | (sums == 0))
    assert np.all((view.duty > 0) == (sums > 0))
    # Friction power by pad bins equals friction power by wafer rings (p = 1): exchange of order of summation.
    pad_area = 2 * 2.4 * np.diff(edges) if kind == "linear" else np.pi * np.diff(edges**2)
    from_pad = (pad_area * view.duty * (view.weights * view.speed).sum(axis=1)).sum()
    mid = (rings[:-1] + rings[1:]) / 2
    speed = MACHINES[kind].mean_speed(mid, *DRIVES[kind])
    from_wafer = (np.pi * np.diff(rings**2) * speed).sum()
    assert from_pad == pytest.approx(from_wafer, rel=2e-3)


@pytest.mark.parametrize("kind", MACHINES)
def test_speed_between_matches_how_fast_the_path_grows(kind):
    machine = MACHINES[kind]
    t = np.linspace(0, 3, 50)
    x, y = machine.path(0.11, 0.0, t, *DRIVES[kind])
    found = machine.speed_between(0.11, place_on_pad(kind, x, y), *DRIVES[kind])
    if kind == "linear":  # either side of the belt: mean of the two
        np.testing.assert_allclose(found, (along(t, kind) + along(-t, kind)) / 2, rtol=1e-8)
    else:
        np.testing.assert_allclose(found, along(t, kind), rtol=1e-8)


def along(t, kind):
    """Speed of a wafer point along its path on the pad, by differences of third order."""
    h = 1e-5
    one, two, three, four = (
        np.array(MACHINES[kind].path(0.11, 0.0, t + k * h, *DRIVES[kind])) for k in (-2, -1, 1, 2)
    )
    return np.hypot(*((one - 8 * two + 8 * three - four) / (12 * h)))


@given(r=st.floats(0, 0.15), d=st.floats(0.16, 0.22), swing=st.floats(0, 0.02))
def test_any_rotary_row_sums_to_one(r, d, swing):
    machine = Rotary(centre_offset=d, platen_radius=0.4, oscillation_amplitude=swing)
    W = machine.wafer_to_pad_weights([r], EDGES["rotary"] * 1.05)
    assert W.min() >= -1e-12
    assert W.sum() == pytest.approx(1.0, abs=1e-13)


def test_refusals():
    for edges in (np.linspace(0, 0.33, 10), np.linspace(0.1, 0.4, 10)):
        with pytest.raises(ModelError, match="pad coordinates under the wafer"):
            MACHINES["rotary"].wafer_to_pad_weights(NODES, edges)
    with pytest.raises(ModelError, match="increasing"):
        MACHINES["rotary"].wafer_to_pad_weights(NODES, [0.0, 0.2, 0.1])
    swinging = Rotary(centre_offset=0.1, platen_radius=1.0, oscillation_amplitude=0.2)
    with pytest.raises(ModelError, match="oscillation amplitude"):
        swinging.wafer_to_pad_weights([0.0], [0.0, 1.0])
    with pytest.raises(ModelError, match="belt length"):
        Linear(belt_width=0.4, belt_length=0.0).pad_to_wafer_weights([0.0, 0.15], [0.0, 0.2])


def test_pad_edge_exactly_at_the_wafer_reach_is_accepted():
    W = MACHINES["rotary"].wafer_to_pad_weights([0.15], np.linspace(0.19 - 0.15, 0.19 + 0.15, 20))
    assert W.sum() == pytest.approx(1.0, abs=1e-15)
