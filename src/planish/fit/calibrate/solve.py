r"""The values of the free numbers that meet the measurements best, with the scatter that they leave.

Least squares within bounds (trust region) on the whitened misfit of all values and on what was known before, one row a
number: (c - c_known) / sd. A value far off counts less: Huber's loss, quadratic within 2.5 standard deviations. How
values scatter is estimated from what is left over, and the fit made again with it, until both stand still. Where
the model bends between the setup's values and those found, the search begins at other places too, and the best counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError
from planish.fit.calibrate.likeliest import Estimated, estimated
from planish.fit.calibrate.model import Model
from planish.fit.calibrate.scatter import Layout, Scatter, plain

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Trust-region least squares within bounds: Branch, Coleman & Li 1999, SIAM J. Sci. Comput. 21, 1 (read as quoted in "
    "the SciPy reference)",
    "Robust regression: Huber 1964, Ann. Math. Statist. 35, 73 (read as quoted in the manual of metANN)",
)
LOSSES = ("huber", "linear")
KNEE = 2.5  # standard deviations within which Huber's loss is quadratic
HELD = 0.97756  # mean of min(z^2, 2.5^2) for a normal z: share of its variance that the loss leaves (Huber's proposal 2)
_ROUNDS = 8  # of fit and scatter
_POOR = 0.1  # of the measured values
_BENT = 0.3  # share of the way from start to solution that derivatives there do not foretell
_REFUSED = 1e3  # whitened misfit of a point at which the model has no answer
_NEAR = 0.05  # of a scale: derivatives are taken for those of a point this near
_UNMOVED = 1e-9  # change over a value's size, by a whole scale of a number, that is rounding


@dataclass(frozen=True)
class Solution:
    """What a fit came to.

    Attributes
    ----------
    point
        Coordinates (p,).
    predicted
        (n,).
    jacobian
        Derivatives of the predictions by the coordinates (n, p).
    scatter
        Of the values about the model, robust weights in it.
    estimated
        The same with covariance and degrees of freedom.
    precision
        Known before, of each coordinate (p,); 0 for nothing.
    loss
        One of ``LOSSES``.
    starts
        Places at which the search began.
    said
        What happened, in plain words.
    """

    point: Array
    predicted: Array
    jacobian: Array
    scatter: Scatter
    estimated: Estimated
    precision: Array
    loss: str
    starts: int
    said: tuple[str, ...]


@dataclass
class Problem:
    """The misfit of a model as a function of the coordinates.

    Attributes
    ----------
    model
        The model.
    where
        Which value belongs where.
    precision
        Known before, of each coordinate (p,).
    loss
        One of ``LOSSES``.
    scatter
        As now taken, without robust weights.
    """

    model: Model
    where: Layout
    precision: Array
    loss: str
    scatter: Scatter
    _slope: tuple[Array, Array] | None = None

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Least and largest coordinates."""
        pairs = np.array([one.bounds() for one in self.model.parameters])
        return pairs[:, 0], pairs[:, 1]

    @property
    def scales(self) -> Array:
        """The scale of each coordinate."""
        return np.array([one.scale for one in self.model.parameters])

    def rows(self, point: Array, predicted: Array | str) -> Array:
        """Return the whitened misfit of the values, then the distance to what was known before.

        Parameters
        ----------
        point
            Coordinates (p,).
        predicted
            What the model foretells there (n,), or its refusal.

        Returns
        -------
        Array
            (n + p,).
        """
        before = np.sqrt(self.precision) * (point - self.model.start)
        if isinstance(predicted, str):
            return np.concatenate([np.full(self.where.kind.size, _REFUSED), before])
        return np.concatenate([self.scatter.whitened(predicted - self.model.measured), before])

    def slopes(self, jacobian: Array) -> Array:
        """Return the derivatives of the rows."""
        return np.concatenate([self.scatter.whitened(jacobian), np.diag(np.sqrt(self.precision))])

    def deviance(self, rows: Array) -> float:
        """Return the loss of the rows: their sum of squares where none is far off."""
        squares = rows**2
        if self.loss == "linear":
            return float(squares.sum())
        far = squares > KNEE**2
        return float(np.sum(np.where(far, 2.0 * KNEE * np.abs(rows) - KNEE**2, squares)))

    def weights(self, rows: Array) -> Array:
        """Return the weight of each row in a robust fit."""
        if self.loss == "linear":
            return np.ones_like(rows)
        return np.asarray(np.minimum(1.0, KNEE / np.maximum(np.abs(rows), 1e-300)))

    def jacobian(self, point: Array) -> Array:
        """Return the derivatives at a point, or those of one very near."""
        if self._slope is not None and np.all(np.abs(self._slope[0] - point) < _NEAR * self.scales):
            return self._slope[1]
        made = self.model.jacobian(point)
        self._slope = (point.copy(), made)
        return made

    def fit(self, start: Array, held: int | None = None, tolerance: float = 1e-7) -> tuple[Array, float]:
        """Return the best point and its deviance.

        Parameters
        ----------
        start
            Coordinates to begin at (p,).
        held
            Which coordinate stays, if one does.
        tolerance
            Relative, of the deviance and of the steps.
        """
        from scipy.optimize import least_squares

        moving = np.array([index for index in range(start.size) if index != held], dtype=np.int64)
        low, high = self.bounds

        def whole(part: Array) -> Array:
            there = start.copy()
            there[moving] = part
            return there

        def misfit(part: Array) -> Array:
            return self.rows(whole(part), self.model.at(whole(part)))

        def slope(part: Array) -> Array:
            return self.slopes(self.jacobian(whole(part)))[:, moving]

        if moving.size == 0:
            return start, self.deviance(misfit(start[moving]))
        room = 1e-9 * (high - low)[moving]
        found = least_squares(
            misfit,
            np.clip(start[moving], low[moving] + room, high[moving] - room),
            slope,
            bounds=(low[moving], high[moving]),
            x_scale=self.scales[moving],
            loss=self.loss,
            f_scale=KNEE,
            xtol=tolerance,
            ftol=tolerance,
            gtol=1e-10,
            max_nfev=60,
        )
        return whole(found.x), 2.0 * float(found.cost)


def solve(model: Model, where: Layout, priors: bool, loss: str, starts: int) -> Solution:
    """Return the values of the free numbers that meet the measurements best.

    Parameters
    ----------
    model
        The model.
    where
        Which value belongs where.
    priors
        Whether what is known before counts.
    loss
        One of ``LOSSES``.
    starts
        Places at most at which the search begins where the model bends.

    Raises
    ------
    FitError
        Where the model has no answer for the setup itself, or a free number moves none of the values.
    """
    precision = np.array(
        [one.known**-2 if priors and one.known is not None else 0.0 for one in model.parameters]
    )
    pairs = np.array([one.bounds() for one in model.parameters])
    start = np.clip(model.start, pairs[:, 0], pairs[:, 1])
    begin = model.at(start)
    if isinstance(begin, str):
        where_it_is = (
            "as it stands"
            if np.array_equal(start, model.start)
            else "with its numbers moved into their bounds"
        )
        raise FitError(f"{model.setup.name}: the model has no answer for the setup {where_it_is}: {begin}")
    blind = Layout(where.kinds, where.kind, where.of_set, where.group, where.size, np.zeros_like(where.sd))
    problem = Problem(model, where, precision, loss, plain(blind, 0.05))
    _moving(problem, start)
    point, deviance = problem.fit(start)
    tried, bent = 1, _bent(problem, point, start, begin)
    if (bent or _poor(problem, point)) and starts > 1:
        point, tried = _elsewhere(problem, point, deviance, starts)
    return _settled(problem, point, tried)


def _moving(problem: Problem, start: Array) -> None:
    """Refuse a free number that moves nothing that was measured."""
    jacobian = problem.jacobian(start)
    reach = np.abs(jacobian) * problem.scales / problem.where.size[:, None]
    for one, most in zip(problem.model.parameters, reach.max(axis=0), strict=True):
        if most < _UNMOVED:
            sets = ", ".join(sorted({each.kind for each in problem.model.observed}))
            raise FitError(
                f"{one.path}: moves none of the measured values ({sets}), so that they say nothing of it: leave it out of "
                "what is free, or add measurements that it moves"
            )


def _bent(problem: Problem, point: Array, start: Array, begin: Array) -> bool:
    """Return whether derivatives at the solution do not foretell the way back to the start."""
    model = problem.model
    there = model.at(point)
    if isinstance(there, str):
        return True
    way = (begin - there) / problem.where.size
    straight = problem.jacobian(point) @ (start - point) / problem.where.size
    far = float(np.linalg.norm(way))
    return far > 1e-3 * way.size**0.5 and float(np.linalg.norm(way - straight)) > _BENT * far


def _poor(problem: Problem, point: Array) -> bool:
    """Return whether what was found is off by more than a tenth of the measured values."""
    there = problem.model.at(point)
    if isinstance(there, str):
        return True
    left = (there - problem.model.measured) / problem.where.size
    return float(np.median(np.abs(left))) > _POOR


def _elsewhere(problem: Problem, point: Array, deviance: float, starts: int) -> tuple[Array, int]:
    """Return the best of several searches, and how many there were."""
    from scipy.stats import qmc

    low, high = problem.bounds
    spread = np.array([one.loose for one in problem.model.parameters])
    draws = qmc.Sobol(point.size, scramble=False).random(2 ** int(np.ceil(np.log2(starts + 1))))[1:starts]
    best, least = point, deviance
    for draw in draws:
        there = np.clip(problem.model.start + (6.0 * draw - 3.0) * spread, low, high)
        if isinstance(problem.model.at(there), str):
            continue
        found, size = problem.fit(there)
        if size < least - 1e-6 * (1.0 + least):
            best, least = found, size
    return best, starts


def _settled(problem: Problem, point: Array, tried: int) -> Solution:
    """Return the solution in which fit and scatter no longer change each other."""
    model, where = problem.model, problem.where
    weights = np.ones(where.kind.size)
    held = 1.0
    made: Estimated | None = None
    for _ in range(_ROUNDS):
        predicted = _answer(model, point)
        jacobian = problem.jacobian(point)
        made = estimated(
            where, model.measured - predicted, jacobian, problem.precision, model.start - point, weights, held,
            None if made is None else made.scatter.shares,
        )  # fmt: skip
        clean = Scatter(where, made.scatter.shares, made.scatter.widened, np.ones(where.kind.size))
        most = float(np.max(clean.shares, initial=0.0))
        still = np.allclose(clean.shares, problem.scatter.shares, rtol=0.02, atol=0.02 * most)
        problem.scatter = clean
        before = point
        point, _ = problem.fit(point)
        rows = problem.rows(point, _answer(model, point))
        weights = problem.weights(rows)[: where.kind.size]
        held = HELD if problem.loss == "huber" else 1.0
        errors = np.sqrt(np.maximum(np.diag(made.covariance), 1e-300))
        if still and np.all(np.abs(point - before) < 0.02 * errors):
            break
    problem._slope = None
    jacobian = problem.jacobian(point)
    point, predicted = _refined(problem, point, jacobian)
    made = estimated(
        where, model.measured - predicted, jacobian, problem.precision, model.start - point, weights, held,
        made.scatter.shares if made is not None else None,
    )  # fmt: skip
    scatter = Scatter(where, made.scatter.shares, made.scatter.widened, np.ones(where.kind.size))
    problem.scatter = scatter
    said = (*made.said, *_ends(problem, point))
    return Solution(
        point, predicted, jacobian, made.scatter, made, problem.precision, problem.loss, tried, said
    )


def _refined(problem: Problem, point: Array, jacobian: Array) -> tuple[Array, Array]:
    """Return the point after one step more with derivatives taken right there, where that is no worse."""
    predicted = _answer(problem.model, point)
    rows = problem.rows(point, predicted)
    half = np.sqrt(problem.weights(rows))
    step = np.linalg.lstsq(half[:, None] * problem.slopes(jacobian), -half * rows, rcond=1e-10)[0]
    there = np.clip(point + step, *problem.bounds)
    found = problem.model.at(there)
    if isinstance(found, str) or problem.deviance(problem.rows(there, found)) > problem.deviance(rows):
        return point, predicted
    return there, found


def _answer(model: Model, point: Array) -> Array:
    found = model.at(point)
    if isinstance(found, str):
        raise FitError(f"the search ended where the model has no answer: {found} (give narrower bounds)")
    return found


def _ends(problem: Problem, point: Array) -> list[str]:
    """Return a line for each number that ended on a bound, or far from what was known of it."""
    low, high = problem.bounds
    said = []
    for index, one in enumerate(problem.model.parameters):
        value = float(point[index])
        if min(value - low[index], high[index] - value) < 1e-4 * one.scale:
            said.append(
                f"{one.path} ended on the bound of its search, {one.told(one.value(value))}: the data ask for more (give it "
                "wider bounds if that can be, or look for what else is off)"
            )
        before = one.coordinate(one.start)
        if not low[index] <= before <= high[index]:
            said.append(
                f"{one.path}: the bounds of its search leave out what was stated before, {one.told(one.start)}"
            )
            continue
        away = abs(value - before) * np.sqrt(problem.precision[index])
        if away > 3.0:
            said.append(
                f"{one.path} = {one.told(one.value(value))}: {away:.2g} of the stated spreads away from "
                f"{one.told(one.start)}: what was stated before does not hold here (fit without what is known before to "
                "see the data alone)"
            )
    return said
