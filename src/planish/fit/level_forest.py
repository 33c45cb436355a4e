"""A level that follows the rate of one regime over time and counters, and a forest on what it leaves.

The forest learns errors that the level makes on wafers it does not know (left
out one by one), as it will meet them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.fit.gaussian_process import fit_process

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Geurts, Ernst & Wehenkel 2006, Mach. Learn. 63, 3: extremely randomised trees (read as quoted in the "
    "scikit-learn user guide); "
    "scikit-learn",
)

TREES = 200
LEAF = 3
SHARE = 0.3  # of the columns, tried at each split


def level_and_forest(
    level: Array, trees: Array, rate: Array, level_new: Array, trees_new: Array, seed: int
) -> tuple[Array, Array]:
    """Return guesses for known wafers, each left out, and for new ones.

    Parameters
    ----------
    level, trees
        Columns of the known wafers for the level (the time first) and for the forest, (known, columns).
    rate
        Measured, (known,).
    level_new, trees_new
        Columns of the new wafers, (new, columns).
    seed
        Of the trees.

    Returns
    -------
    tuple[Array, Array]
        (known,) and (new,).
    """
    from sklearn.ensemble import ExtraTreesRegressor

    process = fit_process(level, rate)
    forest: Any = ExtraTreesRegressor(
        TREES,
        min_samples_leaf=LEAF,
        max_features=SHARE,
        bootstrap=True,
        oob_score=True,
        random_state=seed,
        n_jobs=1,
    )
    forest.fit(np.column_stack([trees, process.left_out]), rate - process.left_out)
    inside = process.left_out + forest.oob_prediction_
    if not len(level_new):
        return inside, np.empty(0)
    guess, _ = process.guess(level_new)
    return inside, guess + forest.predict(np.column_stack([trees_new, guess]))
