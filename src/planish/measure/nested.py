r"""Nested variance components: how much of the spread is lot, wafer, site.

Model: y = mu + lot + wafer(lot) + site(wafer) + ..., each a random effect of
its own variance. With n_g observations in group g,

    T_i = sum over groups g of level i of n_g * mean_g^2,
    SS_i = T_i - T_(i-1),   T_0 = N mu^2 (one group), T_last = sum of y^2,
    E[T_i] = N mu^2 + sum_j var_j c_ij,
    c_ij = N for a level j at or above i,
    c_ij = sum over g of (sum over subgroups h of level j in g of n_h^2) / n_g  below,

which gives as many linear equations as variances. Solving them is the
analysis-of-variance estimate (Henderson's first method): exact for balanced
data, where it equals the textbook formulas and, as long as none is negative,
restricted maximum likelihood; unbiased, though not of least variance, for
unbalanced data. A negative estimate is shown as it comes out.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, brief, counted
from planish.errors import DataError, refuse
from planish.results.result import Result

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "NIST/SEMATECH e-Handbook of Statistical Methods, 3.5.1.4: nested analysis of variance of a "
    "furnace oxide",
    "Expected sums of squares of nested unbalanced data: derived here",
)


@dataclass(frozen=True, slots=True, repr=False)
class Component(Record):
    """One level of the nesting.

    Attributes
    ----------
    level
        Its name.
    groups
        How many.
    df
        Degrees of freedom.
    sum_of_squares, mean_square
        In the square of the value's unit.
    variance
        In the square of the value's unit (may be negative, see the module).
    standard_error
        Of the variance under normality.
    sd
        Its root or 0.
    percent
        Of the sum of variances with negative ones taken as 0.
    f, p
        The test against the level below (balanced data only, else None).
    """

    level: str
    groups: int
    df: int
    sum_of_squares: float
    mean_square: float
    variance: float
    standard_error: float
    sd: float
    percent: float
    f: float | None
    p: float | None

    def _told(self) -> str:
        return (
            f"{brief(self.level)}, {counted(self.groups, 'group')}, sd {self.sd:.4g}, variance {self.variance:.4g} ± "
            f"{self.standard_error:.2g}, {self.percent:.3g} % of all"
        )


@dataclass(frozen=True, slots=True, repr=False)
class NestedVariance(Result):
    """Result of :func:`nested_variance`."""

    kind: ClassVar[str] = "nested variance"

    components: tuple[Component, ...]
    mean: float
    observations: int
    balanced: bool
    value: str
    notes: tuple[str, ...] = ()

    def _told(self) -> str:
        shares = ", ".join(f"{part.level} {part.percent:.3g} %" for part in self.components)
        return f"{brief(self.value)}, mean {self.mean:.5g} over {self.observations} values; share of the variance: {shares}"

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the result as one flat-keyed JSON-ready dict, components by level name."""
        by = {c.level: c for c in self.components}
        return {
            "value": self.value,
            "mean": self.mean,
            "observations": self.observations,
            "balanced": self.balanced,
            "levels": list(by),
            "variance_components": {k: c.variance for k, c in by.items()},
            "standard_errors": {k: c.standard_error for k, c in by.items()},
            "sd": {k: c.sd for k, c in by.items()},
            "percent": {k: c.percent for k, c in by.items()},
            "mean_squares": {k: c.mean_square for k, c in by.items()},
            "degrees_of_freedom": {k: c.df for k, c in by.items()},
            "f": {k: c.f for k, c in by.items()},
            "p": {k: c.p for k, c in by.items()},
        }


def nested_variance(
    columns: Mapping[str, Sequence[object]], value: Sequence[float] | Array, *, value_name: str = "value"
) -> NestedVariance:
    """Return the variance components of a nested study of any depth.

    Parameters
    ----------
    columns
        Level name -> label of each observation, outermost first. Labels need
        only be unique inside the level above (wafer 1 of lot 1 and wafer 1 of
        lot 2 are two wafers). If the innermost level has one observation
        each, it is the residual; else a level "within" is added.
    value
        The measurements, shape (observations,).
    value_name
        What they are called in the result.

    Returns
    -------
    NestedVariance
        One component a level.

    Raises
    ------
    DataError
        If lengths differ, a value is not finite, or a level has nothing to
        vary over (one group only, or as many groups as the level above).
    """
    y = np.asarray(value, dtype=np.float64)
    if not columns:
        raise DataError("a nested study needs at least one level (such as lot,wafer,site)")
    for name, labels in columns.items():
        if len(labels) != y.size:
            raise DataError(f"level {name!r} has {len(labels)} labels for {y.size} values")
    if y.ndim != 1 or y.size < 2 or not np.all(np.isfinite(y)):
        raise DataError(f"a nested study needs two or more finite values of {value_name!r}")
    if np.max(np.abs(y)) > 1e100:
        raise DataError(
            f"{value_name!r}: {np.max(np.abs(y)):.3g}: must be below 1e100 (is the column right?)"
        )
    names, codes = _levels(columns, y.size)
    counts = [np.bincount(c).astype(np.float64) for c in codes]
    balanced = all(np.ptp(n) == 0 for n in counts)
    mean = float(y.mean())
    centred = y - mean  # sums of squares about zero lose digits to the mean
    totals = np.array([0.0, *(_total(c, n, centred) for c, n in zip(codes, counts, strict=True))])
    groups = np.array([1, *(n.size for n in counts)])
    ss, df = np.diff(totals), np.diff(groups)
    for name, d in zip(names, df, strict=True):
        if d <= 0:
            raise DataError(
                f"level {name!r} has no spread of its own: each group of the level above holds one "
                "(leave the level out)"
            )
    ms = ss / df
    # Row i of `expected` gives E[mean square i] as a combination of the variances.
    c = _coefficients(codes, counts, y.size)
    expected = np.diff(c, axis=0) / df[:, None]
    solve = np.linalg.inv(expected)
    variance = solve @ ms
    error = np.sqrt((solve**2) @ (2 * ms**2 / df))
    positive = np.clip(variance, 0, None)
    share = 100 * positive / positive.sum() if positive.sum() > 0 else np.zeros_like(positive)
    notes = []
    if np.any(variance < 0):
        low = ", ".join(n for n, v in zip(names, variance, strict=True) if v < 0)
        notes.append(
            f"the estimate for {low} is negative: the data show no variance there; taken as 0 in sd "
            f"and percent"
        )
    if not balanced:
        notes.append(
            "unbalanced data: estimates by the method of moments; their standard errors are approximate"
        )
    f, p = _tests(ms, df, balanced)
    components = tuple(
        Component(
            names[i],
            int(groups[i + 1]),
            int(df[i]),
            float(ss[i]),
            float(ms[i]),
            float(variance[i]),
            float(error[i]),
            float(np.sqrt(positive[i])),
            float(share[i]),
            f[i],
            p[i],
        )
        for i in range(len(names))
    )
    return NestedVariance(components, mean, y.size, balanced, value_name, tuple(notes))


def read_nested(path: str | os.PathLike[str], levels: Sequence[str], value: str) -> NestedVariance:
    """Read a table and return its nested variance.

    Parameters
    ----------
    path
        The table.
    levels
        Columns of labels, outermost first; names in any case.
    value
        Column of the measurements.

    Returns
    -------
    NestedVariance
        One component a level.

    Raises
    ------
    DataError
        Naming the file and the column or line that cannot be used.
    """
    from planish.measure.tables.read import read_table

    table = read_table(path)
    wanted = [name.strip() for name in levels if name.strip()]
    if not wanted:
        raise DataError(refuse(f"{path}: levels", ",".join(levels), "a list such as lot,wafer,site"))
    if len({w.casefold() for w in wanted}) != len(wanted):
        raise DataError(refuse(f"{path}: levels", ",".join(wanted), "each named once"))
    if value.strip().casefold() in {w.casefold() for w in wanted}:
        raise DataError(refuse(f"{path}: value", value, "a column that is not a level"))
    y = table.numbers(table.header[table.index(value, "the measured column")])
    columns = {w: table.text(table.header[table.index(w, "a level of the nesting")]) for w in wanted}
    try:
        return nested_variance(columns, y, value_name=value)
    except DataError as error:
        raise DataError(f"{path}: {error}") from None


def _levels(columns: Mapping[str, Sequence[Any]], n: int) -> tuple[list[str], list[NDArray[np.int64]]]:
    names: list[str] = []
    codes: list[NDArray[np.int64]] = []
    above = np.zeros(n, dtype=np.int64)
    for name, labels in columns.items():
        _, own = np.unique(np.asarray([str(label) for label in labels]), return_inverse=True)
        _, above = np.unique(above * (own.max() + 1) + own, return_inverse=True)
        names.append(name)
        codes.append(above)
    if codes[-1].max() + 1 < n:
        names.append("within")
        codes.append(np.arange(n))
    return names, codes


def _total(code: NDArray[np.int64], count: Array, y: Array) -> float:
    sums = np.bincount(code, weights=y)
    return float(np.sum(sums**2 / count))


def _coefficients(codes: list[NDArray[np.int64]], counts: list[Array], n: int) -> Array:
    """Return c[i, j] of the module's equations, i from 0 (the whole) to the last level."""
    everything: list[NDArray[np.int64]] = [np.zeros(n, dtype=np.int64), *codes]
    sizes: list[Array] = [np.array([float(n)]), *counts]
    c = np.full((len(everything), len(codes)), float(n))
    for i in range(len(everything)):
        for j in range(i, len(codes)):  # levels[j + 1] lies below row i
            parent = np.zeros(counts[j].size, dtype=np.int64)
            parent[codes[j]] = everything[i]
            c[i, j] = np.sum(np.bincount(parent, weights=counts[j] ** 2) / sizes[i])
    return c


def _tests(ms: Array, df: NDArray[np.int64], balanced: bool) -> tuple[list[float | None], list[float | None]]:
    f: list[float | None] = [None] * len(ms)
    p: list[float | None] = [None] * len(ms)
    if balanced:
        from scipy.special import fdtrc

        for i in range(len(ms) - 1):
            if ms[i + 1] > 0:
                f[i] = float(ms[i] / ms[i + 1])
                p[i] = float(fdtrc(df[i], df[i + 1], f[i]))
    return f, p
