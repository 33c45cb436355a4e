"""Dishing of wide oxide trenches against what was published."""

import numpy as np

from planish.experiments.trench_dishing import dishing, rows


def test_dishing_with_and_without_the_additive() -> None:
    for row in rows()[:4]:
        assert abs(row.off_percent) < 25, row


def test_wider_trenches_dish_only_some_more_and_the_threshold_caps() -> None:
    for row in rows()[4:]:
        assert 1.1 < row.predicted < 1.5  # measured 1.43 and 1.15
    assert np.all(dishing("with") < 0.5 * dishing("without"))
