r"""A rate law from traces and measured average rates, regime by regime.

In each regime the natural logarithm of the rate is a linear law of what the
traces show,

    ln rate = c0 + n ln<p v> + sum_k d_k ln t_k + sum_j g_j use_j,

with <p v> the mean pressure x speed under pressure, t_k the seconds in the
k-th chamber and use_j the counters of consumables. n is Preston's exponent.
The times are no physics of removal: where a tool sets its polish time from
what it expects of the rate, the time tells what it expected. Standard errors
allow for neighbours that err alike (Newey-West). Everything (regimes, terms,
scales, drift strength) is learned from the wafers before the cut in time;
the wafers after it only judge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, brief, counted
from planish.fit.drift import choose_strength, follow, last_mean
from planish.fit.log_law import SLOPE_SCALE, Term, newey_west, plain_law, rmse, split_in_time
from planish.measure.traces.regimes import Regimes, find_regimes
from planish.measure.traces.wafers import Wafers
from planish.results.result import Result

if TYPE_CHECKING:
    import polars as pl
    import xarray as xr

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

SOURCES: tuple[str, ...] = (
    "Preston 1927, J. Soc. Glass Technol. 11, 214: rate proportional to pressure x speed (read as quoted in Ozeki "
    "& Mori 2018)",
    "Newey & West 1987, Econometrica 55, 703: standard errors under autocorrelation (read as quoted in the "
    "statsmodels source)",
)

MODELS: dict[str, str] = {
    "mean": "mean of the regime's training wafers",
    "last_three": "mean of the last three wafers measured in the regime",
    "preston": "one constant times pressure x speed",
    "law": "the fitted law, from the traces alone",
    "law_and_drift": "the fitted law with a level that follows the rates measured so far",
}


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A coefficient of the law in its own unit.

    For terms in a logarithm it is an exponent (no unit); for counters the change of ln(rate) per unit of
    the counter.

    Attributes
    ----------
    name
        Of the term.
    value, error
        With its standard error.
    per_sd
        Change of the rate in percent per training standard deviation.
    """

    name: str
    value: float
    error: float
    per_sd: float


@dataclass(frozen=True, slots=True, repr=False)
class RegimeFit(Record):
    """The law of one regime and how it did on the wafers after the cut; arrays hold a value a wafer in time order.

    Attributes
    ----------
    name
        Of the regime.
    n_training, n_left_out, n_unrecorded
        Wafers learned from, judged, and without a record.
    mean_rate
        Of those learned from.
    preston
        k of rate = k x pressure x speed, with its standard error.
    coefficients, terms
        Of the law.
    drift_strength
        With which the drift is followed.
    rmse, rmse_training
        By model, left out and learned from.
    sentences
        What the fit says, in plain words.
    start
        [s].
    measured
        Rate.
    training
        Whether it was learned from.
    predicted
        By model name (see ``MODELS``).
    """

    name: str
    n_training: int
    n_left_out: int
    n_unrecorded: int
    mean_rate: float
    preston: tuple[float, float]
    coefficients: tuple[Coefficient, ...]
    terms: tuple[Term, ...]
    drift_strength: float
    rmse: dict[str, float | None]
    rmse_training: dict[str, float]
    sentences: tuple[str, ...]
    start: Array
    measured: Array
    training: Mask
    predicted: dict[str, Array]

    def _told(self) -> str:
        return (
            f"regime {self.name}, mean rate {self.mean_rate:.4g} (unit of the file), "
            f"{counted(len(self.coefficients), 'coefficient')}, {counted(self.n_training, 'wafer')} learned from, "
            f"{self.n_left_out} left out"
        )

    def law(self, table: pl.DataFrame) -> Array:
        """Return the rate by the fitted law, from the traces alone.

        Parameters
        ----------
        table
            Rows of a wafer table.

        Returns
        -------
        Array
            (rows,).
        """
        x = np.column_stack([np.ones(table.height), *(t(table) for t in self.terms)])
        beta = np.array([self.coefficients[0].value, *(c.per_sd / 100 for c in self.coefficients[1:])])
        rate: Array = np.exp(x @ beta)
        return rate


@dataclass(frozen=True, slots=True, repr=False)
class RateLaw(Result):
    """All regimes together; what :func:`fit_rate_law` returns."""

    kind: ClassVar[str] = "rate law"

    regimes: tuple[RegimeFit, ...]
    found: Regimes
    cut_time: float
    rmse: dict[str, float]
    notes: tuple[str, ...]
    source: str

    def _told(self) -> str:
        errors = ", ".join(f"{model} {brief(error)}" for model, error in self.rmse.items())
        return f"{counted(len(self.regimes), 'regime')} of {brief(self.source)}, RMS error on wafers left out: {errors}"

    def predict(self, table: pl.DataFrame) -> Array:
        """Return the rate of each wafer by the law of its regime, from traces alone.

        Parameters
        ----------
        table
            Rows of a wafer table.

        Returns
        -------
        Array
            (rows,).
        """
        label = self.found.label(table)
        out = np.full(table.height, np.nan)
        for regime in self.regimes:
            rows = label == regime.name
            if rows.any():
                out[rows] = regime.law(table)[rows]
        return out

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def dataset(self) -> xr.Dataset:
        """Return the figures, and measured and predicted rates over the polishes, regime after regime."""
        return Result.dataset(self).assign(self.variables())

    def variables(self) -> dict[str, tuple[str, Any, dict[str, str]]]:
        """Return the rates as variables of a dataset over ``polish``: regime after regime, each in order of time."""
        rate = {"units": "as in the file"}
        each = self.regimes
        found: dict[str, tuple[str, Any, dict[str, str]]] = {
            "regime": ("polish", [r.name for r in each for _ in r.start], {"long_name": "regime"}),
            "start": (
                "polish",
                np.concatenate([r.start for r in each]),
                {"units": "s", "long_name": "start of the polish"},
            ),
            "measured": (
                "polish",
                np.concatenate([r.measured for r in each]),
                {**rate, "long_name": "measured rate"},
            ),
            "training": (
                "polish",
                np.concatenate([r.training for r in each]).astype(np.int8),
                {"units": "1", "long_name": "whether it was learned from"},
            ),
        }
        for model, words in MODELS.items():
            values = np.concatenate([r.predicted[model] for r in each])
            found[f"predicted_{model}"] = ("polish", values, {**rate, "long_name": words})
        return found

    def _content(self) -> dict[str, Any]:
        """Return the figures as a JSON-ready dict (no arrays)."""
        return {
            "source": self.source,
            "cut_time_s": self.cut_time,
            "models": dict(MODELS),
            "rmse_left_out": self.rmse,
            "regimes": [
                {
                    "name": r.name,
                    "wafers_training": r.n_training,
                    "wafers_left_out": r.n_left_out,
                    "wafers_without_recorded_polish": r.n_unrecorded,
                    "mean_rate_training": r.mean_rate,
                    "preston_constant": r.preston[0],
                    "preston_constant_error": r.preston[1],
                    "coefficients": {
                        c.name: {"value": c.value, "error": c.error, "percent_per_sd": c.per_sd}
                        for c in r.coefficients
                    },
                    "drift_strength": r.drift_strength,
                    "rmse_left_out": r.rmse,
                    "rmse_training": r.rmse_training,
                    "findings": list(r.sentences),
                }
                for r in self.regimes
            ],
        }


def fit_rate_law(wafers: Wafers, *, training_share: float = 0.7) -> RateLaw:
    """Fit the law of each regime to the first wafers in time and judge it on the rest.

    Parameters
    ----------
    wafers
        From :func:`~planish.measure.traces.wafers.cut_wafers`, with rates.
    training_share
        Share of all credible wafers, in order of start, that is learned from.

    Returns
    -------
    RateLaw
        One fit a regime.

    Raises
    ------
    FitError
        If there are no rates, the share leaves too few wafers on either
        side, or no regime can be found.
    """
    table, training = split_in_time(wafers, training_share)
    found = find_regimes(table, training)
    label = found.label(table)
    regimes = tuple(_fit_regime(name, table, training, label == name) for name in found.names)
    rmse = {m: _pooled(regimes, m) for m in MODELS}
    notes = [
        *wafers.notes,
        *found.notes,
        f"learned from {int(training.sum())} wafers before the cut, judged on {int((~training).sum())} "
        f"after it; "
        "last_three and law_and_drift know the measured rates of all earlier wafers, the others do not",
        "pressures and speeds are relative: constants hold for this data set alone",
    ]
    cut = float(table["start"].to_numpy()[~training].min())
    return RateLaw(regimes, found, cut, rmse, tuple(notes), wafers.source)


def _fit_regime(name: str, table: pl.DataFrame, training: Mask, rows: Mask) -> RegimeFit:
    import polars as pl

    own = table.filter(pl.Series(rows))
    train = training[rows]
    rate = own["rate"].to_numpy().astype(np.float64)
    y = np.log(rate)
    sentences: list[str] = []
    terms, x, beta = plain_law(own, train, sentences)
    residual = y[train] - x[train] @ beta
    cov = newey_west(x[train], residual, lag=round(np.sqrt(train.sum())))
    error = np.sqrt(np.clip(np.diag(cov), 0, None))
    noise = max(float(np.std(residual)), 1e-6)
    regressors = x[:, 1:]
    strength = choose_strength(y[train], regressors[train], noise=noise, slope_scale=SLOPE_SCALE)
    followed = follow(y, regressors, strength, noise=noise, slope_scale=SLOPE_SCALE)
    pv = own["pressure_speed"].to_numpy().astype(np.float64)
    k, k_error, by_preston = _preston(pv, rate, train)
    predicted = {
        "mean": np.full(len(rate), rate[train].mean()),
        "last_three": last_mean(rate),
        "preston": by_preston,
        "law": np.exp(x @ beta),
        "law_and_drift": np.exp(followed.ahead),
    }
    coefficients = [Coefficient("ln constant", float(beta[0]), float(error[0]), 0.0)]
    for t, b, e in zip(terms, beta[1:], error[1:], strict=True):
        coefficients.append(Coefficient(t.name, float(b / t.scale), float(e / t.scale), float(100 * b)))
    unrecorded = int(np.sum(~np.isfinite(pv)))
    sentences += _findings(own, train, terms, coefficients, unrecorded)
    left = ~train
    return RegimeFit(
        name=name,
        n_training=int(train.sum()),
        n_left_out=int(left.sum()),
        n_unrecorded=unrecorded,
        mean_rate=float(rate[train].mean()),
        preston=(k, k_error),
        coefficients=tuple(coefficients),
        terms=terms,
        drift_strength=strength,
        rmse={m: rmse((p - rate)[left]) if left.any() else None for m, p in predicted.items()},
        rmse_training={m: rmse((p - rate)[train]) for m, p in predicted.items()},
        sentences=tuple(sentences),
        start=own["start"].to_numpy(),
        measured=rate,
        training=train,
        predicted=predicted,
    )


def _preston(pv: Array, rate: Array, train: Mask) -> tuple[float, float, Array]:
    """Constant of rate = k p v, its standard error, and the rates (the mean where nothing was recorded)."""
    use = train & np.isfinite(pv) & (pv > 0)
    out = np.full(len(rate), rate[train].mean())
    if use.sum() < 3:
        return float("nan"), float("nan"), out
    k = float(pv[use] @ rate[use] / (pv[use] @ pv[use]))
    r = rate[use] - k * pv[use]
    cov = newey_west(pv[use][:, None], r, lag=round(np.sqrt(use.sum())))
    known = np.isfinite(pv) & (pv > 0)
    out[known] = k * pv[known]
    return k, float(np.sqrt(cov[0, 0])), out


def _findings(
    own: pl.DataFrame,
    train: Mask,
    terms: tuple[Term, ...],
    coefficients: Sequence[Coefficient],
    unrecorded: int,
) -> list[str]:
    out = []
    by = {c.name: c for c in coefficients}
    if unrecorded:
        out.append(
            f"{unrecorded} of {own.height} wafers have no pressure on any sample: their exposure is "
            f"unknown and "
            "they are predicted at the regime's usual exposure"
        )
    term = next((t for t in terms if t.column == "pressure_speed"), None)
    if term is None:
        out.append("the exponent of pressure x speed is not identifiable: it did not vary")
    else:
        c = by[term.name]
        told = f"{c.value:.2f}, standard error {c.error:.2f}"
        moved = f"it varied by {100 * term.scale:.1f} % (standard deviation) in training"
        if c.error > 0.5:
            out.append(f"the exponent of pressure x speed is not identifiable ({told}): {moved}")
        elif c.value + 1.96 * c.error < 0.5:
            out.append(
                f"the rate did not follow the recorded pressure x speed (exponent {told}; {moved}): "
                f"what varied is "
                "which samples and chambers were recorded, not the recipe; Preston's exponent is not "
                "identifiable here"
            )
        else:
            out.append(f"the exponent of pressure x speed is {told}; {moved}")
    for t in terms:
        c = by[t.name]
        if t.column != "pressure_speed" and abs(c.value) > 2.58 * c.error:
            what = "goes up" if c.per_sd > 0 else "goes down"
            kind = " (how the tool was steered, no law of removal)" if t.column.startswith("seconds") else ""
            out.append(
                f"the rate {what} by {abs(c.per_sd):.1f} % for a standard deviation more of {t.column}{kind}"
            )
    shift = (
        float(own["rate"].to_numpy()[~train].mean() - own["rate"].to_numpy()[train].mean())
        if (~train).any()
        else 0
    )
    spread = float(own["rate"].to_numpy()[train].std())
    if abs(shift) > spread:
        out.append(
            f"the mean rate after the cut lies {shift:+.1f} from that before it: a drift that no "
            f"column of the "
            "traces explains"
        )
    return out


def _pooled(regimes: tuple[RegimeFit, ...], model: str) -> float:
    errors = [(r.predicted[model] - r.measured)[~r.training] for r in regimes]
    return rmse(np.concatenate(errors))
