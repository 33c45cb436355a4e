"""What the age of dresser, pad, membrane and backing film says of the removal rate.

Each usage counter alone, and all together, in a straight line for ln(rate)
on expanding time-ordered splits: learn from all wafers so far, judge on the
next block. The skill 1 - MSE/MSE(mean so far) is negative where the counter
misleads. A counter that grows with the calendar picks up any drift of the
tool; so beside the plain slope stands the slope with the drift followed,
which rests on the counter's falls to zero at each change of the part.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import FitError
from planish.fit.drift import choose_strength, follow
from planish.fit.log_law import SLOPE_SCALE, Term, build_terms, newey_west, rmse, split_in_time
from planish.measure.traces.regimes import find_regimes
from planish.measure.traces.wafers import USES, Wafers
from planish.results.result import Result

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Expanding-window validation and skill against the mean so far: usual practice of forecasting, no "
    "single source",
)


@dataclass(frozen=True, slots=True, repr=False)
class Age(Record):
    """What one counter (or "all") explains in one regime.

    Attributes
    ----------
    counter
        Its name.
    skill
        Over all later blocks.
    rmse, rmse_mean
        Beside it.
    changes
        How often the counter fell back (a part renewed, or another part in turn).
    percent_per_life
        Change of the rate in percent over the counter's whole range, by the plain line, with standard
        error.
    steady
        The same with the drift followed.
    """

    counter: str
    skill: float
    rmse: float
    rmse_mean: float
    changes: int
    percent_per_life: tuple[float, float] | None
    steady: tuple[float, float] | None


@dataclass(frozen=True, slots=True, repr=False)
class Consumables(Result):
    """Result of :func:`fit_consumables`: regime -> its counters, best first, and plain findings."""

    kind: ClassVar[str] = "consumables"

    regimes: dict[str, tuple[Age, ...]]
    findings: tuple[str, ...]
    notes: tuple[str, ...]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the figures as a JSON-ready dict."""
        return {
            "regimes": {
                name: {
                    a.counter: {
                        "skill": a.skill,
                        "rmse": a.rmse,
                        "rmse_mean": a.rmse_mean,
                        "changes": a.changes,
                        "percent_per_life": a.percent_per_life,
                        "percent_per_life_drift_followed": a.steady,
                    }
                    for a in ages
                }
                for name, ages in self.regimes.items()
            },
            "findings": list(self.findings),
        }


def fit_consumables(wafers: Wafers, *, splits: int = 5, first_share: float = 0.4) -> Consumables:
    """Say what usage counters explain of the rate, regime by regime, on time-ordered splits.

    Parameters
    ----------
    wafers
        With rates and at least one ``use_`` column.
    splits
        Blocks after the first share of the wafers, each judged after learning from all before it.
    first_share
        Of the wafers, that is only learned from.

    Returns
    -------
    Consumables
        By regime.

    Raises
    ------
    FitError
        If there are no counters or too few wafers.
    """
    table, training = split_in_time(wafers, first_share)
    if not any(u in table.columns for u in USES):
        raise FitError(f"{wafers.source}: no usage counters among the traces: nothing to explain by age")
    found = find_regimes(table, training)
    label = found.label(table)
    regimes: dict[str, tuple[Age, ...]] = {}
    findings: list[str] = []
    notes: list[str] = []
    for name in found.names:
        rows = label == name
        own = table.filter(rows.tolist())
        said: list[str] = []
        terms = [t for t in build_terms(own, training[rows], said) if t.column in USES]
        notes += [f"{name}: {s}" for s in said if s.startswith("use_")]
        rate = own["rate"].to_numpy().astype(np.float64)
        values = {t.column: own[t.column].to_numpy().astype(np.float64) for t in terms}
        x = {t.column: t(own) for t in terms}
        ages = [_age(t.column, [t], x, values, rate, splits, first_share) for t in terms]
        if len(terms) > 1:
            ages.append(_age("all", terms, x, values, rate, splits, first_share))
        regimes[name] = tuple(sorted(ages, key=lambda a: -a.skill))
        findings += [_sentence(name, a) for a in regimes[name]]
    return Consumables(regimes, tuple(findings), tuple(notes))


def _age(
    counter: str,
    terms: list[Term],
    x: dict[str, Array],
    values: dict[str, Array],
    rate: Array,
    splits: int,
    first_share: float,
) -> Age:
    n = len(rate)
    y = np.log(rate)
    columns = np.column_stack([x[t.column] for t in terms])
    design = np.column_stack([np.ones(n), columns])
    edges = np.linspace(int(first_share * n), n, splits + 1).astype(int)
    line, mean = np.empty(n), np.empty(n)
    for a, b in itertools.pairwise(edges):
        beta, *_ = np.linalg.lstsq(design[:a], y[:a], rcond=None)
        line[a:b] = np.exp(design[a:b] @ beta)
        mean[a:b] = rate[:a].mean()
    later = slice(edges[0], n)
    error, base = rmse((line - rate)[later]), rmse((mean - rate)[later])
    plain: tuple[float, float] | None = None
    steady: tuple[float, float] | None = None
    changes = 0
    if len(terms) == 1:
        term, v = terms[0], values[terms[0].column]
        life = (np.percentile(v, 99) - np.percentile(v, 1)) / term.scale * 100
        changes = int(np.sum(np.diff(v) < -0.3 * np.ptp(v)))
        beta, *_ = np.linalg.lstsq(design, y, rcond=None)
        residual = y - design @ beta
        spread = np.sqrt(newey_west(design, residual, lag=round(np.sqrt(n)))[1, 1])
        plain = (float(beta[1] * life), float(spread * life))
        noise = max(float(np.std(np.diff(residual))) / np.sqrt(2), 1e-6)
        strength = choose_strength(y, columns, noise=noise, slope_scale=SLOPE_SCALE)
        f = follow(y, columns, strength, noise=noise, slope_scale=SLOPE_SCALE)
        steady = (float(f.slopes[0] * life), float(f.slope_errors[0] * life))
    return Age(counter, 1 - (error / base) ** 2, error, base, changes, plain, steady)


def _sentence(regime: str, a: Age) -> str:
    verdict = (
        f"explains {100 * a.skill:.0f} % of the later wafers' squared error"
        if a.skill > 0.02
        else "does not help to predict later wafers"
    )
    text = f"{regime}: {'all counters' if a.counter == 'all' else a.counter} {verdict} (skill {a.skill:+.2f})"
    if a.steady is None:
        return text
    value, error = a.steady
    sure = "" if abs(value) > 2 * error else ", not told from zero"
    return (
        f"{text}; with the drift followed the rate changes by {value:+.1f} ± {error:.1f} % over its life"
        f" (the counter fell back {a.changes} times{sure})"
    )
