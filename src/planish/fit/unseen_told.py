"""What is told beside guessed rates: what moves them, wafers unlike those learned from, and a level on the move."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.fit.pooled_process import Pooled
from planish.fit.unseen_pools import BESIDE, Pool, filled

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Median of the slopes between all pairs of points, with its interval (Theil and Sen): SciPy's theilslopes",
)

#: Told of each regime.
MOST_EFFECTS = 6
#: Wafers over which an effect is averaged.
AVERAGED = 60
#: Columns more alike than this cannot be told apart and are moved together.
ALIKE = 0.99
#: A wafer is outside where a figure lies beyond those learned from by more than this share of their range ...
BEYOND = 0.25
#: ... and so many wafers were learned from.
KNOWN = 60
#: The last wafers of the record that tell of a drift, and by how many standard errors they must agree.
LAST, SURE = 20, 3.0


@dataclass(frozen=True, slots=True)
class Effect:
    """By how much the guess moves, on average, as one feature goes from its 10th to its 90th percentile.

    Attributes
    ----------
    regime, feature
        Names.
    with_it
        Features that moved in step with it and were moved with it.
    low, high
        Those percentiles.
    change
        Of the guessed rate, in its unit.
    """

    regime: str
    feature: str
    with_it: tuple[str, ...]
    low: float
    high: float
    change: float

    def sentence(self) -> str:
        """Return it in words."""
        more = f" (with {', '.join(self.with_it)}, which moved in step)" if self.with_it else ""
        way = "raises" if self.change > 0 else "lowers"
        return (
            f"{self.regime}: {self.feature}{more} from {self.low:.4g} to {self.high:.4g} {way} the guessed rate "
            f"by {abs(self.change):.2g}"
        )

    def row(self) -> dict[str, Any]:
        """Return it as a JSON-ready dict."""
        return {
            "regime": self.regime,
            "feature": self.feature,
            "moved_with": list(self.with_it),
            "from": self.low,
            "to": self.high,
            "change_of_rate": self.change,
        }


@dataclass(frozen=True, slots=True)
class Outside:
    """A wafer with a feature outside those learned from; the worst one.

    Attributes
    ----------
    wafer, stage, regime, feature
        Names.
    value
        Of the feature; NaN where it was not recorded but always was in learning.
    low, high
        Between which it was learned from.
    others
        How many more features are outside.
    """

    wafer: str
    stage: str
    regime: str
    feature: str
    value: float
    low: float
    high: float
    others: int

    def sentence(self) -> str:
        """Return it in words."""
        what = f"is {self.value:.4g}" if np.isfinite(self.value) else "was not recorded"
        more = f", and {self.others} more" if self.others else ""
        return (
            f"wafer {self.wafer}, stage {self.stage} is unlike those learned from: {self.feature} {what}, learned "
            f"from {self.low:.4g} to {self.high:.4g}{more}; its guess and band are in doubt"
        )

    def row(self) -> dict[str, Any]:
        """Return it as a JSON-ready dict."""
        return {
            "wafer": self.wafer,
            "stage": self.stage,
            "feature": self.feature,
            "value": self.value if np.isfinite(self.value) else None,
            "learned_from": self.low,
            "learned_to": self.high,
            "features_outside": self.others + 1,
        }


@dataclass(frozen=True, slots=True)
class Moving:
    """A level that moves faster, at the end of the record, than the bands suppose.

    Attributes
    ----------
    regime
        Its name.
    lag
        Mean of measured less guessed one step ahead over the last ``LAST`` wafers.
    per_day, low, high
        Slope of their rates, with its 95 % interval.
    """

    regime: str
    lag: float
    per_day: float
    low: float
    high: float

    def sentence(self) -> str:
        """Return it in words."""
        way = "above" if self.lag > 0 else "below"
        return (
            f"{self.regime}: the level moves faster at the end of the record than the bands suppose: its last {LAST} "
            f"wafers lay {abs(self.lag):.2g} {way} their guesses from earlier ones on average; the rate went "
            f"{self.per_day:+.2g} a day ({self.low:+.2g} to {self.high:+.2g})"
        )

    def row(self) -> dict[str, Any]:
        """Return it as a JSON-ready dict."""
        return {
            "regime": self.regime,
            "mean_error_of_last": self.lag,
            "last": LAST,
            "change_per_day": self.per_day,
            "interval_95": [self.low, self.high],
        }


def effects(pool: Pool, process: Pooled) -> list[Effect]:
    """Return what moves the guesses most, regime by regime.

    Parameters
    ----------
    pool
        Of one route.
    process
        That guesses.

    Returns
    -------
    list[Effect]
        The largest first within each regime.
    """
    out, x = [], filled(pool.x, pool.x)
    for i, name in enumerate(pool.names):
        rows = np.flatnonzero(pool.regime == i)
        some = rows[np.linspace(0, len(rows) - 1, min(AVERAGED, len(rows))).astype(np.int64)]
        number = np.full(len(some), i, dtype=np.int64)
        low, high = np.percentile(x[rows], [10, 90], axis=0)
        told = []
        for group in _alike(x[rows]):
            moved = []
            for end in (low, high):
                at = x[some].copy()
                at[:, group] = end[group]
                moved.append(process.mean_guess(at, number))
            change = float(np.mean(moved[1] - moved[0]))
            names = [pool.columns[j] for j in group]
            first = group[0]
            told.append(
                Effect(name, names[0], tuple(names[1:]), float(low[first]), float(high[first]), change)
            )
        told.sort(key=lambda e: -abs(e.change))
        out += [e for e in told[:MOST_EFFECTS] if e.change]
    return out


def _alike(x: Array) -> list[list[int]]:
    """Columns that vary (not the time), in groups that cannot be told apart."""
    moving = [j for j in range(1, x.shape[1]) if np.ptp(x[:, j]) > 0]
    if not moving:
        return []
    r = np.atleast_2d(np.corrcoef(x[:, moving].T))
    groups: list[list[int]] = []
    taken: set[int] = set()
    for a, j in enumerate(moving):
        if j not in taken:
            own = [moving[b] for b in range(a, len(moving)) if r[a, b] > ALIKE and moving[b] not in taken]
            groups.append(own)
            taken.update(own)
    return groups


def outside(pool: Pool, wafers: list[str], stages: list[str], *, ahead: bool) -> list[Outside]:
    """Return the new wafers that lie outside what was learned from, the worst first.

    Parameters
    ----------
    pool
        Of one route.
    wafers, stages
        Of all new wafers.
    ahead
        Whether only earlier wafers were learned from.

    Returns
    -------
    list[Outside]
        One a wafer.
    """
    found = []
    own_columns = [j for j, c in enumerate(pool.columns) if j and not c.startswith(BESIDE)]
    for i, name in enumerate(pool.names):
        own = pool.x[pool.regime == i]
        for k in np.flatnonzero(pool.regime_new == i):
            count = int(pool.own_before[k]) if ahead else len(own)
            if count < KNOWN:
                continue
            known, v = own[:count, own_columns], pool.x_new[k, own_columns]
            low, high = known.min(axis=0), known.max(axis=0)
            span = np.maximum(high - low, 1e-6 * np.maximum(1.0, np.abs(high)))
            off = np.maximum(low - v, v - high) / span
            if off.max() > BEYOND:
                j = int(np.argmax(off))
                gone = v[j] == -1.0 and low[j] >= 0
                at = int(pool.new[k])
                one = Outside(
                    wafers[at],
                    stages[at],
                    name,
                    pool.columns[own_columns[j]],
                    float("nan") if gone else float(v[j]),
                    float(low[j]),
                    float(high[j]),
                    int(np.sum(off > BEYOND)) - 1,
                )
                found.append((float(off[j]), one))
    return [one for _, one in sorted(found, key=lambda f: -f[0])]


def moving(pool: Pool, process: Pooled) -> list[Moving]:
    """Return the regimes whose level moves faster at the end of the record than the bands suppose.

    Parameters
    ----------
    pool
        Of one route.
    process
        That knows all measured wafers.

    Returns
    -------
    list[Moving]
        Where the last wafers' one-step errors lie on one side by more than ``SURE`` standard errors.
    """
    from scipy.stats import theilslopes

    out = []
    for i, name in enumerate(pool.names):
        rows = np.flatnonzero(pool.regime == i)
        if len(rows) < 3 * LAST:
            continue
        last = rows[-LAST:]
        error = pool.rate[last] - process.ahead[last]
        if abs(np.mean(error / process.ahead_sd[last])) * np.sqrt(LAST) > SURE:
            slope = theilslopes(pool.rate[last], pool.x[last, 0], 0.95)
            out.append(
                Moving(
                    name,
                    float(error.mean()),
                    float(slope.slope),
                    float(slope.low_slope),
                    float(slope.high_slope),
                )
            )
    return out
