r"""One Gaussian process for several regimes of one route, which share pads, disks and days.

The covariance of wafer i of regime r and wafer j of regime s is

    k = w_rs exp(-|t - t'|/l) + u_rs m(d_few) + v_rs m(d_all),  m(d) = (1 + sqrt(3) d) exp(-sqrt(3) d),

a level that wanders in time, a smooth function of time and consumables, and one of all columns, each with a
length for each column. Each weight is a part that all regimes share and, within one regime, a part of its own:
w_rs = w (shared) + w' [r = s]. Rates are taken in units of the spread of their regime, about its mean.

Left-out and one-step-ahead errors are exact, as in :mod:`planish.fit.gaussian_process`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.fit.gaussian_process import CLIP, FAR, JITTER, ROOT3

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

SOURCES: tuple[str, ...] = (
    "Rasmussen & Williams, Gaussian Processes for Machine Learning, MIT Press 2006: covariances that add, "
    "likelihood and its gradient (ch. 4 and 5) (read as quoted in the scikit-learn user guide)",
)

#: Prior of ln(length) in standard deviations of a column: longer than in a process of one regime, since lengths that are
#: searched freely learn the known wafers by heart.
LENGTH_PRIOR = (3.0, 1.0)
#: Standard deviation of ln(weight) and ln(noise) about where the search starts: matters with few wafers only.
SIZE_PRIOR = 1.5
#: Of the search: ln of shared and own weight of each part, of the time and of the noise.
START_WEIGHTS = np.log([0.15, 0.15, 0.15, 0.15, 0.2, 0.2])
START_TIME, START_NOISE = float(np.log(0.1)), float(np.log(0.2))
HEAD = 7  # parameters before the lengths


@dataclass(frozen=True, slots=True, repr=False)
class Pooled(Record):
    """A fitted process; make one with :func:`fit_pooled`.

    Attributes
    ----------
    parameters
        ln of the six weights (shared, own; of level, few, all), of the level's time, of the lengths of the few
        columns and of all, and of the noise variance of each regime.
    few
        How many of the columns, from the first, are in the first smooth function.
    low, high
        Between which each column is held.
    centre, spread
        Of the columns.
    mean, scale
        Of the rate, by regime.
    x, regime, target
        The known wafers: scaled columns, regime's number and scaled rate.
    factor, weighted
        What guesses are made with.
    left_out, left_out_sd, ahead, ahead_sd
        Guesses and spread of each known wafer from all others, and from those before it, (wafers,).
    """

    parameters: Array
    few: int
    low: Array
    high: Array
    centre: Array
    spread: Array
    mean: Array
    scale: Array
    x: Array
    regime: Whole
    target: Array
    factor: Array
    weighted: Array
    left_out: Array
    left_out_sd: Array
    ahead: Array
    ahead_sd: Array

    def guess(self, x: Array, regime: Whole, known: Whole | None = None) -> tuple[Array, Array]:
        """Return guesses for new rows.

        Parameters
        ----------
        x
            (rows, columns).
        regime
            Number of each row's, (rows,).
        known
            Each row is guessed from the first so many known wafers only, (rows,).

        Returns
        -------
        tuple[Array, Array]
            Guess and standard deviation (noise included), both (rows,).
        """
        from scipy.linalg import solve_triangular

        z = _scaled(x, self.low, self.high, self.centre, self.spread)
        k = _covariance(self.parameters, self.few, (self.x, self.regime), (z, regime))
        w = solve_triangular(self.factor, k, lower=True)
        if known is not None:
            w = np.where(np.arange(len(self.x))[:, None] < known[None, :], w, 0.0)
        prior = np.exp(self.parameters[:6]).sum() + np.exp(
            self.parameters[len(self.parameters) - len(self.mean) :]
        )
        noise = np.exp(self.parameters[len(self.parameters) - len(self.mean) :])[regime]
        variance = np.maximum(prior[regime] - noise - np.sum(w * w, axis=0), 0.0) + noise
        own = self.scale[regime]
        return self.mean[regime] + own * (self.weighted @ w), own * np.sqrt(variance)

    def mean_guess(self, x: Array, regime: Whole) -> Array:
        """Return guesses for new rows, without their spread: quicker.

        Parameters
        ----------
        x
            (rows, columns).
        regime
            Number of each row's, (rows,).

        Returns
        -------
        Array
            (rows,).
        """
        from scipy.linalg import solve_triangular

        z = _scaled(x, self.low, self.high, self.centre, self.spread)
        k = _covariance(self.parameters, self.few, (z, regime), (self.x, self.regime))
        alpha = solve_triangular(self.factor, self.weighted, lower=True, trans="T")
        out: Array = self.mean[regime] + self.scale[regime] * (k @ alpha)
        return out

    def with_more(self, x: Array, regime: Whole, y: Array) -> Pooled:
        """Return the process that also knows more rows, nothing fitted anew.

        Parameters
        ----------
        x, regime, y
            The new rows, which come after the known ones, and their rates.

        Returns
        -------
        Pooled
            A new one.
        """
        if not len(y):
            return self
        z = np.vstack([self.x, _scaled(x, self.low, self.high, self.centre, self.spread)])
        both = np.concatenate([self.regime, regime])
        target = np.concatenate([self.target, _target(y, regime, self.mean, self.scale)])
        scaling = (self.low, self.high, self.centre, self.spread, self.mean, self.scale)
        return _condition(self.parameters, self.few, scaling, z, both, target)


def fit_pooled(
    x: Array, regime: Whole, y: Array, *, few: int, regimes: int, steps: int = 25, start: Array | None = None
) -> Pooled:
    """Fit a process.

    Parameters
    ----------
    x
        (wafers, columns), the first column being the time, in whose order the rows are.
    regime
        Number of each wafer's, (wafers,).
    y
        Rates, (wafers,).
    few
        How many of the columns, from the first, are in the first smooth function.
    regimes
        How many regimes there are, also those without a wafer yet.
    steps
        At most taken towards the greatest likelihood.
    start
        Parameters of an earlier fit of the same columns to go on from.

    Returns
    -------
    Pooled
        Fitted.

    Notes
    -----
    Columns are held inside their 1st and 99th percentile (not the time). A regime with fewer than three wafers
    takes the spread of the others.
    """
    low, high = np.percentile(x, [1, 99], axis=0)
    low[0], high[0] = -np.inf, np.inf
    held = np.clip(x, low, high)
    centre, spread = held.mean(axis=0), held.std(axis=0)
    spread = np.where(spread > 1e-9 * np.maximum(1.0, np.abs(centre)), spread, np.inf)
    mean, scale = _levels(y, regime, regimes)
    z, target = (held - centre) / spread, _target(y, regime, mean, scale)
    scaling = (low, high, centre, spread, mean, scale)
    found = _search(z, regime, target, few, regimes, steps, start)
    return _condition(found, few, scaling, z, regime, target)


def _levels(y: Array, regime: Whole, regimes: int) -> tuple[Array, Array]:
    """Mean and spread of the rate of each regime."""
    own = [y[regime == r] for r in range(regimes)]
    spreads = [float(v.std()) for v in own if len(v) >= 3]
    usual = max(float(np.mean(spreads)) if spreads else float(y.std()), 1e-12)
    mean = np.array([v.mean() if len(v) else y.mean() for v in own])
    scale = np.array([max(float(v.std()), 0.1 * usual) if len(v) >= 3 else usual for v in own])
    return mean, scale


def _target(y: Array, regime: Whole, mean: Array, scale: Array) -> Array:
    return np.clip((y - mean[regime]) / scale[regime], -CLIP, CLIP)


def _scaled(x: Array, low: Array, high: Array, centre: Array, spread: Array) -> Array:
    return np.asarray((np.clip(x, low, high) - centre) / spread, dtype=np.float64)


def _start(columns: int, few: int, regimes: int) -> tuple[Array, list[tuple[float, float]]]:
    lengths = np.full(few + columns, LENGTH_PRIOR[0])
    lengths[[0, few]] = 0.0
    head = np.concatenate([START_WEIGHTS, [START_TIME]])
    if regimes == 1:  # the own part would be the shared one again
        head[[1, 3, 5]] = -9.0
    bounds = [(-9.0, 3.0) if v > -9.0 else (-9.0, -9.0) for v in head[:6]]
    bounds += [(float(np.log(0.0005)), float(np.log(2.0)))]
    bounds += [(-3.0, 6.0)] * len(lengths) + [(-6.0, 1.0)] * regimes
    return np.concatenate([head, lengths, np.full(regimes, START_NOISE)]), bounds


def _search(
    z: Array, regime: Whole, target: Array, few: int, regimes: int, steps: int, start: Array | None
) -> Array:
    from scipy.optimize import minimize

    usual, bounds = _start(z.shape[1], few, regimes)
    args = (z, regime, target, few, usual)
    found = minimize(
        _loss,
        usual if start is None else start,
        args,
        "L-BFGS-B",
        True,
        bounds=bounds,
        options={"maxiter": steps},
    )
    return np.asarray(found.x, dtype=np.float64)


def _parts(
    p: Array, few: int, a: tuple[Array, Whole], b: tuple[Array, Whole]
) -> tuple[Array, Array, Array, Array]:
    """Time apart in units of the level's time, the two distances times sqrt(3), and whether regimes are the same."""
    (u, r), (v, s) = a, b
    near = np.minimum(np.abs(u[:, :1] - v[None, :, 0]) / np.exp(p[6]), FAR)
    out = []
    for n, at in ((few, HEAD), (u.shape[1], HEAD + few)):
        w = np.exp(-p[at : at + n])
        c, d = u[:, :n] * w, v[:, :n] * w
        square = np.sum(c * c, axis=1)[:, None] + np.sum(d * d, axis=1)[None, :] - 2 * c @ d.T
        out.append(np.minimum(ROOT3 * np.sqrt(np.maximum(square, 0.0)), FAR))
    return near, out[0], out[1], r[:, None] == s[None, :]


def _covariance(p: Array, few: int, a: tuple[Array, Whole], b: tuple[Array, Whole]) -> Array:
    near, d, e, same = _parts(p, few, a, b)
    w = np.exp(p[:6])
    k: Array = (w[0] + w[1] * same) * np.exp(-near)
    k += (w[2] + w[3] * same) * ((1 + d) * np.exp(-d))
    k += (w[4] + w[5] * same) * ((1 + e) * np.exp(-e))
    return k


def _condition(
    p: Array,
    few: int,
    scaling: tuple[Array, Array, Array, Array, Array, Array],
    z: Array,
    regime: Whole,
    target: Array,
) -> Pooled:
    from scipy.linalg import cholesky, solve_triangular

    *_, mean, scale = scaling
    k = _covariance(p, few, (z, regime), (z, regime))
    k[np.diag_indices(len(z))] += np.exp(p[len(p) - len(mean) :])[regime] + JITTER
    factor = cholesky(k, lower=True)
    inverse = solve_triangular(factor, np.eye(len(z)), lower=True)
    weighted = inverse @ target
    precision = np.sum(inverse * inverse, axis=0)
    pivot = np.diag(factor)
    own, level = scale[regime], mean[regime]
    return Pooled(
        p,
        few,
        *scaling,
        x=z,
        regime=regime,
        target=target,
        factor=factor,
        weighted=weighted,
        left_out=level + own * (target - (inverse.T @ weighted) / precision),
        left_out_sd=own / np.sqrt(precision),
        ahead=level + own * (target - pivot * weighted),
        ahead_sd=own * pivot,
    )


def _loss(p: Array, z: Array, regime: Whole, target: Array, few: int, usual: Array) -> tuple[float, Array]:
    """Minus the log likelihood and prior, and the gradient."""
    from scipy.linalg import LinAlgError, cho_factor, cho_solve

    n, columns = z.shape
    near, d, e, same = _parts(p, few, (z, regime), (z, regime))
    w = np.exp(p[:6])
    first = HEAD + few + columns
    noise = np.exp(p[first:])[regime]
    falls = np.exp(-near), np.exp(-d), np.exp(-e)
    shapes = falls[0], (1 + d) * falls[1], (1 + e) * falls[2]
    mixes = [w[2 * i] + w[2 * i + 1] * same for i in range(3)]
    k = mixes[0] * shapes[0] + mixes[1] * shapes[1] + mixes[2] * shapes[2]
    k[np.diag_indices(n)] += noise + JITTER
    try:
        factor = cho_factor(k, lower=True)
    except LinAlgError:
        return 1e10, np.zeros_like(p)
    alpha = cho_solve(factor, target)
    off = (p - usual) / SIZE_PRIOR
    off[6] = 0.0
    off[HEAD:first] = (p[HEAD:first] - LENGTH_PRIOR[0]) / LENGTH_PRIOR[1]
    value = 0.5 * target @ alpha + np.log(np.diag(factor[0])).sum() + 0.5 * np.sum(off**2)
    gradient = off / SIZE_PRIOR
    gradient[HEAD:first] = off[HEAD:first] / LENGTH_PRIOR[1]
    inside = cho_solve(factor, np.eye(n)) - np.outer(alpha, alpha)
    for i in range(3):
        both = inside * shapes[i]
        gradient[2 * i] += 0.5 * w[2 * i] * both.sum()
        gradient[2 * i + 1] += 0.5 * w[2 * i + 1] * both[same].sum()
    gradient[6] += 0.5 * np.sum(inside * mixes[0] * shapes[0] * near)
    for i, m, at in ((1, few, HEAD), (2, columns, HEAD + few)):
        pull = inside * falls[i] * mixes[i] * 3
        u = z[:, :m]
        row, cross = pull.sum(axis=1) @ (u * u), np.einsum("ij,ij->j", u, pull @ u)
        gradient[at : at + m] += np.exp(-2 * p[at : at + m]) * (row - cross)
    own = 0.5 * noise * np.diag(inside)
    gradient[first:] += np.bincount(regime, own, minlength=len(p) - first)
    return float(value), gradient
