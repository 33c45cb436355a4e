r"""How far each fitted number may be off: where the fit gets worse by as much as the level allows.

An interval ends where the profile of the deviance, least over all other free numbers, has risen by q^2, with q the
quantile of Student's t for the degrees of freedom on which the scatter rests. The straight (Wald) ends +- q se are
tried first: where the deviance there has risen by what was foretold, they stand. Else the ends are sought on the full
model. An interval that has no end within the bounds of the search says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.fit.calibrate.solve import Problem, Solution

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Intervals from the profile of the likelihood: Venzon & Moolgavkar 1988, Appl. Statist. 37, 87 "
    "(read as quoted in the manual of Bhat)",
)
_AGREES = 0.1  # of the root of the rise, foretold against found
_TRIES = 8  # at one end
_MET = 0.03  # of the quantile


@dataclass(frozen=True, slots=True)
class Interval:
    """Where one number lies.

    Attributes
    ----------
    low, high
        Coordinates.
    open_low, open_high
        Whether the bound of the search came first, so that there is no end that way.
    profiled
        Whether an end was sought on the full model, because the straight one did not hold.
    """

    low: float
    high: float
    open_low: bool
    open_high: bool
    profiled: bool


def intervals(problem: Problem, solution: Solution, level: float) -> tuple[Interval, ...]:
    """Return the interval of each free number.

    Parameters
    ----------
    problem
        With the scatter that was found.
    solution
        What the fit came to.
    level
        Share of such intervals that hold the true value, such as 0.9.

    Returns
    -------
    tuple[Interval, ...]
        In coordinates.
    """
    from scipy.stats import t as student

    covariance, freedom = solution.estimated.covariance, solution.estimated.freedom
    quantiles = student.ppf(0.5 + level / 2.0, np.minimum(freedom, 1e6))
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    low, high = problem.bounds
    least = problem.deviance(problem.rows(solution.point, solution.predicted))
    ends = [
        (
            index,
            sign,
            float(np.clip(sign * quantiles[index] * errors[index], *_room(index, solution, low, high))),
        )
        for index in range(errors.size)
        for sign in (-1.0, 1.0)
    ]
    rises = _rises(problem, solution, least, [(index, way) for index, _, way in ends])
    found: list[Interval] = []
    for place in range(0, len(ends), 2):
        index = ends[place][0]
        sides = []
        for (_, sign, way), rise in zip(ends[place : place + 2], rises[place : place + 2], strict=True):
            foretold = abs(way) / errors[index] if errors[index] > 0 else 0.0
            holds = foretold > 0 and abs(rise / foretold - 1.0) < _AGREES
            if holds or foretold == 0:
                sides.append((way, foretold < 0.999 * quantiles[index], False))
            else:
                sides.append(
                    (
                        *_sought(problem, solution, least, index, sign, float(quantiles[index]), way, rise),
                        True,
                    )
                )
        middle = float(solution.point[index])
        found.append(
            Interval(
                middle + sides[0][0],
                middle + sides[1][0],
                sides[0][1],
                sides[1][1],
                sides[0][2] or sides[1][2],
            )
        )
    return tuple(found)


def _room(index: int, solution: Solution, low: Array, high: Array) -> tuple[float, float]:
    here = float(solution.point[index])
    return min(float(low[index]) - here, 0.0), max(float(high[index]) - here, 0.0)


def _along(problem: Problem, solution: Solution, index: int, way: float) -> Array:
    """Return the point at which one number is moved and the others follow as the covariance says."""
    covariance = solution.estimated.covariance
    own = covariance[index, index]
    there = solution.point + (covariance[:, index] / own * way if own > 0 else 0.0)
    low, high = problem.bounds
    there = np.clip(there, low, high)
    there[index] = solution.point[index] + way
    return np.asarray(there)


def _rises(problem: Problem, solution: Solution, least: float, moves: list[tuple[int, float]]) -> list[float]:
    """Return the root of the rise of the deviance at each move, after one correction of the other numbers."""
    points = [_along(problem, solution, index, way) for index, way in moves]
    rows = [problem.rows(*each) for each in zip(points, problem.model.predictions(points), strict=True)]
    slope = problem.slopes(solution.jacobian)
    corrected = []
    for (index, _), point, off in zip(moves, points, rows, strict=True):
        others = np.array([at for at in range(point.size) if at != index], dtype=np.int64)
        there = point.copy()
        if others.size:
            weights = problem.weights(off)
            half = np.sqrt(weights)[:, None] * slope[:, others]
            there[others] -= np.linalg.lstsq(half, np.sqrt(weights) * off, rcond=1e-10)[0]
            low, high = problem.bounds
            there = np.clip(there, low, high)
        corrected.append(there)
    again = [
        problem.rows(*each) for each in zip(corrected, problem.model.predictions(corrected), strict=True)
    ]
    return [
        float(np.sqrt(max(min(problem.deviance(one), problem.deviance(other)) - least, 0.0)))
        for one, other in zip(rows, again, strict=True)
    ]


def _sought(
    problem: Problem,
    solution: Solution,
    least: float,
    index: int,
    sign: float,
    quantile: float,
    way: float,
    rise: float,
) -> tuple[float, bool]:
    """Return where the profile has risen to the quantile squared, and whether the bound came first."""
    low, high = problem.bounds
    edge = _room(index, solution, low, high)[0 if sign < 0 else 1]
    inner, outer = (0.0, 0.0), (edge, np.inf)
    here, there = way, rise
    point = _along(problem, solution, index, way)
    for _ in range(_TRIES):
        if abs(there - quantile) < _MET * quantile:
            return here, False
        if there < quantile:
            inner = (here, there)
        else:
            outer = (here, there)
        if there < quantile and here == edge:
            return edge, True
        following = here * np.clip(quantile / max(there, 1e-3), 0.25, 4.0)
        if np.isfinite(outer[1]) and not min(abs(inner[0]), abs(outer[0])) < abs(following) < max(
            abs(inner[0]), abs(outer[0])
        ):
            share = (quantile - inner[1]) / (outer[1] - inner[1])
            following = inner[0] + min(max(share, 0.1), 0.9) * (outer[0] - inner[0])
        here = float(np.clip(following, min(edge, 0.0), max(edge, 0.0)))
        if here == 0.0:
            return 0.0, True
        point = point + 0.0
        point[index] = solution.point[index] + here
        problem._slope = None
        point, deviance = problem.fit(point, held=index, tolerance=1e-4)
        there = float(np.sqrt(max(deviance - least, 0.0)))
    return here, False
