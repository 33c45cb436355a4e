"""A polynomial through the results of designed runs: coefficients with their doubt, what it does not fit, where it is flat.

Pure numbers: coded points and results in, records out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import FitError, refuse
from planish.tuning.design.terms import Term, model_matrix, term_name

Array = NDArray[np.float64]
Kind = Literal["maximum", "minimum", "saddle"]
_SAME_RESULT = 1e-12  # of the largest: results nearer than that are the same
SAME = 1e-6  # coded: runs nearer than that are repeats of one another
FLAT = 1e-9  # of the largest eigenvalue: below that a direction is flat
SOURCES = (
    "Least squares of designed runs, lack of fit against pure error, curvature by centre runs: NIST/SEMATECH e-Handbook, "
    "5.4.7 and 5.5.3.1 (read as quoted in pyDOE's theory pages); Student's t and F by SciPy",
    "Stationary point x = -B^-1 b/2, its kind by the eigenvalues of B, steepest ascent: NIST/SEMATECH e-Handbook, "
    "5.5.3.1.1 and 5.5.3.1.4 (read as quoted in pyDOE's theory pages)",
)


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One term: its coefficient, in the unit of the result for a coded step of 1.

    Standard ``error``, ``t`` and two-sided ``p``; None where no runs are left to tell.
    """

    term: Term
    value: float
    error: float | None
    t: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Source:
    """A row of the analysis of variance; ``f`` and ``p`` None where there is nothing to hold it against."""

    name: str
    degrees: int
    squares: float
    f: float | None = None
    p: float | None = None

    @property
    def mean_square(self) -> float | None:
        """Sum of squares a degree of freedom; None without any."""
        return self.squares / self.degrees if self.degrees else None


@dataclass(frozen=True, slots=True)
class Stationary:
    """Where the surface is flat: coded ``point`` (k,), its ``value``, what ``kind`` it is, curvatures and their axes."""

    point: Array
    value: float
    kind: Kind
    eigenvalues: Array
    axes: Array


@dataclass(frozen=True, slots=True, repr=False)
class Fitted(Record):
    """A fitted surface.

    Attributes
    ----------
    terms
        The constant first.
    coefficients
        One a term.
    residual
        Measured less fitted, run by run.
    covariance
        Of the coefficients over the residual variance, (terms, terms).
    r_squared, adjusted, predicted
        Share of the variation told; adjusted for the terms; of runs left out one by one (PRESS). None where undefined.
    spread
        Residual standard deviation; None where as many terms as runs.
    anova
        Model, residual, and where runs repeat lack of fit and pure error; curvature where the centre tells one.
    """

    terms: tuple[Term, ...]
    coefficients: tuple[Coefficient, ...]
    residual: Array
    covariance: Array
    r_squared: float | None
    adjusted: float | None
    predicted: float | None
    spread: float | None
    anova: tuple[Source, ...]

    def _told(self) -> str:
        return f"{len(self.terms)} terms over {self.residual.size} runs"

    @property
    def values(self) -> Array:
        """The coefficients (terms,)."""
        return np.array([one.value for one in self.coefficients])

    def at(self, points: Array) -> Array:
        """Return the surface at coded points.

        Parameters
        ----------
        points
            (n, k).

        Returns
        -------
        Array
            (n,).
        """
        return model_matrix(np.atleast_2d(points), self.terms) @ self.values

    def error_at(self, points: Array) -> Array | None:
        """Return the standard error of the surface at coded points (n, k); None where no runs are left to tell."""
        if self.spread is None:
            return None
        model = model_matrix(np.atleast_2d(points), self.terms)
        errors: Array = self.spread * np.sqrt(np.einsum("ij,jk,ik->i", model, self.covariance, model))
        return errors

    def source(self, name: str) -> Source | None:
        """Return a row of the analysis of variance by its name; None where there is none."""
        return next((one for one in self.anova if one.name == name), None)

    def slope(self) -> Array:
        """Return the slope in the middle (k,), which points the steepest way up, in coded steps."""
        k = len(self.terms[0])
        found = np.zeros(k)
        for term, value in zip(self.terms, self.values, strict=True):
            if sum(term) == 1:
                found[term.index(1)] = value
        return found

    def curvature(self) -> Array:
        """Return B (k, k): squares on the diagonal, half of the interactions beside it, in coded steps."""
        k = len(self.terms[0])
        found = np.zeros((k, k))
        for term, value in zip(self.terms, self.values, strict=True):
            if sum(term) == 2:
                first, *more = [place for place, power in enumerate(term) if power]
                other = more[0] if more else first
                found[first, other] += value / 2
                found[other, first] += value / 2
        return found

    def stationary(self) -> Stationary | None:
        """Return where a surface of the second order is flat; None for one without a single such point."""
        if max(sum(term) for term in self.terms) != 2:
            return None
        bent, slope = self.curvature(), self.slope()
        eigenvalues, axes = np.linalg.eigh(bent)
        if np.abs(eigenvalues).min() <= FLAT * np.abs(eigenvalues).max():
            return None
        point: Array = np.asarray(-0.5 * np.linalg.solve(bent, slope), dtype=np.float64)
        kind: Kind = "saddle"
        if np.all(eigenvalues > 0):
            kind = "minimum"
        elif np.all(eigenvalues < 0):
            kind = "maximum"
        return Stationary(point, float(self.at(point)[0]), kind, eigenvalues, axes)


def fit_surface(points: Array, results: Array, terms: Sequence[Term]) -> Fitted:
    """Return the least-squares polynomial through results.

    Parameters
    ----------
    points
        Coded settings, (runs, k).
    results
        (runs,).
    terms
        Of the polynomial, the constant first (`planish.tuning.design.terms`).

    Returns
    -------
    Fitted
        With its analysis of variance.

    Raises
    ------
    FitError
        For fewer runs than terms, or runs that do not tell the terms apart: it names those that hang together.
    """
    x, y = np.asarray(points, dtype=np.float64), np.asarray(results, dtype=np.float64)
    model = model_matrix(x, terms)
    runs, count = model.shape
    if runs < count:
        raise FitError(refuse("runs with a result", runs, f"{count} or more, one a term", "take fewer terms"))
    hanging = _hanging(model, terms)
    if hanging:
        raise FitError(
            f"the runs do not tell these terms apart: {', '.join(hanging)}: must be fewer terms, or more runs"
        )
    size = float(np.abs(y).max())
    if runs > 1 and float(np.ptp(y)) <= _SAME_RESULT * size:
        raise FitError(
            refuse(
                "results",
                f"{y[0]:.6g} in every run",
                "such as differ",
                "nothing here moves them, or the column is another",
            )
        )
    q, r = np.linalg.qr(model)
    values = np.linalg.solve(r, q.T @ y)
    residual = y - model @ values
    back = np.linalg.inv(r)
    covariance = back @ back.T
    left = runs - count
    total, unexplained = float(np.sum((y - y.mean()) ** 2)), float(residual @ residual)
    told = total > 0
    lever = np.sum(q**2, axis=1)
    press = float(np.sum((residual / (1.0 - lever)) ** 2)) if np.all(lever < 1.0 - 1e-9) else None
    variance = unexplained / left if left else None
    return Fitted(
        terms=tuple(terms),
        coefficients=tuple(
            _coefficient(*row, variance, left) for row in zip(terms, values, np.diag(covariance), strict=True)
        ),
        residual=residual,
        covariance=covariance,
        r_squared=1.0 - unexplained / total if told else None,
        adjusted=1.0 - (unexplained / left) / (total / (runs - 1)) if told and left else None,
        predicted=1.0 - press / total if told and press is not None and left else None,
        spread=None if variance is None else float(np.sqrt(variance)),
        anova=tuple(_anova(x, y, model, residual, total, flat=max(map(max, terms)) < 2)),
    )


def _coefficient(term: Term, value: float, own: float, variance: float | None, left: int) -> Coefficient:
    from scipy.stats import t as student

    if variance is None or variance == 0.0:
        return Coefficient(term, float(value), None, None, None)
    error = float(np.sqrt(own * variance))
    ratio = float(value) / error
    return Coefficient(term, float(value), error, ratio, float(2.0 * student.sf(abs(ratio), left)))


def _hanging(model: Array, terms: Sequence[Term]) -> list[str]:
    """Return the names of terms that hang together in these runs; none where all are told apart."""
    if np.linalg.matrix_rank(model) == model.shape[1]:
        return []
    _, sizes, right = np.linalg.svd(model)
    free = right[np.sum(sizes > 1e-9 * sizes[0]) :]
    return [
        term_name(term) for term, part in zip(terms, np.abs(free).max(axis=0), strict=True) if part > 1e-6
    ]


def _anova(x: Array, y: Array, model: Array, residual: Array, total: float, *, flat: bool) -> list[Source]:
    runs, count = model.shape
    left, unexplained = runs - count, float(residual @ residual)
    rows = [_against("model", count - 1, total - unexplained, left, unexplained)]
    if squared := _curvature(x, y, model, unexplained) if flat else None:
        rows.append(squared)
    rows.append(Source("residual", left, unexplained))
    pure, repeats = _pure_error(x, y)
    if repeats and left > repeats:
        rows.append(_against("lack of fit", left - repeats, unexplained - pure, repeats, pure))
    if repeats:
        rows.append(Source("pure error", repeats, pure))
    return rows


def _against(name: str, degrees: int, squares: float, against: int, noise: float) -> Source:
    """Return a row held against noise; without an F where there is none of it."""
    from scipy.stats import f as fisher

    if not (degrees and against and noise > 0):
        return Source(name, degrees, squares)
    ratio = (squares / degrees) / (noise / against)
    return Source(name, degrees, squares, ratio, float(fisher.sf(ratio, degrees, against)))


def _pure_error(x: Array, y: Array) -> tuple[float, int]:
    """Return the sum of squares within repeated runs, and how many of them are repeats."""
    _, group = np.unique(np.round(x / SAME) + 0.0, axis=0, return_inverse=True)
    group = group.ravel()
    means = np.bincount(group, y) / np.bincount(group)
    return float(np.sum((y - means[group]) ** 2)), int(y.size - means.size)


def _curvature(x: Array, y: Array, model: Array, unexplained: float) -> Source | None:
    """Return what the centre runs stand off a surface without squares, against the noise that is left then.

    The one column "is the centre" is what the squares of a two-level plan look like from its centre runs.
    """
    centre = np.all(np.abs(x) < SAME, axis=1)
    wider = np.column_stack([model, centre])
    if not 0 < centre.sum() < len(x) or np.linalg.matrix_rank(wider) <= model.shape[1]:
        return None
    rest = y - wider @ np.linalg.lstsq(wider, y, rcond=None)[0]
    noise = float(rest @ rest)
    return _against("curvature", 1, unexplained - noise, len(x) - wider.shape[1], noise)
