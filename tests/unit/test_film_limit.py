"""A film that Newton's method does not find at once is followed as the pad moves faster, up to where its branch turns."""

from __future__ import annotations

import numpy as np
import pytest

from planish.physics.slurry.film import RINGS, SPOKES, film_pressure
from planish.physics.slurry.film_balance import Flow
from planish.physics.slurry.film_limit import film_limit
from planish.physics.slurry.gap import Gap


class Bent:
    """In place of a balance: y at rest 0.5, and y^2 = 0.25 - part * reach in every cell, so the branch turns at y = 0."""

    def __init__(self, part: float, reach: float) -> None:
        self.left = 0.25 - part * reach

    def at(self, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return y * y - self.left, 2.0 * y

    def step(self, residual: np.ndarray, bands: np.ndarray) -> np.ndarray:
        with np.errstate(divide="ignore", invalid="ignore"):
            return -residual / bands


def bent(reach: float):
    return lambda part: Bent(part, reach)


REST = np.full((4, 3), 0.5)


@pytest.mark.parametrize("reach", [0.3, 0.7, 2.0, 9.0])
def test_the_turn_of_a_branch_that_is_known(reach: float) -> None:
    found = film_limit(bent(reach), REST)  # type: ignore[arg-type]
    assert found.part == pytest.approx(0.25 / reach, rel=1e-4)
    assert np.abs(found.y).max() < 5e-3


@pytest.mark.parametrize("reach", [0.01, 0.2, 0.249])
def test_a_branch_that_gets_there_is_found_at_all_the_speed(reach: float) -> None:
    found = film_limit(bent(reach), REST)  # type: ignore[arg-type]
    assert found.part == 1.0
    assert found.y == pytest.approx(np.full_like(REST, np.sqrt(0.25 - reach)), abs=1e-5)


def test_from_a_turn_nearby_it_is_the_same_in_fewer_passes() -> None:
    before = film_limit(bent(0.70), REST)  # type: ignore[arg-type]
    whole = film_limit(bent(0.71), REST)  # type: ignore[arg-type]
    short = film_limit(bent(0.71), REST, (before.y + 1e-3, before.part))  # type: ignore[arg-type]
    assert short.part == pytest.approx(whole.part, rel=1e-4)
    assert short.passes < whole.passes


def test_a_turn_nearby_that_is_there_no_more_is_no_hindrance() -> None:
    found = film_limit(bent(0.2), REST, (np.zeros_like(REST), 0.99))  # type: ignore[arg-type]
    assert found.part == 1.0


def test_a_branch_that_ends_at_once_leaves_the_pad_at_rest() -> None:
    found = film_limit(bent(100.0), REST)  # type: ignore[arg-type]
    assert found.part == 0.0
    assert np.array_equal(found.y, REST)


def test_a_film_under_an_edge_hardly_pressed_is_found_at_all_the_speed() -> None:
    """Liquid carries nearly all there: from a pad at rest it is too far for one search of Newton's method."""
    gap = Gap(height=1.0685e-5, roughness=5.2255e-6, tail=1.8886e-6)
    load = np.full(RINGS, 2250.0)
    load[-7:] = 2590.0, 2920.0, 3300.0, 2690.0, 850.0, 140.0, 130.0
    flow = Flow(1.2e-3, 0.4728, 0.564)
    found = film_pressure(gap, flow, 0.15, load, 112.0)
    assert found.log_solid.shape == (RINGS, SPOKES)
    assert found.followed == 1.0
    assert found.log_solid.min() < -20.0
    again = film_pressure(gap, flow, 0.15, load, 112.0, found)
    assert again.share == pytest.approx(found.share, rel=1e-6)
