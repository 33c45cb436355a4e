"""The pad operator: its name, its store on disk, and what lies between two pad thicknesses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.layers import ElasticLayer, belt_base, rigid_base
from planish.physics.pressure import (
    build_pad_operator,
    interpolate_operators,
    operator_key,
    plate_operator,
    pressure_grid,
    solve_pressure,
)

GRID = pressure_grid(0.150, 0.15075, 0.17575, cells=60)
SUB = ElasticLayer(5e6, 0.3, 1.3e-3)


def worn(thickness: float):
    return build_pad_operator(GRID, [ElasticLayer(100e6, 0.3, thickness), SUB], rigid_base())


def test_key_names_the_content() -> None:
    stack = [ElasticLayer(100e6, 0.3, 1.3e-3), SUB]
    key = operator_key(GRID, stack, rigid_base())
    assert key == operator_key(GRID, list(stack), rigid_base()) == worn(1.3e-3).key
    others = {
        operator_key(pressure_grid(0.150, 0.15075, 0.17575, cells=61), stack, rigid_base()),
        operator_key(pressure_grid(0.150, cells=60), stack, rigid_base()),
        operator_key(GRID, stack[::-1], rigid_base()),
        operator_key(GRID, [ElasticLayer(100e6 * (1 + 1e-15), 0.3, 1.3e-3), SUB], rigid_base()),
        operator_key(GRID, stack, belt_base(2e11, 0.3, 5e-4, 1e4, 1e9)),
    }
    assert len(others) == 5
    assert key not in others


def test_operator_is_positive_and_reciprocal() -> None:
    """The work of one smooth pressure through another's displacement is the same either way round."""
    pad = worn(1.3e-3)
    assert np.linalg.eigvals(pad.compliance).real.min() > 0
    one, other = np.cos(60 * GRID.nodes), GRID.nodes * np.exp(-10 * GRID.nodes)
    areas = GRID.all_areas
    there, back = (areas * one) @ pad.compliance @ other, (areas * other) @ pad.compliance @ one
    assert there == pytest.approx(back, rel=2e-5)


def test_grid_cells_hold_their_areas_and_nodes() -> None:
    for cells in (16, 60, 120, 240):
        grid = pressure_grid(0.150, 0.1505, 0.18, cells=cells)
        for nodes, edges, areas, inner, outer in (
            (grid.r, grid.wafer_edges, grid.areas, 0.0, 0.150),
            (grid.ring_r, grid.ring_edges, grid.ring_areas, 0.1505, 0.18),
        ):
            assert np.all(areas > 0)
            assert areas.sum() == pytest.approx(math.pi * (outer**2 - inner**2), rel=1e-12)
            assert np.all(edges[:-1] < nodes)
            assert np.all(nodes < edges[1:])
    default = pressure_grid(0.150)
    assert np.diff(default.wafer_edges).min() > 10e-6


def test_thickness_between_operators() -> None:
    """Over a wear of 0.5 mm each further operator cuts the error of p tenfold: 1e-4 with four, 1e-5 with five."""
    plate = plate_operator(GRID, 130e9, 0.28, 775e-6)
    load = np.full(GRID.r.size, 2e4)
    summits = {"asperity_length": 5e-6, "asperity_pressure": 2e6}
    between = (0.82e-3, 0.95e-3, 1.2e-3)
    exact = [solve_pressure(worn(h), plate, load, 5e4, **summits).pressure for h in between]
    errors = []
    for count in (3, 4, 5):
        points = np.cos(np.pi * (np.arange(count) + 0.5) / count)
        at = 1.05e-3 - 0.25e-3 * points / points[0]
        known = [worn(h) for h in at]
        found = [
            solve_pressure(interpolate_operators(known, at, h), plate, load, 5e4, **summits).pressure
            for h in between
        ]
        errors.append(max(float(np.abs(p / q - 1).max()) for p, q in zip(found, exact, strict=True)))
    assert errors[1] < errors[0] / 5
    assert errors[2] < errors[1] / 5
    assert errors[1] < 2e-4
    assert errors[2] < 2e-5


def test_operators_that_do_not_go_together_are_refused() -> None:
    one, other = worn(1.0e-3), worn(1.3e-3)
    same = interpolate_operators([one, other], [1.0e-3, 1.3e-3], 1.3e-3)
    np.testing.assert_allclose(same.compliance, other.compliance, rtol=1e-12)
    away = build_pad_operator(pressure_grid(0.150, cells=60), [ElasticLayer(1e8, 0.3, 1e-3)], rigid_base())
    for operators, at, h in (
        ([one], [1.0e-3], 1.0e-3),
        ([one, other], [1.0e-3, 1.0e-3], 1.0e-3),
        ([one, other], [1.0e-3, 1.3e-3], 1.4e-3),
        ([one, away], [1.0e-3, 1.3e-3], 1.1e-3),
    ):
        with pytest.raises(ModelError, match="must be"):
            interpolate_operators(operators, at, h)
