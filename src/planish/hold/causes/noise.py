"""How the wafers differ when nothing has changed: variance components by likelihood, and the table of the rows themselves.

The covariance of a wafer's figures is taken as

    S = s1^2 f f' + s2^2 w w' + s3^2 r r' + s4^2 D + diagonal of the columns beside

with f, w, r what a thicker film, a bowl of it and a higher rate do by the model, D one over the sites of each ring. The s are the
likeliest for the rows before the window, with a log-normal prior about stated spreads; then S is averaged with the rows' own
covariance as an inverse Wishart prior of so many rows has it, so that few rows suffice and many overrule the model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record

Array = NDArray[np.float64]
# Spreads before the data: of film, bowl and rate as a lot's chance has them, a site [nm], time [%], temperature [K], friction [%].
STATED = {
    "film": 0.01,
    "bowl": 0.005,
    "rate": 0.005,
    "site": 0.5,
    "time": 0.1,
    "temperature": 0.3,
    "friction": 1.0,
}
DOUBT = 0.8  # of their logarithms
ROWS_OF_PRIOR = 5.0  # times the figures: so many rows the model counts as


@dataclass(frozen=True, slots=True, repr=False)
class Noise(Record):
    """Covariance of one wafer's figures (d, d), and the spreads found by name (as ``STATED``)."""

    covariance: Array
    spreads: dict[str, float]

    def whiten(self, figures: Array) -> Array:
        """Return figures (..., d) in independent units of one standard deviation."""
        from scipy.linalg import solve_triangular

        root = np.linalg.cholesky(self.covariance)
        flat = figures.reshape(-1, figures.shape[-1])
        return np.asarray(solve_triangular(root, flat.T, lower=True).T).reshape(figures.shape)


def noise_of(residual: Array, directions: Array, sites: NDArray[np.int64], extras: tuple[str, ...]) -> Noise:
    """Return how wafers differ.

    Parameters
    ----------
    residual
        (rows, d): rows before the window, less the model's course.
    directions
        (3, d): what film, bowl and rate do.
    sites
        (rings,): on each ring.
    extras
        Columns beside, after twice the rings.

    Returns
    -------
    Noise
        For :meth:`Noise.whiten`.
    """
    from scipy.optimize import minimize

    names = ("film", "bowl", "rate", "site", *extras)
    parts = [np.outer(each, each) for each in directions]
    count = sites.size
    diagonal = np.zeros(residual.shape[1])
    diagonal[: 2 * count] = np.tile(1.0 / sites, 2)
    parts.append(np.diag(diagonal))
    for number in range(len(extras)):
        unit = np.zeros(residual.shape[1])
        unit[2 * count + number] = 1.0
        parts.append(np.diag(unit))
    table = np.stack(parts)
    before = np.log([STATED[name] for name in names])
    freedom = residual.shape[0] - 1.0
    centred = residual - residual.mean(axis=0)
    scatter = centred.T @ centred

    def loss(logs: Array) -> tuple[float, Array]:
        weights = np.exp(2 * logs)
        inverse = np.linalg.inv(np.tensordot(weights, table, 1))
        _, determinant = np.linalg.slogdet(inverse)
        value = 0.5 * (-freedom * determinant + np.sum(inverse * scatter))
        pull = freedom * inverse - inverse @ scatter @ inverse
        slope = weights * np.einsum("kij,ij->k", table, pull)
        off = (logs - before) / DOUBT
        return float(value + 0.5 * off @ off), slope + off / DOUBT

    logs = minimize(loss, before, jac=True, method="L-BFGS-B", bounds=[(b - 3.0, b + 3.0) for b in before]).x
    model = np.tensordot(np.exp(2 * logs), table, 1)
    prior = ROWS_OF_PRIOR * residual.shape[1]
    return Noise(
        (prior * model + scatter) / (prior + freedom),
        {name: float(np.exp(log)) for name, log in zip(names, logs, strict=True)},
    )
