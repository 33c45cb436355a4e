"""The whole wafer: balance, one-sidedness, the ring's effect, warm starts, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planish.errors import ModelError
from planish.physics.pressure.layers import ElasticLayer, belt_base, rigid_base
from planish.physics.pressure.plate import bearing_lift, plate_operator, zone_load
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure

RADIUS = 0.150
MEAN = 3 * 6894.757
SUMMITS = {"asperity_length": 5e-6, "asperity_pressure": 2e6}
STACK = (ElasticLayer(100e6, 0.3, 1.3e-3), ElasticLayer(5e6, 0.3, 1.3e-3))


def wafer(cells: int = 120, stack: tuple[ElasticLayer, ...] = STACK):
    grid = pressure_grid(RADIUS, RADIUS + 0.75e-3, RADIUS + 25.75e-3, cells=cells)
    pad = build_pad_operator(grid, stack, rigid_base())
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    load = zone_load(grid.r, [0.05, 0.10, 0.13, RADIUS], [MEAN] * 4, 2e-3)
    return grid, pad, plate, load


@pytest.fixture(scope="module")
def default():
    return wafer()


@pytest.fixture(scope="module")
def twice():
    return wafer(240)


@pytest.mark.parametrize("ratio", [0.0, 0.5, 1.0, 1.5, 2.0, 3.0])
def test_doubling_the_cells_changes_nothing_that_matters(default, twice, ratio: float) -> None:
    profiles = []
    for grid, pad, plate, load in (default, twice):
        found = solve_pressure(pad, plate, load, ratio * MEAN, **SUMMITS)
        assert found.balance_error < 1e-10
        assert grid.areas @ found.pressure == pytest.approx(math.pi * RADIUS**2 * MEAN, rel=1e-9)
        profiles.append((grid.r, found.pressure / MEAN))
    (r, coarse), (r2, fine) = profiles
    # p as a function of theta, r = a sin(theta), is smooth up to the edge.
    at = np.interp(np.arcsin(r / RADIUS), np.arcsin(r2 / RADIUS), fine)
    beyond = r < RADIUS - 0.5e-3
    assert np.abs(at - coarse)[beyond].max() < 5e-4  # the bar is 5e-3


def test_light_ring_makes_a_fast_edge_with_a_trough(default) -> None:
    grid, pad, plate, load = default
    for ratio in (0.0, 0.5):
        found = solve_pressure(pad, plate, load, ratio * MEAN, **SUMMITS)
        near = found.pressure / MEAN * (grid.r > RADIUS - 15e-3) + 9.0 * (grid.r <= RADIUS - 15e-3)
        trough = int(np.argmin(near))
        assert found.pressure[-1] > 1.1 * MEAN
        assert 3.4e-3 < RADIUS - grid.r[trough] < 4.6e-3
        assert near[trough] < 0.97


def test_heavy_ring_makes_a_slow_edge_with_a_crest(default) -> None:
    grid, pad, plate, load = default
    for ratio in (2.0, 3.0):
        found = solve_pressure(pad, plate, load, ratio * MEAN, **SUMMITS)
        crest = int(np.argmax(found.pressure * (grid.r > RADIUS - 15e-3)))
        assert found.pressure[-1] < 0.9 * MEAN
        assert 2.6e-3 < RADIUS - grid.r[crest] < 4e-3  # of the node
        assert found.pressure[crest] > 1.03 * MEAN


def test_edge_profiles_are_smooth_and_ordered_by_ring_pressure(default) -> None:
    _grid, pad, plate, load = default
    last = math.inf
    for ratio in (0.5, 1.0, 1.5, 2.0, 3.0):
        p = solve_pressure(pad, plate, load, ratio * MEAN, **SUMMITS).pressure / MEAN
        assert p[-1] < last
        last = p[-1]
        turns = np.count_nonzero(np.diff(np.sign(np.diff(p[np.abs(p - 1) > 1e-3]))))
        assert turns <= 3  # a crest, a trough and one echo, no wiggle from node to node


def test_a_ring_that_cannot_press_leaves_the_wafer_alone(default) -> None:
    grid, pad, plate, load = default
    bare = pressure_grid(RADIUS)
    alone = solve_pressure(
        build_pad_operator(bare, STACK, rigid_base()),
        plate_operator(bare, 130e9, 0.28, 775e-6),
        load,
        **SUMMITS,
    )
    lifted = solve_pressure(pad, plate, load, 0.0, **SUMMITS)
    np.testing.assert_allclose(lifted.pressure, alone.pressure, rtol=1e-6)
    barely = solve_pressure(pad, plate, load, 1e-3, **SUMMITS)
    np.testing.assert_allclose(barely.pressure, alone.pressure, rtol=1e-5)
    assert np.all(lifted.ring_pressure == 0)
    assert grid.ring_r.shape == lifted.ring_pressure.shape


def test_a_softer_stack_evens_the_wafer(default) -> None:
    """Common practice, no source: a softer sub-pad evens the wafer (here zones that differ by 20 %)."""
    grid, _, plate, _ = default
    load = zone_load(grid.r, [0.05, 0.10, 0.13, RADIUS], [MEAN, 1.2 * MEAN, MEAN, MEAN], 2e-3)
    uneven = []
    for modulus in (2e6, 10e6, 50e6):
        pad = build_pad_operator(grid, (STACK[0], ElasticLayer(modulus, 0.3, 1.3e-3)), rigid_base())
        wavy = np.full(grid.r.size, 0.0) + 1e-6 * np.cos(2 * np.pi * grid.r / 0.03)
        p = solve_pressure(pad, plate, load, MEAN, foundation_offset=wavy, **SUMMITS).pressure
        inner = grid.r < 0.14
        uneven.append(np.std(p[inner]) / np.mean(p[inner]))
    assert uneven[0] < uneven[1] < uneven[2]


def test_warm_start_gives_the_cold_answer(default) -> None:
    _, pad, plate, load = default
    warm = solve_pressure(pad, plate, load, MEAN, **SUMMITS)
    for k in range(1, 6):
        step = {"asperity_length": 5e-6 * (1 + 0.02 * k), "asperity_pressure": 2e6 * (1 - 0.03 * k)}
        warm = solve_pressure(pad, plate, load * (1 + 0.01 * k), 1.1 * MEAN, start=warm, **step)
        cold = solve_pressure(pad, plate, load * (1 + 0.01 * k), 1.1 * MEAN, **step)
        np.testing.assert_allclose(warm.pressure, cold.pressure, rtol=1e-10)
        np.testing.assert_allclose(warm.ring_pressure, cold.ring_pressure, rtol=1e-10)


def test_warm_start_across_a_ring_that_comes_and_goes(default) -> None:
    _, pad, plate, load = default
    found = None
    for ring in (0.0, 2.0, 0.0, 1.0):
        found = solve_pressure(pad, plate, load, ring * MEAN, start=found, **SUMMITS)
        cold = solve_pressure(pad, plate, load, ring * MEAN, **SUMMITS)
        np.testing.assert_allclose(found.pressure, cold.pressure, rtol=1e-10)


def test_factors_of_another_solve_are_not_taken_for_ones_own(default) -> None:
    _, pad, plate, load = default
    first = solve_pressure(pad, plate, load, MEAN, **SUMMITS)
    solve_pressure(pad, plate, load * 3, 3 * MEAN, **SUMMITS)  # overwrites the buffer
    again = solve_pressure(pad, plate, load, MEAN, start=first, **SUMMITS)
    np.testing.assert_allclose(again.pressure, first.pressure, rtol=1e-11)


def test_summit_law_holds_at_each_node(default) -> None:
    grid, pad, plate, load = default
    rng = np.random.default_rng(5)
    length = 5e-6 * (1 + 0.1 * rng.random(grid.r.size))
    scale = 2e6 * (1 + 0.2 * rng.random(grid.r.size))
    taller = 1e-6 * np.sin(grid.r * 40)
    found = solve_pressure(
        pad, plate, load, MEAN, asperity_length=length, asperity_pressure=scale, asperity_offset=taller
    )
    np.testing.assert_allclose(found.pressure, scale * np.exp(-(found.gap - taller) / length), rtol=1e-10)
    # the same gap from the elastic side: pad surface below wafer
    everywhere = np.concatenate([found.pressure, found.ring_pressure])
    pushed = (pad.compliance @ everywhere)[: grid.r.size]
    np.testing.assert_allclose(pushed - found.approach - found.deflection, found.gap, atol=1e-13)


def test_taller_summits_take_more_load_where_the_wafer_cannot_bend_to_them(default) -> None:
    grid, pad, plate, load = default
    taller = np.where(grid.r < 0.05, 1e-6, 0.0)
    found = solve_pressure(pad, plate, load, MEAN, asperity_offset=taller, **SUMMITS)
    near_inside, near_outside = (grid.r > 0.045) & (grid.r < 0.05), (grid.r > 0.05) & (grid.r < 0.055)
    assert found.pressure[near_inside].min() > 1.005 * MEAN
    assert found.pressure[near_outside].max() < 0.995 * MEAN
    # The membrane's even pressure bends the thin wafer to whatever is longer than its bending length.
    assert found.pressure[grid.r < 0.01].mean() == pytest.approx(MEAN, rel=1e-3)
    raised = solve_pressure(pad, plate, load, MEAN, foundation_offset=taller, **SUMMITS)
    np.testing.assert_allclose(raised.pressure[grid.r < 0.14], found.pressure[grid.r < 0.14], rtol=1e-3)


@settings(max_examples=30)
@given(
    moduli=st.lists(st.floats(0.2e6, 2e9), min_size=1, max_size=3),
    thickness=st.floats(0.4e-3, 4e-3),
    poisson=st.floats(0.0, 0.49),
    mean=st.floats(500.0, 70e3),
    ring=st.floats(0.0, 4.0),
    length=st.floats(1e-7, 3e-5),
    scale=st.floats(1e5, 1e8),
    zones=st.lists(st.floats(0.3, 2.0), min_size=3, max_size=3),
)
def test_any_sane_stack_is_solved(moduli, thickness, poisson, mean, ring, length, scale, zones) -> None:
    grid = pressure_grid(RADIUS, RADIUS + 0.5e-3, RADIUS + 0.02, cells=48)
    pad = build_pad_operator(grid, [ElasticLayer(e, poisson, thickness) for e in moduli], rigid_base())
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    load = zone_load(grid.r, [0.06, 0.12, RADIUS], mean * np.array(zones), 3e-3)
    found = solve_pressure(pad, plate, load, ring * mean, asperity_length=length, asperity_pressure=scale)
    assert found.converged
    assert np.all(found.pressure >= 0)
    assert np.all(found.ring_pressure >= 0)
    assert found.balance_error <= 1e-9


def test_belt_on_a_bearing_and_its_zones() -> None:
    grid = pressure_grid(RADIUS, RADIUS + 0.75e-3, RADIUS + 25.75e-3)
    base = belt_base(200e9, 0.3, 0.5e-3, 2e4, 5e9)
    pad = build_pad_operator(grid, STACK, base)
    plate = plate_operator(grid, 130e9, 0.28, 775e-6)
    load = np.full(grid.r.size, MEAN)
    even = bearing_lift(grid.r, [0.05, 0.10, 0.18], [1e4, 1e4, 1e4], base)
    np.testing.assert_allclose(even, 0, atol=1e-18)
    lift = bearing_lift(grid.r, [0.05, 0.10, 0.18], [3e4, 1e4, 1e4], base)
    plain = solve_pressure(pad, plate, load, MEAN, **SUMMITS)
    zoned = solve_pressure(pad, plate, load, MEAN, foundation_offset=lift, **SUMMITS)
    assert zoned.balance_error < 1e-10
    assert lift[0] == pytest.approx(
        2e4 * (1 - (5 / 18) ** 2) / 5e9, rel=0.01
    )  # away from walls: pressure / stiffness
    change = zoned.pressure - plain.pressure
    assert change[(grid.r > 0.035) & (grid.r < 0.05)].max() > 20
    assert change[(grid.r > 0.05) & (grid.r < 0.065)].min() < -20
    assert np.abs(change[grid.r > 0.12]).max() < 20


@pytest.mark.parametrize(
    "change",
    [
        {"load": np.zeros(120)},
        {"load": np.full(120, np.nan)},
        {"load": np.ones(7)},
        {"ring_pressure": -1.0},
        {"ring_pressure": math.nan},
        {"asperity_length": 0.0},
        {"asperity_pressure": -1.0},
        {"asperity_length": np.ones(5)},
        {"asperity_offset": math.inf},
    ],
)
def test_impossible_values_are_refused(default, change: dict) -> None:
    _, pad, plate, load = default
    values = {"load": load, "ring_pressure": MEAN, **SUMMITS, **change}
    with pytest.raises(ModelError, match="must be"):
        solve_pressure(pad, plate, values.pop("load"), values.pop("ring_pressure"), **values)


def test_plate_of_another_grid_is_refused(default, twice) -> None:
    with pytest.raises(ModelError, match="on the pad's grid"):
        solve_pressure(default[1], twice[2], default[3], **SUMMITS)
