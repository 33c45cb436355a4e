"""The series solver gives what ``solve_pressure`` gives, wafer after wafer, while everything drifts."""

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pressure.layers import ElasticLayer, rigid_base
from planish.physics.pressure.plate import plate_operator
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import PadOperator, build_pad_operator
from planish.physics.pressure.series import Interpolation, begin, series_step, solve_next, worn_pad
from planish.physics.pressure.solve import solve_pressure


@pytest.fixture(scope="module")
def parts():
    grid = pressure_grid(0.15, 0.1508, 0.1708, cells=24)
    thick = [2.0e-3, 1.7e-3, 1.4e-3]
    operators = [
        build_pad_operator(grid, (ElasticLayer(60e6, 0.3, h), ElasticLayer(3e6, 0.2, 1.3e-3)), rigid_base())
        for h in thick
    ]
    return grid, thick, operators, plate_operator(grid, 130e9, 0.28, 775e-6)


@pytest.mark.parametrize("ring", [0.0, 3e4])
def test_same_as_the_single_solver(parts, ring: float) -> None:
    grid, thick, operators, plate = parts
    load = np.full(grid.r.size, 2e4)
    pad = worn_pad(operators, plate, ring > 0)
    step = series_step(operators, plate, load, ring)
    nodes = step.load.size
    last = begin(step, np.full(nodes, 2e4))
    rng = np.random.default_rng(1)
    for i in range(12):
        h = 2.0e-3 - 5e-5 * i
        length = (5e-6 - 2e-7 * i) * (1 + 0.05 * rng.random(nodes))
        scale = 2e4 * (1 + 0.1 * rng.random(nodes))
        raised = 1e-7 * i * np.cos(np.arange(nodes) / 5)
        shares = Interpolation(np.array(thick)).at(h)
        before = last.inverse.copy()
        found = solve_next(step, pad.at(shares), shares, last, length, scale, raised)
        assert np.array_equal(last.inverse, before)
        last, got = found, found.pressure
        want = solve_pressure(
            PadOperator(
                grid, sum(w * o.compliance for w, o in zip(shares, operators, strict=True)), f"between {i}"
            ),
            plate,
            load,
            ring,
            asperity_length=_both(length, grid, ring),
            asperity_pressure=_both(scale, grid, ring),
            asperity_offset=_both(raised, grid, ring),
        )
        np.testing.assert_allclose(got[: grid.r.size], want.pressure, rtol=1e-8)
        if ring:
            np.testing.assert_allclose(got[grid.r.size :], want.ring_pressure, rtol=1e-8)
        assert grid.areas @ got[: grid.r.size] == pytest.approx(grid.areas @ load, rel=1e-10)


def test_what_stands_clear_of_a_worn_pad_comes_back_to_bear(parts) -> None:
    """Stiff summits under a pad worn by many of their lengths: its middle carries nothing, and carries again when it is flat."""
    grid, _, operators, plate = parts
    load = np.full(grid.r.size, 2e4)
    pad, step = worn_pad(operators[:1], plate, False), series_step(operators[:1], plate, load, 0.0)
    shares = np.ones(1)
    length, scale = np.full(grid.r.size, 1e-8), np.full(grid.r.size, 2e4)
    dip = -np.exp(-((grid.r / 0.02) ** 2))
    last, answers = begin(step, load), {}
    depths = [0.0, 2e-6, 5e-6, 10e-6, 20e-6, 40e-6, 80e-6, 30e-6, 5e-6, 0.0]
    for at, depth in enumerate(depths):
        last = solve_next(step, pad.at(shares), shares, last, length, scale, depth * dip)
        assert grid.areas @ last.pressure == pytest.approx(grid.areas @ load, rel=1e-10)
        answers[at] = last.pressure.copy()
    assert answers[6][0] < 1e-30
    assert answers[6].max() > 1.2 * load[0]
    np.testing.assert_allclose(answers[8], answers[2], rtol=1e-8)
    np.testing.assert_allclose(answers[9], answers[0], rtol=1e-8)


def _both(value, grid, ring):
    return value if ring else value[: grid.r.size]


def test_shares_of_the_worn_states() -> None:
    worn = np.array([0.0, 2e-4, 6e-4])
    np.testing.assert_allclose(Interpolation(worn).at(2e-4), [0, 1, 0], atol=1e-15)
    assert Interpolation(worn).at(3.3e-4) @ worn**2 == pytest.approx(3.3e-4**2, rel=1e-12)


def test_no_load_is_refused(parts) -> None:
    grid, _, operators, plate = parts
    with pytest.raises(ModelError, match="wafer load"):
        series_step(operators, plate, np.zeros(grid.r.size), 0.0)
