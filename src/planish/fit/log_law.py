"""What laws linear in the logarithm of the rate are made of: wafers before and after a cut, terms, least squares, errors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError, refuse
from planish.measure.traces.wafers import USES, Wafers

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Slopes of the law in ln(rate) per standard deviation of a term are of this size at most.
SLOPE_SCALE = 0.1


@dataclass(frozen=True, slots=True)
class Term:
    """One regressor: how a column of the wafer table becomes a number of order one."""

    name: str
    column: str
    log: bool
    low: float
    high: float
    centre: float
    scale: float

    def __call__(self, table: pl.DataFrame) -> Array:
        """Return (x - centre)/scale, held inside the training range; 0 where nothing was recorded."""
        v = _values(table, self.column, self.log)
        out = (np.clip(v, self.low, self.high) - self.centre) / self.scale
        return np.where(np.isfinite(out), out, 0.0)


def split_in_time(wafers: Wafers, training_share: float) -> tuple[pl.DataFrame, Mask]:
    """Return the credible wafers and which of them lie before the cut.

    Parameters
    ----------
    wafers
        From :func:`~planish.measure.traces.wafers.cut_wafers`, with rates.
    training_share
        Share of all credible wafers, in order of start, that lies before it.

    Returns
    -------
    tuple[pl.DataFrame, Mask]
        The wafers, and a mark on those before the cut.

    Raises
    ------
    FitError
        If there are no rates, or the share leaves too few wafers on either side.
    """
    import polars as pl

    if not 0.1 <= training_share <= 0.95:
        raise FitError(refuse("training share", training_share, "between 0.1 and 0.95"))
    if "rate" not in wafers.table.columns:
        raise FitError(f"{wafers.source}: no measured rates were joined: there is nothing to fit to")
    table = wafers.table.filter(pl.col("credible"))
    cut = int(training_share * table.height)
    if cut < 30 or table.height - cut < 10:
        raise FitError(
            f"{wafers.source}: {table.height} wafers with a credible rate are too few to fit and to judge "
            "(30 before the cut and 10 after it, or more, are needed)"
        )
    start = table["start"].to_numpy()
    return table, start < start[cut]


def build_terms(table: pl.DataFrame, rows: Mask, notes: list[str]) -> tuple[Term, ...]:
    """Return the terms that the training rows can tell apart.

    Parameters
    ----------
    table
        Of wafers.
    rows
        Marks those learned from, (rows,).
    notes
        Told what is left out; changed in place.

    Returns
    -------
    tuple[Term, ...]
        In their order.
    """
    columns = [("pressure_speed", True)]
    columns += [(c, True) for c in table.columns if c.startswith("seconds_")]
    columns += [(c, False) for c in USES if c in table.columns]
    start = table["start"].to_numpy()[rows]
    terms: list[Term] = []
    kept: list[Array] = []
    for column, log in columns:
        v = _values(table, column, log)[rows]
        seen = v[np.isfinite(v)]
        if len(seen) < 0.5 * rows.sum() and not (column == "pressure_speed" and len(seen) >= 30):
            if len(seen):
                notes.append(
                    f"{column} was recorded for {len(seen)} of {int(rows.sum())} training wafers: left out"
                )
            continue
        low, high = np.percentile(seen, [1, 99])
        held = np.clip(v, low, high)
        centre, scale = float(np.nanmean(held)), float(np.nanstd(held))
        if scale < 1e-6 * max(1.0, abs(centre)):
            notes.append(f"{column} never changed in training: left out")
            continue
        x = np.where(np.isfinite(held), (held - centre) / scale, 0.0)
        if column in USES and abs(rank_correlation(start, v)) > 0.95:
            notes.append(
                f"{column} only ever rose in training: it cannot be told from the calendar and is left out"
            )
            continue
        twin = next(
            (t.column for t, o in zip(terms, kept, strict=True) if abs(np.corrcoef(o, x)[0, 1]) > 0.995), None
        )
        if twin:
            notes.append(f"{column} moved in step with {twin}: one stands for both")
            continue
        name = f"ln {column}" if log else column
        terms.append(Term(name, column, log, float(low), float(high), centre, scale))
        kept.append(x)
    return tuple(terms)


def plain_law(own: pl.DataFrame, train: Mask, notes: list[str]) -> tuple[tuple[Term, ...], Array, Array]:
    """Return the law of one regime by least squares.

    Parameters
    ----------
    own
        The regime's wafers.
    train
        Marks those learned from, (rows,).
    notes
        Told what is left out; changed in place.

    Returns
    -------
    tuple[tuple[Term, ...], Array, Array]
        Terms, design matrix for all rows, and coefficients.
    """
    terms = build_terms(own, train, notes)
    x = np.column_stack([np.ones(own.height), *(t(own) for t in terms)])
    y = np.log(own["rate"].to_numpy().astype(np.float64))
    beta, *_ = np.linalg.lstsq(x[train], y[train], rcond=None)
    return terms, x, beta


def newey_west(x: Array, residual: Array, lag: int) -> Array:
    """Return the covariance of least-squares coefficients under correlated residuals.

    Parameters
    ----------
    x
        Design matrix, (rows, terms).
    residual
        (rows,).
    lag
        Up to which residuals are correlated [rows].

    Returns
    -------
    Array
        (terms, terms).
    """
    bread = np.linalg.inv(x.T @ x)
    score = x * residual[:, None]
    meat = score.T @ score
    for k in range(1, lag + 1):
        cross = score[k:].T @ score[:-k]
        meat += (1 - k / (lag + 1)) * (cross + cross.T)
    cov: Array = bread @ meat @ bread * len(x) / (len(x) - x.shape[1])
    return cov


def rmse(error: Array) -> float:
    """Return the root of the mean square.

    Parameters
    ----------
    error
        Any shape.

    Returns
    -------
    float
        In its unit.
    """
    return float(np.sqrt(np.mean(error**2)))


def rank_correlation(a: Array, b: Array) -> float:
    """Return Spearman's rank correlation.

    Parameters
    ----------
    a, b
        (n,).

    Returns
    -------
    float
        0 where either does not vary.
    """
    from scipy.stats import rankdata

    good = np.isfinite(a) & np.isfinite(b)
    if good.sum() < 3 or np.ptp(b[good]) == 0:
        return 0.0
    return float(np.corrcoef(rankdata(a[good]), rankdata(b[good]))[0, 1])


def _values(table: pl.DataFrame, column: str, log: bool) -> Array:
    v = table[column].to_numpy().astype(np.float64)
    if not log:
        return v
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(v > 0, np.log(np.where(v > 0, v, 1.0)), np.nan)
