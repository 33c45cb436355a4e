"""Nested variances: unbalanced data, depth, and what cannot be split."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.nested import nested_variance


def study(rng, sizes, sd=(4.0, 2.0, 1.0)):
    lot, wafer, y = [], [], []
    for i, wafers in enumerate(sizes):
        a = sd[0] * rng.normal()
        for j, sites in enumerate(wafers):
            b = sd[1] * rng.normal()
            lot += [i] * sites
            wafer += [j] * sites
            y += list(100 + a + b + sd[2] * rng.normal(size=sites))
    return {"lot": lot, "wafer": wafer}, np.array(y)


def test_unbalanced_estimates_are_unbiased():
    rng = np.random.default_rng(11)
    sizes = [rng.integers(1, 6, size=rng.integers(1, 5)) for _ in range(25)]
    found = np.array(
        [[c.variance for c in nested_variance(*study(rng, sizes)).components] for _ in range(300)]
    )
    error = found.std(axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(found.mean(axis=0) - [16.0, 4.0, 1.0]) < 4 * error)


def test_standard_errors_are_those_seen():
    rng = np.random.default_rng(12)
    out = [nested_variance(*study(rng, [[3] * 4] * 10)) for _ in range(400)]
    seen = np.std([[c.variance for c in o.components] for o in out], axis=0)
    said = np.mean([[c.standard_error for c in o.components] for o in out], axis=0)
    assert said == pytest.approx(seen, rel=0.15)


def test_one_way_by_hand():
    # groups (1, 3) and (5, 7): MS between 16, MS within 2, component (16 - 2)/2
    out = nested_variance({"group": [0, 0, 1, 1]}, [1.0, 3.0, 5.0, 7.0])
    assert [c.mean_square for c in out.components] == pytest.approx([16.0, 2.0])
    assert [c.variance for c in out.components] == pytest.approx([7.0, 2.0])
    assert out.components[0].f == pytest.approx(8.0)


def test_four_levels_and_labels_that_repeat_below():
    i = np.indices((3, 4, 2, 5)).reshape(4, -1)
    y = np.random.default_rng(2).normal(size=i.shape[1])
    out = nested_variance(dict(zip("abcd", i, strict=True)), y)
    assert [c.level for c in out.components] == ["a", "b", "c", "d"]
    assert [c.df for c in out.components] == [2, 9, 12, 96]
    assert sum(c.sum_of_squares for c in out.components) == pytest.approx(((y - y.mean()) ** 2).sum())


def test_a_negative_estimate_is_shown_and_said():
    out = nested_variance({"group": [0, 0, 1, 1]}, [1.0, 5.0, 2.0, 4.1])
    assert out.components[0].variance < 0
    assert out.components[0].sd == 0
    assert "negative" in out.notes[0]
    assert sum(c.percent for c in out.components) == pytest.approx(100)


def test_a_level_without_spread_is_refused():
    with pytest.raises(DataError, match="no spread of its own"):
        nested_variance({"lot": [1, 1, 2, 2], "wafer": [1, 1, 1, 1]}, [1.0, 2.0, 3.0, 4.0])
    with pytest.raises(DataError, match="labels for"):
        nested_variance({"lot": [1, 2]}, [1.0, 2.0, 3.0])
