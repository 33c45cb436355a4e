r"""A Gaussian process over time and many columns, with guesses for wafers it does not know.

The covariance of two wafers is

    k = a0 exp(-|t - t'|/l0) + a1 m(d),  m(d) = (1 + sqrt(3) d) exp(-sqrt(3) d),
    d^2 = sum_j ((x_j - x'_j)/l_j)^2,

plus noise: a level that wanders in time, and a smooth function of all columns
(time among them) with a length for each. The amplitudes, lengths and noise
maximise the likelihood with a mild prior that keeps lengths long.

Two exact short cuts make honest errors cheap. Leaving out wafer i changes its
guess by alpha_i/(K^-1)_ii, without a refit. And with wafers in order of time
and K = L L', the guess from the earlier wafers alone follows from the first
rows of L, because forward substitution of later rows never reaches earlier
ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Rasmussen & Williams, Gaussian Processes for Machine Learning, MIT Press 2006: Matern covariance, "
    "likelihood and its gradient (ch. 4 and 5) (read as quoted in the scikit-learn user guide), left-out guesses "
    "without a refit (5.10-5.12) (read as quoted in the BoTorch source)",
)

ROOT3 = float(np.sqrt(3.0))
#: Prior of ln(length) in training standard deviations: long unless the data say otherwise.
LENGTH_PRIOR = (2.0, 1.5)
#: Added to the noise so that the covariance always factors.
JITTER = 1e-6
#: Wafers further apart than this have e^-30 in common: far below the jitter, and far above the
#: smallest numbers, with which processors are slow.
FAR = 30.0
#: Measurements further off than this many standard deviations are held there.
CLIP = 4.0


@dataclass(frozen=True, slots=True, repr=False)
class Process(Record):
    """A fitted process; make one with :func:`fit_process`.

    Attributes
    ----------
    log_parameters
        ln of a0, l0, a1, the lengths, and the noise variance, in units of ``scale`` (rate) and ``spread``
        (columns).
    low, high
        Between which each column is held.
    centre, spread
        Of the columns.
    mean, scale
        Of the rate.
    x
        The known wafers scaled, in the given order, (wafers, columns).
    factor, weighted
        What guesses are made with.
    left_out, left_out_sd
        Guesses for each known wafer from all others, (wafers,).
    ahead, ahead_sd
        From those before it, (wafers,).
    """

    log_parameters: Array
    low: Array
    high: Array
    centre: Array
    spread: Array
    mean: float
    scale: float
    x: Array
    factor: Array
    weighted: Array
    left_out: Array
    left_out_sd: Array
    ahead: Array
    ahead_sd: Array

    def guess(self, x: Array, known: NDArray[np.int64] | None = None) -> tuple[Array, Array]:
        """Return guesses for new rows.

        Parameters
        ----------
        x
            (rows, columns).
        known
            Each row is guessed from the first so many known wafers only, (rows,).

        Returns
        -------
        tuple[Array, Array]
            Guess and standard deviation (noise included), both (rows,).
        """
        from scipy.linalg import solve_triangular

        z = (np.clip(x, self.low, self.high) - self.centre) / self.spread
        w = solve_triangular(self.factor, _covariance(self.log_parameters, self.x, z), lower=True)
        if known is not None:
            w = np.where(np.arange(len(self.x))[:, None] < known[None, :], w, 0.0)
        prior = np.exp(self.log_parameters[0]) + np.exp(self.log_parameters[2])
        noise = np.exp(self.log_parameters[-1])
        variance = np.maximum(prior - np.sum(w * w, axis=0), 0.0) + noise
        return self.mean + self.scale * (self.weighted @ w), self.scale * np.sqrt(variance)

    def with_more(self, x: Array, y: Array) -> Process:
        """Return the process that also knows more rows, nothing fitted anew.

        Parameters
        ----------
        x, y
            The new rows, which come after the known ones, and their rates.

        Returns
        -------
        Process
            A new one.
        """
        z = (np.clip(x, self.low, self.high) - self.centre) / self.spread
        old = self.factor @ self.weighted
        return _condition(
            self.log_parameters,
            (self.low, self.high, self.centre, self.spread, self.mean, self.scale),
            np.vstack([self.x, z]),
            np.concatenate([old, np.clip((y - self.mean) / self.scale, -CLIP, CLIP)]),
        )


def fit_process(x: Array, y: Array, *, steps: int = 20) -> Process:
    """Fit a process.

    Parameters
    ----------
    x
        (wafers, columns), the first column being the time. Rows must be in order of time if ``ahead`` is to
        be used.
    y
        (wafers,).
    steps
        At most taken towards the greatest likelihood.

    Returns
    -------
    Process
        Fitted.

    Notes
    -----
    Columns are held inside their 1st and 99th percentile (not the time).
    """
    from scipy.optimize import minimize

    low, high = np.percentile(x, [1, 99], axis=0)
    low[0], high[0] = -np.inf, np.inf
    held = np.clip(x, low, high)
    centre, spread = held.mean(axis=0), held.std(axis=0)
    spread = np.where(spread > 1e-9 * np.maximum(1.0, np.abs(centre)), spread, np.inf)
    mean, scale = float(y.mean()), max(float(y.std()), 1e-12)
    z, target = (held - centre) / spread, np.clip((y - mean) / scale, -CLIP, CLIP)
    columns = x.shape[1]
    start = np.concatenate([np.log([0.3, 0.1, 0.5]), np.full(columns, LENGTH_PRIOR[0]), [np.log(0.2)]])
    start[3] = 0.0
    bounds = [(-8.0, 3.0), (np.log(0.002), np.log(2.0)), (-8.0, 3.0), *[(-3.0, 6.0)] * columns, (-6.0, 1.0)]
    found = minimize(
        _loss, start, args=(z, target), jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": steps}
    )
    return _condition(found.x, (low, high, centre, spread, mean, scale), z, target)


def _covariance(log_parameters: Array, a: Array, b: Array) -> Array:
    a0, l0, a1 = np.exp(log_parameters[:3])
    near, d = _parts(log_parameters, a, b)
    out: Array = a0 * np.exp(-np.minimum(near / l0, FAR)) + a1 * (1 + d) * np.exp(-d)
    return out


def _parts(log_parameters: Array, a: Array, b: Array) -> tuple[Array, Array]:
    """Time between rows of a and b, and sqrt(3) times their distance in units of the lengths."""
    w = np.exp(-log_parameters[3:-1])
    u, v = a * w, b * w
    square = np.sum(u * u, axis=1)[:, None] + np.sum(v * v, axis=1)[None, :] - 2 * u @ v.T
    return np.abs(a[:, :1] - b[None, :, 0]), np.minimum(ROOT3 * np.sqrt(np.maximum(square, 0.0)), FAR)


def _condition(
    log_parameters: Array, scaling: tuple[Array, Array, Array, Array, float, float], z: Array, target: Array
) -> Process:
    from scipy.linalg import cholesky, solve_triangular

    *_, mean, scale = scaling
    k = _covariance(log_parameters, z, z)
    k[np.diag_indices(len(z))] += np.exp(log_parameters[-1]) + JITTER
    factor = cholesky(k, lower=True)
    inverse = solve_triangular(factor, np.eye(len(z)), lower=True)
    weighted = inverse @ target
    precision = np.sum(inverse * inverse, axis=0)
    left_out = target - (inverse.T @ weighted) / precision
    pivot = np.diag(factor)
    return Process(
        log_parameters,
        *scaling,
        x=z,
        factor=factor,
        weighted=weighted,
        left_out=mean + scale * left_out,
        left_out_sd=scale / np.sqrt(precision),
        ahead=mean + scale * (target - pivot * weighted),
        ahead_sd=scale * pivot,
    )


def _loss(log_parameters: Array, z: Array, target: Array) -> tuple[float, Array]:
    """Minus the log likelihood and prior, and the gradient."""
    from scipy.linalg import LinAlgError, cho_factor, cho_solve

    n = len(z)
    a0, l0, a1 = np.exp(log_parameters[:3])
    noise = np.exp(log_parameters[-1])
    near, d = _parts(log_parameters, z, z)
    near = np.minimum(near / l0, FAR)
    wander = a0 * np.exp(-near)
    fall = np.exp(-d)
    smooth = a1 * (1 + d) * fall
    k = wander + smooth
    k[np.diag_indices(n)] += noise + JITTER
    try:
        factor = cho_factor(k, lower=True)
    except LinAlgError:
        return 1e10, np.zeros_like(log_parameters)
    alpha = cho_solve(factor, target)
    off = (log_parameters[3:-1] - LENGTH_PRIOR[0]) / LENGTH_PRIOR[1]
    value = 0.5 * target @ alpha + np.log(np.diag(factor[0])).sum() + 0.5 * np.sum(off**2)
    inside = cho_solve(factor, np.eye(n)) - np.outer(alpha, alpha)
    gradient = np.zeros_like(log_parameters)
    gradient[0] = 0.5 * np.sum(inside * wander)
    gradient[1] = 0.5 * np.sum(inside * wander * near)
    gradient[2] = 0.5 * np.sum(inside * smooth)
    pull = inside * fall * (3 * a1)
    row = pull.sum(axis=1) @ (z * z)
    cross = np.einsum("ij,ij->j", z, pull @ z)
    gradient[3:-1] = np.exp(-2 * log_parameters[3:-1]) * (row - cross) + off / LENGTH_PRIOR[1]
    gradient[-1] = 0.5 * noise * np.trace(inside)
    return float(value), gradient
