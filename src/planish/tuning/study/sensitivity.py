"""Which key matters how much: indices from the runs that a sensitivity method asked for.

Sobol's first-order index S1 of a key is the share of the outcome's variance that goes when the key is fixed, its total
index ST the share that stays when all others are fixed: S1 = V[E(y|x)] / V[y], ST = 1 - V[E(y|all but x)] / V[y], for keys that
are independent and uniform in their ranges. Morris's mu* is the mean of the absolute elementary effects, the change of the
outcome over the share of the range stepped, and sigma their standard deviation: large where effects bend or interact.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.tuning.study.design import LEVELS, Method

Array = NDArray[np.float64]
STEADY = 1e-12  # of an outcome: a spread below it is rounding, and no key has a share in it


def block(method: Method, count: int) -> int:
    """Return how many runs in a row belong together: without one of them the others say nothing.

    Parameters
    ----------
    method
        "sobol" or "morris".
    count
        How many keys.

    Returns
    -------
    int
        Runs.
    """
    return count + (2 if method == "sobol" else 1)


def whole_blocks(method: Method, count: int, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which runs can be used: those of blocks in which every run has an outcome.

    Parameters
    ----------
    method
        "sobol" or "morris".
    count
        How many keys.
    known
        Whether a run has an outcome, in order.

    Returns
    -------
    NDArray[np.bool_]
        Of the same length.
    """
    size = block(method, count)
    return np.repeat(known.reshape(-1, size).all(axis=1), size)


def indices(
    method: Method, table: Array, low: Array, high: Array, outcome: Array, seed: int
) -> dict[str, Array]:
    """Return the indices of every key for one outcome.

    Parameters
    ----------
    method
        "sobol" or "morris".
    table
        A row a run, a column a key.
    low, high
        Ends of the keys' ranges.
    outcome
        Of each run; NaN leaves the whole block out.
    seed
        Of the resampling that the doubt comes from.

    Returns
    -------
    dict[str, Array]
        By index, a number a key: of Sobol's ``first``, ``total`` and their doubts, half the width of a 95 % band; of
        Morris's ``effect`` (mu*), ``effect_doubt``, ``mean_effect`` and ``sigma``, in the outcome's unit. Empty where fewer
        than two blocks are whole; all 0 where the outcome does not move.
    """
    count = table.shape[1]
    used = whole_blocks(method, count, np.isfinite(outcome))
    names = ("first", "first_doubt", "total", "total_doubt")
    if method == "morris":
        names = ("effect", "effect_doubt", "mean_effect", "sigma")
    if used.sum() < 2 * block(method, count):
        return {}
    taken = outcome[used]
    if np.ptp(taken) <= STEADY * max(float(np.max(np.abs(taken))), 1e-300):
        return {name: np.zeros(count) for name in names}
    bounds = [[float(a), float(b)] for a, b in zip(low, high, strict=True)]
    problem = {"num_vars": count, "names": [str(at) for at in range(count)], "bounds": bounds}
    found: Any
    if method == "sobol":
        from SALib.analyze import sobol

        # In units of its own spread, about its mean: what is left of a large mean would swamp small indices.
        scaled = (taken - taken.mean()) / taken.std()
        found = sobol.analyze(problem, scaled, calc_second_order=False, seed=seed + 1)  # 0 would be no seed
        picked = ("S1", "S1_conf", "ST", "ST_conf")
    else:
        from SALib.analyze import morris

        found = morris.analyze(problem, table[used], taken, num_levels=LEVELS, seed=seed)
        picked = ("mu_star", "mu_star_conf", "mu", "sigma")
    return {name: np.asarray(found[key], dtype=np.float64) for name, key in zip(names, picked, strict=True)}
