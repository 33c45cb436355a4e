"""Plans chosen by a computer: the runs, out of candidates, that leave the coefficients of a model least in doubt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]
STARTS = 12
MOST_EXCHANGES = 2000
GAIN = 1e-9  # of the determinant: less is rounding
SOURCES = (
    "D-optimal plans, the largest determinant of X'X out of candidates, by exchanging runs: NIST/SEMATECH e-Handbook, "
    "5.5.2.1 (read as quoted in pyDOE's theory pages); what an exchange gains: derived here",
)


def d_efficiency(model: Array) -> float:
    """Return how good runs are for a model: |X'X / n|^(1/p), at most 1 for terms that stay within -1 and +1.

    Parameters
    ----------
    model
        Its terms at the runs, (n, p).

    Returns
    -------
    float
        0 where the runs do not determine the terms.
    """
    runs, terms = model.shape
    sign, log = np.linalg.slogdet(model.T @ model / runs)
    return float(np.exp(log / terms)) if sign > 0 else 0.0


def d_optimal(candidates: Array, runs: int, seed: int = 0) -> NDArray[np.intp]:
    """Return which candidates to run, some more than once, so that |X'X| is large.

    From several random starts the best exchange of one run for one candidate is made until none gains; the best end is
    returned. As for every such search nothing proves that no plan is better.

    Parameters
    ----------
    candidates
        Terms of the model at each candidate, (candidates, terms).
    runs
        How many; as many as terms, or more.
    seed
        Of the starts.

    Returns
    -------
    NDArray[np.intp]
        (runs,) places among the candidates, in order.

    Raises
    ------
    DataError
        For fewer runs than terms, and for candidates that do not determine the terms.

    Notes
    -----
    With M = X'X and d(a, b) = a' M^-1 b, taking a for b multiplies |M| by
    (1 + d(a, a)) (1 - d(b, b)) + d(a, b)^2 (derived here from the determinant of a change of rank two).
    """
    terms = candidates.shape[1]
    if runs < terms:
        raise DataError(refuse("runs of an optimal plan", runs, f"{terms} or more, one a term of its model"))
    if np.linalg.matrix_rank(candidates) < terms:
        raise DataError(
            "optimal plan: the settings that are left do not tell the terms of the model apart: must be more settings or "
            "fewer terms"
        )
    rng = np.random.default_rng(seed)
    ends = [_exchanged(candidates, _start(candidates, runs, rng)) for _ in range(STARTS)]
    best = max(ends, key=lambda chosen: d_efficiency(candidates[chosen]))
    return np.sort(best)


def _start(candidates: Array, runs: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return runs that determine the terms: rows that pivoting finds in a random order, the rest drawn."""
    from scipy.linalg import qr

    order = rng.permutation(len(candidates))
    _, _, pivots = qr(candidates[order].T * rng.uniform(0.5, 1.0, len(order)), mode="economic", pivoting=True)
    first = order[pivots[: candidates.shape[1]]]
    return np.concatenate([first, rng.integers(len(candidates), size=runs - first.size)])


def _exchanged(candidates: Array, chosen: NDArray[np.intp]) -> NDArray[np.intp]:
    chosen = chosen.copy()
    for _ in range(MOST_EXCHANGES):
        model = candidates[chosen]
        through = np.linalg.solve(model.T @ model, candidates.T)
        spread = np.einsum("ij,ji->i", candidates, through)
        between = model @ through
        gain = (1.0 + spread) * (1.0 - spread[chosen])[:, None] + between**2
        leaves, comes = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[leaves, comes] <= 1.0 + GAIN:
            break
        chosen[leaves] = comes
    return chosen
