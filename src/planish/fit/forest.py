"""A learned rate beside the fitted law: a forest of randomised trees on all features of the traces.

The forest learns ln(rate) less a start: the mean of the regime, or its
fitted law. It is there to be compared honestly: its few settings are chosen by forward
chaining inside the training part (learn from the first wafers, judge on the
next), never on the wafers left out. A tree cannot predict a rate outside
those it has seen, so a drift defeats it; with the drift followed (see
``fit.drift``) only the residuals of the forward chain are used, since those
of wafers it has learned are too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.fit.drift import choose_strength, follow
from planish.fit.log_law import plain_law, rank_correlation, rmse, split_in_time
from planish.measure.traces.regimes import FEWEST, Regimes, find_regimes
from planish.measure.traces.wafers import USES, Wafers
from planish.results.result import Result

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SOURCES: tuple[str, ...] = (
    "Geurts, Ernst & Wehenkel 2006, Mach. Learn. 63, 3: extremely randomised trees (read as quoted in the "
    "scikit-learn user guide); "
    "scikit-learn",
)

#: Settings tried: what the forest starts from, and the least number of wafers in a leaf.
SETTINGS: tuple[tuple[str, int], ...] = (("mean", 3), ("mean", 10), ("law", 3), ("law", 10))
SHARE = 0.4  # of the features, tried at each split
CHAIN = 4


@dataclass(frozen=True, slots=True, repr=False)
class Learned(Result):
    """Result of :func:`learn_rates`; arrays hold a value a wafer in time order.

    Attributes
    ----------
    start
        Of the polish [s].
    measured
        Rate.
    regime
        Name of each wafer's.
    training
        Whether it was learned from.
    predicted
        "forest" and "forest_and_drift" (NaN before the drift can be followed).
    rmse
        By regime and model over the wafers left out, "all" being all of them.
    importance
        Features that matter most with their share (of impurity: a hint, no proof).
    settings
        Of the forest.
    features
        All that were learned from.
    notes
        What had to be assumed, in plain words.
    """

    kind: ClassVar[str] = "learned rates"

    start: Array
    measured: Array
    regime: NDArray[np.character]
    training: Mask
    predicted: dict[str, Array]
    rmse: dict[str, dict[str, float]]
    importance: tuple[tuple[str, float], ...]
    settings: tuple[str, int]
    features: tuple[str, ...]
    notes: tuple[str, ...]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the figures as a JSON-ready dict (no arrays)."""
        return {
            "wafers_judged": int((~self.training).sum()),
            "rmse_by_regime": self.rmse,
            "starts_from": self.settings[0],
            "least_wafers_in_a_leaf": self.settings[1],
            "importance": dict(self.importance),
        }


def learn_rates(
    wafers: Wafers, *, training_share: float = 0.7, trees: int = 120, seed: int = 0, workers: int = 2
) -> Learned:
    """Learn the rate from all features of the training wafers and judge it on the later ones.

    The numbers depend on ``seed`` and not on ``workers``.

    Parameters
    ----------
    wafers
        With rates.
    training_share
        Of all credible wafers, in order of start, that is learned from.
    trees
        Of the forest.
    seed
        The numbers depend on it.
    workers
        Threads; the numbers do not depend on them.

    Returns
    -------
    Learned
        Judged on the later wafers.

    Raises
    ------
    FitError
        As :func:`~planish.fit.traces.fit_rate_law`.
    """
    table, training = split_in_time(wafers, training_share)
    regimes = find_regimes(table, training)
    label = regimes.label(table)
    rate = table["rate"].to_numpy().astype(np.float64)
    notes: list[str] = []
    features = feature_names(table, training, notes)
    x = _matrix(table, features, label, regimes)
    y = np.log(rate)

    def grow(rows: Mask, base: Array, leaf: int, count: int) -> Any:
        from sklearn.ensemble import ExtraTreesRegressor

        forest = ExtraTreesRegressor(
            count, min_samples_leaf=leaf, max_features=SHARE, random_state=seed, n_jobs=workers
        )
        forest.fit(x[rows], (y - base)[rows])
        forest.n_jobs = 1  # trees added up by several threads would differ in the last digit
        return forest

    blocks = np.array_split(np.flatnonzero(training), CHAIN + 1)
    chains = {s: np.full(len(rate), np.nan) for s in SETTINGS}
    for k in range(1, CHAIN + 1):
        past = np.zeros(len(rate), dtype=bool)
        past[np.concatenate(blocks[:k])] = True
        for start in ("mean", "law"):
            base = _base(start, table, past, label, regimes)
            for setting in SETTINGS:
                if setting[0] == start:
                    forest = grow(past, base, setting[1], max(trees // 4, 10))
                    chains[setting][blocks[k]] = base[blocks[k]] + forest.predict(x[blocks[k]])
    known = np.concatenate(blocks[1:])
    errors_inside = {s: rmse((np.exp(c) - rate)[known]) for s, c in chains.items()}
    settings = min(SETTINGS, key=lambda s: errors_inside[s])
    notes.append(
        "forest settings by forward chaining inside training: "
        + ", ".join(f"{s} {e:.3g}" for s, e in errors_inside.items())
        + f"; taken {settings}"
    )
    base = _base(settings[0], table, training, label, regimes)
    model = grow(training, base, settings[1], trees)
    learned = base + model.predict(x)
    forest_rate = np.exp(learned)
    ahead = np.where(training, chains[settings], learned)
    drifted = np.full(len(rate), np.nan)
    for name in regimes.names:
        rows = np.flatnonzero((label == name) & np.isfinite(ahead))
        residual = y[rows] - ahead[rows]
        inside = training[rows]
        nothing = np.empty((len(rows), 0))
        noise = max(float(np.std(np.diff(residual[inside]))) / np.sqrt(2), 1e-6)
        strength = choose_strength(residual[inside], nothing[inside], noise=noise, slope_scale=1.0)
        followed = follow(residual, nothing, strength, noise=noise, slope_scale=1.0)
        drifted[rows] = np.exp(ahead[rows] + followed.ahead)
    predicted = {"forest": forest_rate, "forest_and_drift": drifted}
    errors: dict[str, dict[str, float]] = {}
    for name in (*regimes.names, "all"):
        left = ~training & ((label == name) | (name == "all"))
        if left.any():
            errors[name] = {m: rmse((p - rate)[left]) for m, p in predicted.items()}
    names = (*features, *regimes.names)
    top = np.argsort(model.feature_importances_)[::-1][:12]
    return Learned(
        start=table["start"].to_numpy(),
        measured=rate,
        regime=label,
        training=training,
        predicted=predicted,
        rmse=errors,
        importance=tuple((names[i], float(model.feature_importances_[i])) for i in top),
        settings=settings,
        features=features,
        notes=tuple(notes),
    )


def feature_names(table: pl.DataFrame, training: Mask, notes: list[str]) -> tuple[str, ...]:
    """Return the numeric columns that vary in training and are not mere calendars.

    Parameters
    ----------
    table
        Of wafers.
    training
        Marks those learned from, (rows,).
    notes
        Told what is left out; changed in place.

    Returns
    -------
    tuple[str, ...]
        In the table's order.
    """
    skip = {"wafer", "stage", "start", "chambers", "rate", "credible", "samples"}
    start = table["start"].to_numpy()[training]
    out = []
    for name in table.columns:
        if name in skip or not table[name].dtype.is_numeric():
            continue
        v = np.nan_to_num(table[name].to_numpy().astype(np.float64)[training])
        if np.ptp(v) == 0:
            continue
        if name in USES and abs(rank_correlation(start, v)) > 0.95:
            notes.append(f"{name} only ever rose in training: a calendar, kept from the forest")
            continue
        out.append(name)
    return tuple(out)


def _base(start: str, table: pl.DataFrame, past: Mask, label: NDArray[np.str_], regimes: Regimes) -> Array:
    """What the forest starts from, ln(rate) of every row, learned from the rows of ``past``."""
    out = np.zeros(table.height)
    rate = table["rate"].to_numpy().astype(np.float64)
    for name in regimes.names:
        rows = label == name
        known = past & rows
        if start == "law" and known.sum() >= FEWEST:
            own = table.filter(rows.tolist())
            _, x, beta = plain_law(own, past[rows], [])
            out[rows] = x @ beta
        else:
            out[rows] = np.log(rate[known if known.any() else past].mean())
    return out


def _matrix(
    table: pl.DataFrame, features: tuple[str, ...], label: NDArray[np.str_], regimes: Regimes
) -> Array:
    columns = [np.nan_to_num(table[f].to_numpy().astype(np.float64), nan=-1.0) for f in features]
    return np.column_stack([*columns, *((label == n).astype(np.float64) for n in regimes.names)])
