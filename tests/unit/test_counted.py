"""Figures of a wafer do not hang on where nodes, times and rings fall: the disc that counts, and when a step ends."""

from __future__ import annotations

from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

from planish.physics.pressure.radial_grid import pressure_grid
from planish.predict.raised import edge_extreme
from planish.predict.wafer import polish as wafer_module
from planish.predict.wafer.counted import counted, cubic
from planish.predict.wafer.films import polish_stack, read_at, refined
from planish.predict.wafer.polish import polish
from planish.setup.load import load

EXAMPLES = Path(__file__).parents[2] / "examples"
RIM = 0.15


@pytest.fixture(scope="module")
def grid():
    return pressure_grid(RIM, cells=96)


@pytest.mark.parametrize("disc", [0.05, 0.075, 0.1453, 0.147, 0.1495, RIM])
def test_means_and_spreads_are_those_of_the_disc_itself(grid, disc: float) -> None:
    """Of r^2 over a disc of radius d: mean d^2/2, standard deviation d^2/sqrt(12), half range d^2/2."""
    found = counted(grid.r, grid.areas, disc)
    square = grid.r**2
    assert found.mean(square) == pytest.approx(disc**2 / 2, rel=3e-3)
    assert found.sigma(square) == pytest.approx(disc**2 / np.sqrt(12), rel=6e-3)
    assert found.half_range(square) == pytest.approx(disc**2 / 2, rel=4e-3)
    assert found.mean(np.full(grid.r.size, 3.0)) == pytest.approx(3.0, rel=1e-12)
    assert found.shares.sum() == pytest.approx(1.0, rel=1e-12)
    assert np.all(found.shares > 0)


def test_no_figure_jumps_as_a_node_passes_the_rim(grid) -> None:
    """Nodes cut off whole made steps of half a node's worth; here a hair of the radius is worth a hair."""
    node = float(grid.r[np.searchsorted(grid.r, 0.147)])
    edge = 1.0 + 0.1 * np.exp((grid.r - RIM) / 2e-3)
    below, above = (counted(grid.r, grid.areas, node + hair) for hair in (-1e-9, 1e-9))
    whole = np.where(grid.r <= node - 1e-9, grid.areas, 0.0), np.where(grid.r <= node + 1e-9, grid.areas, 0.0)
    step = float(np.diff([weights @ edge / weights.sum() for weights in whole])[0])
    assert abs(above.mean(edge) - below.mean(edge)) < 0.05 * abs(step)
    assert above.sigma(edge) == pytest.approx(below.sigma(edge), rel=2e-3)
    assert above.half_range(edge) == pytest.approx(below.half_range(edge), rel=1e-5)


def test_a_cubic_is_read_as_it_is() -> None:
    nodes = np.sort(np.random.default_rng(1).uniform(0, 1, 12))
    at = np.array([0.05, 0.5, 0.97, 1.02])
    np.testing.assert_allclose(cubic(nodes, at) @ (nodes**3 - nodes), at**3 - at, rtol=1e-9, atol=1e-12)


def test_the_edge_s_top_is_found_between_nodes(grid) -> None:
    """A bump of 3 % at 7.3 mm from the rim, 2.5 mm wide."""
    bump = 1.0 + 0.03 * np.exp(-(((RIM - grid.r - 7.3e-3) / 2.5e-3) ** 2))
    height, place = edge_extreme(grid.r, grid.areas, bump[None, :], RIM, 3e-3)
    assert height[0] == pytest.approx(3.0, rel=0.01)
    assert place[0] == pytest.approx(7.3e-3, abs=5e-5)
    assert np.isnan(edge_extreme(grid.r, grid.areas, bump[None, :], RIM, 20e-3)[0][0])


def test_a_stop_falls_where_films_clear_not_where_times_stand() -> None:
    """A film that is bare within 0.1 s over all points, between two times 10 s apart; then nothing is left to remove."""
    thickness = np.linspace(99.9e-9, 100.1e-9, 50)[None, :]
    times = np.linspace(0.0, 320.0, 33)
    curve = np.repeat(1e-9 * times[:, None], 50, axis=1)
    removed = polish_stack(thickness, [curve], times)[0].sum(axis=0).mean(axis=1)
    target = 99.99e-9
    coarse = float(np.interp(target, removed, times))
    finer = refined(times, removed, target)
    amounts = polish_stack(thickness, [read_at(curve, times, finer)], finer)[0].sum(axis=0).mean(axis=1)
    assert float(np.interp(target, amounts, finer)) == pytest.approx(100.0, abs=0.3)
    assert finer[0] == times[0]
    assert finer[-1] == times[-1]
    assert np.all(np.diff(finer) > 0)
    late = np.interp(target, amounts, finer)
    assert abs(late - 100.0) <= abs(coarse - 100.0)


@pytest.mark.parametrize(
    ("name", "finer", "keys"),
    [
        ("linear", "cells", ("edge_extreme_percent", "edge_extreme_from_edge_mm", "edge_rate_percent")),
        ("rotary", "cells", ("edge_extreme_percent", "edge_extreme_from_edge_mm", "edge_rate_percent")),
        ("tungsten", "times", ("wiwnu_sigma_percent", "wiwnu_range_percent", "edge_rate_percent")),
        ("sti", "times", ("mean_removal_rate_nm_per_min", "time_s")),
    ],
)
def test_doubling_what_is_solved_on_moves_an_example_by_less_than_one_in_a_hundred(
    name: str, finer: str, keys: tuple[str, ...]
) -> None:
    """Before, the belt's edge moved by 5 to 16 %, and the evenness of tungsten by 24 %."""
    rig = load(EXAMPLES / f"{name}.toml").rig
    base = polish(rig).summary()
    if finer == "cells":
        fine = polish(rig, cells=2 * wafer_module.CELLS).summary()
    else:
        with patch.object(wafer_module, "TIMES", 2 * wafer_module.TIMES - 1):
            fine = polish(rig).summary()
    for key in keys:
        assert base[key] == pytest.approx(fine[key], rel=0.01), key
