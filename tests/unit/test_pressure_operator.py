"""The pad operator: its name, its store on disk, and what lies between two pad thicknesses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planish.physics.pressure.layers import ElasticLayer, belt_base, rigid_base
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator, operator_key

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
