"""The quadratic program of one step: the most even wafer within the limits, by how the thickness answers now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

_NO_ROOM = 1e-6  # in the scales of the program
_ANSWERED = ("Solved", "AlmostSolved", "InsufficientProgress")
SOURCES: tuple[str, ...] = (
    "Quadratic programs by an interior-point method for conic programs (library clarabel)",
)


@dataclass(frozen=True, slots=True)
class Asked:
    """One program in its own scales.

    ``away`` what is left less what is wanted, at the places that count (m,), with their ``shares``; ``slopes`` (m, n);
    ``bends`` (n, n) what half the curvature of the variance has besides, none of it falling; ``rows`` (k, n) with ``room`` (k,) up to each limit; ``lower`` and ``upper`` (n,) how far each may move; ``damping`` on
    the square of each move; ``miss`` what a unit of mean amiss costs beside the variance.
    """

    away: Array
    shares: Array
    slopes: Array
    bends: Array
    rows: Array
    room: Array
    lower: Array
    upper: Array
    damping: float
    miss: float


@dataclass(frozen=True, slots=True)
class Move:
    """``by`` how much to move (n,), and the ``prices`` (k,): variance gained for a unit of room at each limit."""

    by: Array
    prices: Array


def best_move(asked: Asked) -> Move:
    """Return the move to the least variance with the mean as wanted, or as near to it as limits let it.

    Parameters
    ----------
    asked
        The program.

    Returns
    -------
    Move
        Within the limits, where there was no way about them before.

    Raises
    ------
    ModelError
        Where the solver ends without an answer.

    Notes
    -----
    Least sum of shares (away + slopes d)^2 + d' bends d + damping |d|^2 + miss (over + under), with the mean of away + slopes d
    equal to over - under: an exact penalty, so that a mean that cannot be met is missed by as little as can be.
    """
    import clarabel
    from scipy import sparse

    n, weighted = asked.slopes.shape[1], asked.shares[:, None] * asked.slopes
    square = np.zeros((n + 2, n + 2))
    square[:n, :n] = 2.0 * (asked.slopes.T @ weighted + asked.bends) + 2.0 * asked.damping * np.eye(n)
    linear = np.concatenate([2.0 * weighted.T @ asked.away, [asked.miss, asked.miss]])
    # all in sizes of their own, or the solver may walk in circles to its last iteration
    worth = 1.0 / max(float(np.abs(square).max()), 1e-300)
    mean = np.concatenate([weighted.sum(axis=0), [-1.0, 1.0]])
    slack = np.zeros((2, n + 2))
    slack[:, n:] = -np.eye(2)
    size = np.maximum(np.abs(asked.rows).max(axis=1, initial=0.0), 1e-300)
    rows, room = asked.rows / size[:, None], asked.room / size
    wide = np.hstack([np.vstack([rows, np.eye(n), -np.eye(n)]), np.zeros((room.size + 2 * n, 2))])
    matrix = sparse.csc_matrix(np.vstack([mean[None, :], wide, slack]))
    most = np.concatenate([[-float(asked.shares @ asked.away)], room, asked.upper, -asked.lower, [0.0, 0.0]])
    cones = [clarabel.ZeroConeT(1), clarabel.NonnegativeConeT(most.size - 1)]
    for equilibrate in (False, True):  # what the solver makes of the sizes helps but where they were good
        settings = clarabel.DefaultSettings()
        settings.verbose = False
        settings.equilibrate_enable = equilibrate
        answer = clarabel.DefaultSolver(
            sparse.csc_matrix(np.triu(worth * square)), worth * linear, matrix, most, cones, settings
        ).solve()
        if str(answer.status) in _ANSWERED:
            break
    else:
        raise ModelError(
            refuse("settings to tune", str(answer.status), "solvable", "give the limits more room")
        )
    prices = _netted(np.maximum(np.asarray(answer.z)[1 : 1 + room.size], 0.0), rows, room)
    return Move(np.asarray(answer.x)[:n], prices / (worth * size))


def _netted(prices: Array, rows: Array, room: Array) -> Array:
    """Return prices with those of limits that meet from two sides less what they have against one another.

    Of two limits without room between them only the difference of prices is determined: the solver adds as much as it
    likes to both.
    """
    stuck = np.flatnonzero(room < _NO_ROOM)
    made = prices.copy()
    for at, one in enumerate(stuck):
        for other in stuck[at + 1 :]:
            if np.abs(rows[one] + rows[other]).max() < _NO_ROOM:
                less = min(made[one], made[other])
                made[one] -= less
                made[other] -= less
    return made


def into_limits(x: Array, rows: Array, most: Array) -> Array | None:
    """Return the nearest place within limits.

    Parameters
    ----------
    x
        Where (n,).
    rows, most
        rows x at most ``most``.

    Returns
    -------
    Array | None
        None where no place is within them.
    """
    if np.all(rows @ x <= most + 1e-9):
        return x
    import clarabel
    from scipy import sparse

    settings = clarabel.DefaultSettings()
    settings.verbose = False
    n = x.size
    answer = clarabel.DefaultSolver(
        sparse.csc_matrix(2.0 * np.eye(n)),
        -2.0 * x,
        sparse.csc_matrix(rows),
        most,
        [clarabel.NonnegativeConeT(most.size)],
        settings,
    ).solve()
    return np.asarray(answer.x) if str(answer.status) in ("Solved", "AlmostSolved") else None
