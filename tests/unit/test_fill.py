"""Dummy fill: it narrows the range of effective density, keeps its limits, and cannot be beaten by guessing."""

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pattern.effective_density import effective_density
from planish.predict.die.fill import propose_fill

CELL, LENGTH = 2e-4, 4e-3


def layout():
    return np.kron(np.random.default_rng(1).uniform(0.1, 0.6, (4, 4)), np.ones((16, 16)))


def test_range_falls_and_limits_hold():
    density = layout()
    closed = np.zeros_like(density)
    closed[10:20, 10:20] = 0.5
    got = propose_fill(density, CELL, LENGTH, ceiling=0.7, keep_out=closed)
    assert got.after < 0.1 * got.before
    assert np.all(got.fill >= 0)
    assert np.all(density + got.fill <= 0.7 + 1e-9)
    filled = got.fill > 0
    assert np.all((density + got.fill + closed)[filled] <= 1 + 1e-9)
    again = effective_density(density + got.fill, CELL, LENGTH)
    assert np.ptp(again) == pytest.approx(got.after, rel=1e-12)
    assert got.tiles[0, 3] == got.tiles[:, 3].max()


def test_plain_guesses_do_worse():
    density = layout()
    got = propose_fill(density, CELL, LENGTH, ceiling=0.7)
    for target in (0.3, 0.4, 0.5):
        guess = np.maximum(density, target)
        assert np.ptp(effective_density(guess, CELL, LENGTH)) > got.least_range - 2e-3  # what thrift gives up


def test_even_layout_needs_none():
    got = propose_fill(np.full((40, 40), 0.4), CELL, LENGTH)
    assert got.before < 1e-12
    assert got.added < 1e-3


def test_field_alone_counts_its_surroundings():
    got = propose_fill(layout(), CELL, LENGTH, edges="alone", outside=0.4, ceiling=0.7)
    assert got.after < got.before


def test_bad_input_is_refused():
    with pytest.raises(ModelError, match="ceiling"):
        propose_fill(layout(), CELL, LENGTH, ceiling=1.4)
    with pytest.raises(ModelError, match="keep-out"):
        propose_fill(layout(), CELL, LENGTH, keep_out=np.zeros((2, 2)))
