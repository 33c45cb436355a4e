r"""Which scatter makes what a fit leaves over likeliest, and on how many degrees of freedom the errors rest.

The shares of `planish.fit.calibrate.scatter` maximise the likelihood of what the fitted parameters leave over
(restricted maximum likelihood), in which the model goes straight with its parameters,

    -2 l = ln|V| + ln|J' V^-1 J + P| + r' V^-1 r + d' P d,

with J the derivatives, P the precision known before, r what is left over, d how far the parameters are from what was
known. What a parameter's error rests on is told in degrees of freedom by Satterthwaite's rule,
2 v^2 / var(v) of its variance v. Known errors are believed unless the misfit is improbable under them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.fit.calibrate.scatter import USUAL, Layout, Scatter, plain

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Restricted maximum likelihood: Patterson & Thompson 1971, Biometrika 58, 545 (from memory)",
    "Degrees of freedom of an estimated variance: Satterthwaite 1946, Biometrics Bulletin 2, 110 "
    "(read as quoted in the manual of parameters)",
)
_LEAST, _MOST = 1e-7, 3.0  # of a share
_FEWEST = 3  # groups or sets of which a scatter between them can be told
_LOOSELY = 1e-4  # of the precision of what was known before, for the scatter alone
_IMPROBABLE = 0.01  # of a misfit, given the stated errors
#: Differences wide enough that rounding in a criterion of thousands does not drown them.
_SEARCH = {"eps": 1e-4, "ftol": 1e-7, "maxiter": 200}
_WORTH = {
    1: 0.0,
    2: 0.3,
}  # twice the logarithm of how much likelier a scatter of groups or sets must make what is left


@dataclass(frozen=True, slots=True)
class Estimated:
    """A scatter estimated from what a fit leaves over.

    Attributes
    ----------
    scatter
        With its shares.
    freedom
        Degrees of freedom on which the error of each parameter rests, (p,).
    covariance
        Of the parameters' coordinates, (p, p).
    said
        What had to be assumed, in plain words.
    """

    scatter: Scatter
    freedom: Array
    covariance: Array
    said: tuple[str, ...]


def estimated(
    where: Layout,
    left: Array,
    jacobian: Array,
    precision: Array,
    off: Array,
    weights: Array,
    held: float,
    before: Array | None = None,
) -> Estimated:
    """Return the scatter under which what a fit leaves over is likeliest.

    Parameters
    ----------
    where
        Which value belongs where.
    left
        Measured less predicted (n,).
    jacobian
        Derivatives of the predictions by the coordinates (n, p).
    precision
        Known before, of each coordinate (p,).
    off
        What was known before less the coordinates (p,).
    weights
        Of each value in the robust fit, (n,).
    held
        Share of the scatter of normal values that robust weights leave.
    before
        Shares of a fit before, to begin with (kinds, 3).

    Returns
    -------
    Estimated
        With degrees of freedom and covariance.
    """
    free = jacobian.shape[1]
    active, said = _active(where, free, int(np.sum(precision > 0)))
    base = plain(where)
    base = Scatter(where, base.shares * _alone(where)[:, None], base.widened, weights**2)
    columns = np.column_stack([jacobian, left])
    known = np.diag(precision)
    # What was known before must not pass for scatter where it is wrong: it counts little wherever values are left over.
    loosely = known * (_LOOSELY if where.kind.size - free >= _FEWEST else 1.0)

    def with_shares(logs: Array) -> Scatter:
        shares = base.shares.copy()
        for (kind, level), each in zip(active, logs, strict=True):
            shares[kind, level] = np.exp(each)
        return Scatter(where, shares, base.widened, base.weights)

    def off_by(logs: Array) -> float:
        return _criterion(with_shares(logs), columns, loosely, off)

    logs = np.zeros(0)
    if active:
        start = _first(where, active, left)
        if before is not None:
            start = np.maximum([before[one] for one in active], 0.05 * start)
        logs = _least(off_by, np.log(start))
        active, logs = _needed(active, logs, off_by)
    scatter = Scatter(where, with_shares(logs).shares, base.widened, weights)
    scatter, more = _believed(scatter, columns, loosely, off)
    freedom = np.full(jacobian.shape[1], np.inf)
    covariance = _covariance(scatter, jacobian, known)
    if active:
        freedom = _freedom(logs, off_by, lambda at: np.diag(_covariance(with_shares(at), jacobian, known)))
        spare = max(where.kind.size - jacobian.shape[1] + int(np.sum(precision > 0)), 1)
        freedom = np.where(np.isfinite(freedom), freedom, spare)
    if held < 1.0:
        scatter = Scatter(where, scatter.shares * np.array([held**-0.5, 1.0, 1.0]), scatter.widened, weights)
        covariance = _covariance(scatter, jacobian, known)
    return Estimated(scatter, freedom, covariance, (*said, *more))


def _active(where: Layout, free: int, known: int) -> tuple[list[tuple[int, int]], tuple[str, ...]]:
    """Return which shares can be told, by kind and level, and what is said of those that cannot."""
    active: list[tuple[int, int]] = []
    said = []
    spare = where.kind.size - free + known
    for kind, name in enumerate(where.kinds):
        mine = where.kind == kind
        values, groups, sets = (
            int(mine.sum()), np.unique(where.group[mine]).size, np.unique(where.of_set[mine]).size
        )  # fmt: skip
        without = bool(np.any(where.sd[mine] == 0))
        if without and (values < _FEWEST or spare < 2):
            said.append(
                f"{name}: too few values to tell how they scatter: taken as {100 * USUAL:g} % of their mean (common "
                "practice, no source; state their error to be sure)"
            )
            continue
        if without:
            active.append((kind, 0))
        if values > groups >= _FEWEST and spare >= 3:
            active.append((kind, 1))
        if groups > sets >= _FEWEST and spare >= 4:
            active.append((kind, 2))
    return active, tuple(said)


def _alone(where: Layout) -> Array:
    """Return 1 for each kind that has values without a known error."""
    return np.array([float(np.any(where.sd[where.kind == kind] == 0)) for kind in range(len(where.kinds))])


def _first(where: Layout, active: Sequence[tuple[int, int]], left: Array) -> Array:
    """Return shares to begin with, from the medians of what is left over."""
    found = []
    for kind, level in active:
        mine = where.kind == kind
        size = 1.4826 * float(np.median(np.abs(left[mine] / where.size[mine])))
        found.append(max(size, 1e2 * _LEAST) * (1.0 if level == 0 else 0.5))
    return np.array(found)


def _least(off_by: Callable[[Array], float], start: Array) -> Array:
    """Return where the criterion is least, each share within what can be."""
    from scipy.optimize import minimize

    first = off_by(start)
    bounds = [(np.log(_LEAST), np.log(_MOST))] * start.size
    found = minimize(lambda at: off_by(at) - first, start, method="SLSQP", bounds=bounds, options=_SEARCH)
    if not found.success or not found.fun <= 0.0:  # slower, and needs no derivatives
        found = minimize(lambda at: off_by(at) - first, start, method="Powell", bounds=bounds)
    return np.asarray(found.x)


def _needed(
    active: list[tuple[int, int]], logs: Array, off_by: Callable[[Array], float]
) -> tuple[list[tuple[int, int]], Array]:
    """Take out scatter of whole sets, then of groups, that makes what is left over hardly any likelier."""
    for level in (2, 1):
        for at in [index for index, one in enumerate(active) if one[1] == level]:
            without = logs.copy()
            without[at] = np.log(_LEAST)
            others = [
                index for index in range(logs.size) if index != at and logs[index] > np.log(2.0 * _LEAST)
            ]
            best = _again(without, others, off_by)
            if 2.0 * (off_by(best) - off_by(logs)) < _WORTH[level]:
                logs = best
    return active, logs


def _again(logs: Array, moving: list[int], off_by: Callable[[Array], float]) -> Array:
    """Return shares of which only some move, where the criterion is least."""
    if not moving:
        return logs
    found = logs.copy()

    def some(part: Array) -> float:
        there = logs.copy()
        there[moving] = part
        return off_by(there)

    found[moving] = _least(some, logs[moving])
    return found


def _criterion(scatter: Scatter, columns: Array, known: Array, off: Array) -> float:
    products, size = scatter.products(columns)
    inner = products[:-1, :-1] + known
    right = products[:-1, -1] + known @ off
    try:
        root = np.linalg.cholesky(inner + 1e-12 * np.diag(np.diag(inner)))
    except np.linalg.LinAlgError:
        return 1e300
    moved = np.linalg.solve(root, right)
    left = products[-1, -1] + off @ known @ off - moved @ moved
    return 0.5 * float(size + 2.0 * np.sum(np.log(np.diag(root))) + left)


def _covariance(scatter: Scatter, jacobian: Array, known: Array) -> Array:
    inner = scatter.products(jacobian)[0] + known
    scale = np.sqrt(np.maximum(np.diag(inner), 1e-300))
    return np.asarray(np.linalg.pinv(inner / np.outer(scale, scale), hermitian=True) / np.outer(scale, scale))


def _believed(scatter: Scatter, columns: Array, known: Array, off: Array) -> tuple[Scatter, tuple[str, ...]]:
    """Widen known errors where the misfit is improbable under them; say so."""
    from scipy.stats import chi2

    where, said = scatter.where, []
    widened = scatter.widened.copy()
    products, _ = scatter.products(columns)
    inner = products[:-1, :-1] + known
    moved = np.linalg.pinv(inner, hermitian=True) @ (products[:-1, -1] + known @ off)
    rows = scatter.whitened(columns[:, -1] - columns[:, :-1] @ moved)
    for kind, name in enumerate(where.kinds):
        mine = (where.kind == kind) & (where.sd > 0)
        if not mine.any():
            continue
        told = int(mine.sum())
        spare = max(told - (columns.shape[1] - 1) * told / where.kind.size, 1.0)
        misfit = float(np.sum(rows[mine] ** 2))
        if chi2.sf(misfit, spare) < _IMPROBABLE:
            widened[kind] = np.sqrt(misfit / spare)
            said.append(
                f"{name}: the misfit is {widened[kind]:.3g} times what the stated errors allow: all of them are taken so "
                "much wider (the model misses something, or the errors are stated too small)"
            )
    return Scatter(where, scatter.shares, widened, scatter.weights), tuple(said)


def _freedom(logs: Array, call: Callable[[Array], float], of: Callable[[Array], Array]) -> Array:
    """Return the degrees of freedom of each parameter's variance by Satterthwaite's rule."""
    at = np.flatnonzero(logs > np.log(20.0 * _LEAST))
    middle = of(logs)
    nothing = np.full(middle.size, np.inf)
    if at.size == 0:
        return nothing
    step = 0.05
    bend = np.zeros((at.size, at.size))
    slope = np.zeros((middle.size, at.size))

    def moved(*by: tuple[int, float]) -> Array:
        there = logs.copy()
        for index, amount in by:
            there[at[index]] += amount
        return there

    centre = call(logs)
    for i in range(at.size):
        up, down = moved((i, step)), moved((i, -step))
        slope[:, i] = (of(up) - of(down)) / (2 * step)
        bend[i, i] = (call(up) - 2 * centre + call(down)) / step**2
        for j in range(i):
            corners = [
                call(moved((i, a * step), (j, b * step))) for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1))
            ]
            bend[i, j] = bend[j, i] = (corners[0] - corners[1] - corners[2] + corners[3]) / (4 * step**2)
    values, vectors = np.linalg.eigh(bend)
    if values.min() <= 1e-6:
        return np.full(middle.size, np.nan)
    spread = (slope @ vectors) ** 2 @ (1.0 / values)
    with np.errstate(divide="ignore"):
        return np.asarray(np.clip(2.0 * middle**2 / spread, 1.0, 1e6))
