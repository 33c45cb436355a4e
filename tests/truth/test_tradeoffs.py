"""Fronts against those known beforehand: published test functions, closed forms, a reference library, a grid of runs."""

import math
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.tuning.tradeoffs import front
from planish.tuning.tradeoffs.search import Axis, Outcome, search

EXAMPLES = Path(__file__).parents[2] / "examples"


def _zdt1(point):
    """ZDT1: Zitzler, Deb & Thiele, Evol. Comput. 8 (2000) 173 (read as quoted in the documentation of pagmo2)."""
    g = 1 + 9 * sum(point[1:]) / (len(point) - 1)
    return point[0], g * (1 - math.sqrt(point[0] / g))


def _found(axes, function, runs, seed=0, aims=2):
    tried = search(axes, aims, lambda points: [function(point) for point in points], runs=runs, seed=seed)
    assert len(tried) <= runs
    points = [point for point, outcome in tried.items() if outcome.counts]
    values = np.array([tried[point].values for point in points])
    kept = front.unbeaten(values)
    return [points[at] for at in kept], values[kept]


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_front_of_a_published_function(seed):
    """Its front is f2 = 1 - sqrt(f1); the area that it leaves below (1.1, 1.1) is 1.21 - 1/3."""
    from pymoo.indicators.hv import HV

    _, values = _found([Axis()] * 4, lambda point: Outcome(_zdt1(point)), 1500, seed)
    off = values[:, 1] - (1 - np.sqrt(values[:, 0]))
    assert (off >= -1e-12).all()  # nothing lies below the front
    assert np.median(off) < 0.01
    whole = 1.21 - 1 / 3
    assert 0.98 * whole < HV(ref_point=np.array([1.1, 1.1]))(values) < whole


def test_the_front_where_one_choice_of_a_list_is_best():
    """ZDT1 with a part that lifts the second aim: the front takes the part that lifts it by nothing."""
    lifts = (0.4, 0.0, 0.2)
    axes = [Axis(), Axis(count=11, ordered=True), Axis(count=3)]

    def function(point):
        first, second = _zdt1((point[0], point[1] / 10))
        return Outcome((first, second + lifts[int(point[2])]))

    points, values = _found(axes, function, 600)
    assert {point[2] for point in points if point[0] > 0.05} == {1.0}
    assert np.median(values[:, 1] - (1 - np.sqrt(values[:, 0]))) < 0.02


def test_the_front_along_a_limit():
    """Least x and least y outside the unit circle: the front is the circle's quarter, and has no knee."""

    def function(point):
        x, y = point
        return Outcome((x, y), max(1 - x * x - y * y, 0.0))

    _, values = _found([Axis(0, 2), Axis(0, 2)], function, 1500)
    radius = np.hypot(*values.T)
    assert (radius >= 1).all()
    assert np.median(radius) < 1.02
    assert np.ptp(values[:, 0]) > 0.9
    angle = np.linspace(0, np.pi / 2, 91)
    assert front.knee(np.stack([np.cos(angle), np.sin(angle)], axis=1)) is None


def test_points_without_an_outcome_are_passed_by():
    """Half of the range has no answer; the other half's front is found all the same."""
    points, _ = _found([Axis(), Axis()], lambda p: Outcome(None if p[0] < 0.5 else _zdt1(p)), 600)
    assert min(point[0] for point in points) == pytest.approx(0.5, abs=0.01)


def test_unbeaten_points_are_those_of_a_reference_library():
    from pymoo.util.nds.non_dominated_sorting import NonDominatedSorting

    rng = np.random.default_rng(3)
    for aims in (2, 3, 5):
        values = rng.random((300, aims))
        expected = NonDominatedSorting().do(values, only_non_dominated_front=True)
        assert front.unbeaten(values).tolist() == sorted(expected.tolist())


def test_the_knee_is_where_calculus_puts_it():
    """On f2 = 1 - sqrt(f1) the line between the ends is f1 + f2 = 1, and f1 - sqrt(f1) is least at f1 = 1/4."""
    first = np.linspace(0, 1, 401)
    values = np.stack([first, 1 - np.sqrt(first)], axis=1)
    assert first[front.knee(values)] == pytest.approx(0.25)
    stretched = values * [3.0, 250.0] + [-1.0, 40.0]  # other units, same knee
    assert front.knee(stretched) == front.knee(values)


def test_the_knee_of_three_aims_on_a_sphere():
    """The part of the unit sphere about (1, 1, 1) whose points trade three aims bulges most in its middle."""
    grid = np.linspace(0, np.pi / 2, 31)
    t, p = (axis.ravel() for axis in np.meshgrid(grid, grid))
    values = 1 - np.stack([np.sin(t) * np.cos(p), np.sin(t) * np.sin(p), np.cos(t)], axis=1)
    values = values[front.unbeaten(np.round(values, 12))]
    assert values[front.knee(values)] == pytest.approx(np.full(3, 1 - 1 / math.sqrt(3)), abs=0.03)


@pytest.fixture(scope="module")
def by_grid():
    setup = planish.load(EXAMPLES / "tungsten.toml")
    keys = ("recipe.step.main.zone_pressures", "recipe.step.main.platen_speed")
    found = planish.choose(
        setup,
        {keys[0]: "2..5 psi", keys[1]: "60..120 rpm"},
        ["rate", "evenness"],
        runs=200,
        points=100,
        workers=1,
    )
    grid = planish.study(setup, {keys[0]: "2..5 psi/8", keys[1]: "60..120 rpm/8"}, workers=1)
    figures = [aim.figure for aim in found.aims]
    signs = np.array([aim.sign for aim in found.aims])
    return (
        np.array([point.figures for point in found.points]) * signs,
        np.stack([grid.outcome(name) for name in figures], axis=1) * signs,
    )


def test_no_point_is_beaten_by_another_of_the_front(by_grid):
    points, _ = by_grid
    assert len(points) > 5
    assert front.unbeaten(points).tolist() == list(range(len(points)))


def test_no_point_is_beaten_by_a_grid_of_the_same_keys(by_grid):
    """A grid of 64 runs, a seventh of the range apart: none is better in both aims by a third of that; all are reached."""
    points, grid = by_grid
    wide = np.ptp(grid[front.unbeaten(grid)], axis=0)
    off = (points[:, None] - grid[None]) / wide  # by how much a run of the grid is better
    assert off.min(axis=2).max() < 0.05
    assert off.max(axis=2).min(axis=0).max() < 0.2
