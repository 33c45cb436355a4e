"""How well unseen wafers are guessed, on measured wafers left out and never looked at.

Retrospective: each random fold of the wafers, lying among the others in
time, is guessed from the rest. Ahead: each wafer of a fold is guessed from
the known wafers before it. The rivals know the same wafers:

- ``plain_trees``: extremely randomised trees on means, spreads and maxima of
  each channel over the polish, with stage and route (ahead: grown anew on
  all earlier wafers at each of ten cuts in time);
- ``last_three``: mean of the last three known wafers of the regime.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.fit.log_law import rmse
from planish.fit.unseen import FEW, SOURCES, RatePredictor
from planish.measure.traces.wafers import Wafers
from planish.results.result import Result

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PLAIN_TREES = 200
FOLDS = 5
CUTS = 10


@dataclass(frozen=True, slots=True, repr=False)
class Check(Result):
    """Errors on wafers left out: root mean squares in the unit of the rates, by model.

    Models: ``guess`` (:class:`~planish.fit.unseen.RatePredictor`) and the rivals.

    Attributes
    ----------
    mode
        Whether later rates were used.
    wafers
        How many were judged.
    rmse
        Over all.
    by_fold
        One dict a fold.
    by_regime
        One a regime.
    coverage
        Share of measured rates inside the band, of all that were guessed.
    guessed
        Of all left out: their number and that of those guessed, and the error of these (the rivals know nothing of
        some of the first).
    from_few
        Of those guessed from few wafers: their number, the error of the guess and of the last three.
    """

    kind: ClassVar[str] = "check of guesses"
    notes: ClassVar[tuple[str, ...]] = ()  # its figures say it all

    mode: str
    wafers: int
    rmse: dict[str, float]
    by_fold: tuple[dict[str, float], ...]
    by_regime: dict[str, dict[str, float]]
    coverage: float
    guessed: dict[str, float]
    from_few: dict[str, float]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the figures as a JSON-ready dict."""
        return {
            "mode": self.mode,
            "wafers_judged": self.wafers,
            "rmse": self.rmse,
            "rmse_by_fold": list(self.by_fold),
            "rmse_by_regime": self.by_regime,
            "band_coverage_percent": 100 * self.coverage,
            "guessed": self.guessed,
            "guessed_from_few": self.from_few,
        }


def check_unseen(
    wafers: Wafers,
    *,
    retrospective: bool,
    folds: int = FOLDS,
    only: int | None = None,
    seed: int = 0,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> Check:
    """Leave out random parts of the credible wafers and guess them.

    Parameters
    ----------
    wafers
        With rates.
    retrospective
        Whether later rates may be used.
    folds
        Number of parts.
    only
        Leave out the first few of them only.
    seed
        Of the folds and the trees.
    workers
        Threads; the numbers do not depend on them.
    progress
        Called with (parts done, all).

    Returns
    -------
    Check
        By model.
    """
    import polars as pl

    table = wafers.table.filter(pl.col("credible"))
    rate = table["rate"].to_numpy().astype(np.float64)
    fold = np.random.default_rng(seed).permutation(len(rate)) % folds
    models = {m: np.full(len(rate), np.nan) for m in ("guess", "plain_trees", "last_three")}
    low, high = np.full(len(rate), np.nan), np.full(len(rate), np.nan)
    regime, knew = np.full(len(rate), "", dtype=object), np.zeros(len(rate), dtype=np.int64)
    mode = ""
    count = folds if only is None else only
    for k in range(count):
        out = fold == k
        known = replace(wafers, table=table.filter(pl.Series(~out)))
        left = replace(wafers, table=table.filter(pl.Series(out)).drop("rate", "credible"))
        predictor = RatePredictor.fit(known, seed=seed, workers=workers)
        found = predictor.predict(left, retrospective=retrospective)
        models["guess"][out], low[out], high[out] = found.rate, found.low, found.high
        regime[out], knew[out], mode = found.regime, found.known, found.mode
        label = predictor.regimes.label(known.table)
        models["last_three"][out] = _last_three(known.table, label, found.start, found.regime)
        models["plain_trees"][out] = (
            plain_trees(known, left, seed=seed, workers=workers)
            if retrospective
            else _plain_ahead(known, left, seed=seed, workers=workers)
        )
        if progress is not None:
            progress(k + 1, count)
    judged = np.isfinite(np.sum(list(models.values()), axis=0))
    guessed = np.isfinite(models["guess"])
    few = guessed & (knew < FEW)

    def errors(rows: Mask) -> dict[str, float]:
        return {m: rmse((g - rate)[rows]) for m, g in models.items()}

    return Check(
        mode,
        int(judged.sum()),
        errors(judged),
        tuple(errors(judged & (fold == k)) for k in range(count)),
        {str(n): errors(judged & (regime == n)) for n in np.unique(regime[judged])},
        float(((rate >= low) & (rate <= high))[guessed].mean()),
        {
            "wafers": int((fold < count).sum()),
            "guessed": int(guessed.sum()),
            "rmse": rmse((models["guess"] - rate)[guessed]),
            "mean_width_of_band": float((high - low)[guessed].mean()),
        },
        {
            "wafers": int(few.sum()),
            **({m: errors(few)[m] for m in ("guess", "last_three")} if few.any() else {}),
        },
    )


def _last_three(
    known: pl.DataFrame, label: NDArray[np.character], start: Array, regime: NDArray[np.character]
) -> Array:
    at, rate = known["start"].to_numpy(), known["rate"].to_numpy().astype(np.float64)
    out = np.full(len(start), np.nan)
    for i, (t, name) in enumerate(zip(start, regime, strict=True)):
        past = rate[(label == name) & (at < t)]
        if len(past):
            out[i] = past[-3:].mean()
    return out


def _plain_ahead(known: Wafers, left: Wafers, *, seed: int, workers: int) -> Array:
    import polars as pl

    start = left.table["start"].to_numpy()
    at = known.table["start"].to_numpy()
    edges = [*at[np.linspace(0, len(at), CUTS, endpoint=False, dtype=int)[1:]], np.inf]
    out = np.full(len(start), np.nan)
    for a, b in itertools.pairwise(edges):
        rows = (start >= a) & (start < b)
        if rows.any():
            past = replace(known, table=known.table.filter(pl.col("start") < a))
            here = replace(left, table=left.table.filter(pl.Series(rows)))
            out[rows] = plain_trees(past, here, seed=seed, workers=workers)
    return out


def plain_trees(known: Wafers, left: Wafers, *, seed: int, workers: int) -> Array:
    """Return the plain rival's guesses.

    Parameters
    ----------
    known
        Wafers learned from.
    left
        Wafers guessed.
    seed
        The numbers depend on it.
    workers
        Threads; the numbers do not depend on them.

    Returns
    -------
    Array
        (wafers left,).
    """
    from sklearn.ensemble import ExtraTreesRegressor

    x, new = _plain_columns(known), _plain_columns(left)
    routes = sorted(set(_route_of(known)) | set(_route_of(left)))
    add = [np.array([[r == o for o in routes] for r in _route_of(w)], dtype=float) for w in (known, left)]
    rate = known.table["rate"].to_numpy().astype(np.float64)
    trees = ExtraTreesRegressor(PLAIN_TREES, random_state=seed, n_jobs=workers)
    trees.fit(np.hstack([x, add[0]]), rate)
    trees.n_jobs = 1  # trees added up by several threads would differ in the last digit
    return np.asarray(trees.predict(np.hstack([new, add[1]])), dtype=np.float64)


def _plain_columns(wafers: Wafers) -> Array:
    assert wafers.phases is not None
    whole = wafers.table.select("wafer", "stage").join(
        wafers.phases, on=["wafer", "stage"], how="left", maintain_order="left"
    )
    columns = [c for c in whole.columns if c.startswith("whole_")]
    out: Array = whole.select(columns).fill_null(-1.0).to_numpy().astype(np.float64)
    return np.nan_to_num(out, nan=-1.0)


def _route_of(wafers: Wafers) -> list[tuple[str, str]]:
    """Stage and first chamber: what tells the regimes apart."""
    return [
        (s, c[0])
        for s, c in zip(wafers.table["stage"].to_list(), wafers.table["chambers"].to_list(), strict=True)
    ]
