"""Learning and guessing for the regimes of one route together: in between, and ahead.

Ahead is a chain. After each of some numbers of measured wafers everything is
learned anew from those so far; wafers up to the next such number are guessed
with these settings, each from the rates before it alone. The measured ones
among them give one-step errors, from which the bands of later wafers come: of
wafers of which about as much was known, and wider where such errors are few.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.fit.gaussian_process import fit_process
from planish.fit.level_forest import level_and_forest
from planish.fit.pooled_process import Pooled, fit_pooled
from planish.fit.unseen_bands import band_factor, cautious_factor
from planish.fit.unseen_columns import level_columns, plain_numbers, trace_columns, tree_columns
from planish.measure.traces.regimes import FEWEST, Regimes

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

DAY = 86400.0
#: Share of level and forest in a guess looking back; the rest is the process. Chosen on folds.
FOREST = 0.2
#: Ahead, a wafer is guessed from so many earlier ones of its regime on.
FIRST = 10
#: All is learned anew when the known wafers have grown by this factor, or by so many.
GROWTH, MOST = 1.5, 300
#: Steps of the search after each; it goes on from the one before.
STEPS_ON = 12
#: Of another route's rates, so many before a wafer tell where that route stood, looking ahead.
LAST = 8
#: What columns are called that tell where another route stood.
BESIDE = "rate of "
#: Errors count for a band if the wafer knew at least this share of what is known now.
KNEW = 0.25


@dataclass(frozen=True, slots=True, repr=False)
class Pool(Record):
    """The regimes of one route: known and new wafers, and what they are guessed with.

    Attributes
    ----------
    names
        Of the regimes.
    columns
        Names of the columns; the first is the time in days.
    few
        How many of them, from the first, are time and counters.
    known, new
        Which rows of the tables, (known,) and (new,).
    regime, regime_new
        Number of the regime of each.
    x, x_new
        Their columns, looking back.
    trees, trees_new
        What the forest looks at besides.
    rate
        Measured.
    before, own_before
        Known wafers that started before each new one: of the route, and of its own regime.
    """

    names: tuple[str, ...]
    columns: tuple[str, ...]
    few: int
    known: Whole
    new: Whole
    regime: Whole
    regime_new: Whole
    x: Array
    x_new: Array
    trees: Array
    trees_new: Array
    rate: Array
    before: Whole
    own_before: Whole


@dataclass(frozen=True, slots=True, repr=False)
class Guessed(Record):
    """Guesses for the new wafers of a pool, and the process that knows all measured ones."""

    rate: Array
    half: Array
    process: Pooled


def make_pools(
    known: pl.DataFrame, new: pl.DataFrame, rate: Array, regimes: Regimes, *, ahead: bool
) -> list[Pool]:
    """Return the routes' pools.

    Parameters
    ----------
    known, new
        Wafers with their figures by phase, in order of start.
    rate
        Of the known, (known,).
    regimes
        Found in the known.
    ahead
        Where other routes stood is told by earlier rates alone.

    Returns
    -------
    list[Pool]
        In order of their largest regime.
    """
    label, label_new = regimes.label(known), regimes.label(new)
    start, start_new = known["start"].to_numpy(), new["start"].to_numpy()
    few, names = level_columns(known), trace_columns(known)
    trees = np.column_stack([plain_numbers(known, n) for n in tree_columns(known)])
    trees_new = np.column_stack([plain_numbers(new, n) for n in tree_columns(known)])
    days, days_new = (start - start[0]) / DAY, (start_new - start[0]) / DAY
    x = np.column_stack([days, *(plain_numbers(known, n) for n in names)])
    x_new = np.column_stack([days_new, *(plain_numbers(new, n) for n in names)])
    out = []
    for own in _routes(regimes):
        others = [n for n in regimes.names if n not in own and np.sum(label == n) >= FEWEST]
        rows, new_rows = np.flatnonzero(np.isin(label, own)), np.flatnonzero(np.isin(label_new, own))
        beside = [_stood(days[label == n], rate[label == n], days[rows], ahead) for n in others]
        beside_new = [_stood(days[label == n], rate[label == n], days_new[new_rows], ahead) for n in others]
        number = {n: i for i, n in enumerate(own)}
        regime = np.array([number[n] for n in label[rows]], dtype=np.int64)
        regime_new = np.array([number[n] for n in label_new[new_rows]], dtype=np.int64)
        own_before = np.zeros(len(new_rows), dtype=np.int64)
        for i in range(len(own)):
            here = regime_new == i
            own_before[here] = np.searchsorted(
                start[rows[regime == i]], start_new[new_rows[here]], side="left"
            )
        out.append(
            Pool(
                names=tuple(own),
                columns=("day", *names, *(BESIDE + n for n in others)),
                few=1 + len(few),
                known=rows,
                new=new_rows,
                regime=regime,
                regime_new=regime_new,
                x=np.column_stack([x[rows], *beside]),
                x_new=np.column_stack([x_new[new_rows], *beside_new]),
                trees=np.column_stack([days[rows], trees[rows]]),
                trees_new=np.column_stack([days_new[new_rows], trees_new[new_rows]]),
                rate=rate[rows],
                before=np.searchsorted(start[rows], start_new[new_rows], side="left"),
                own_before=own_before,
            )
        )
    return out


def guess_between(pool: Pool, seed: int) -> Guessed:
    """Guess wafers among the measured ones, from all of them.

    Parameters
    ----------
    pool
        Of one route.
    seed
        Of the forest's trees.

    Returns
    -------
    Guessed
        Rate and half width of the band, (new,).
    """
    process = fit_pooled(pool.x, pool.regime, pool.rate, few=pool.few, regimes=len(pool.names))
    rate, spread = process.guess(pool.x_new, pool.regime_new)
    half = spread.copy()
    for i in range(len(pool.names)):
        own, new = pool.regime == i, pool.regime_new == i
        few = slice(0, pool.few)
        inside, guess = level_and_forest(
            pool.x[own, few], pool.trees[own], pool.rate[own], pool.x_new[new, few], pool.trees_new[new], seed
        )
        rate[new] = (1 - FOREST) * rate[new] + FOREST * guess
        left_out = (1 - FOREST) * process.left_out[own] + FOREST * inside
        half[new] *= band_factor(np.abs(pool.rate[own] - left_out) / process.left_out_sd[own])
    return Guessed(rate, half, process)


def guess_ahead(pool: Pool) -> Guessed:
    """Guess wafers each from those measured before it.

    Parameters
    ----------
    pool
        Of one route.

    Returns
    -------
    Guessed
        Rate and half width of the band, (new,); NaN before the ``FIRST`` wafers of a regime.
    """
    count = len(pool.rate)
    rate, half = np.full(len(pool.new), np.nan), np.full(len(pool.new), np.nan)
    knew = np.zeros(count, dtype=np.int64)  # wafers of its own regime before each known one
    for i in range(len(pool.names)):
        own = np.flatnonzero(pool.regime == i)
        knew[own] = np.arange(len(own))
    scores = np.full(count, np.nan)
    edges = _edges(pool.regime, len(pool.names))
    start: Array | None = None
    process: Pooled | None = None
    for edge, end in itertools.pairwise([*edges, count + 1]):
        process = fit_pooled(
            filled(pool.x[:edge], pool.x[:edge]),
            pool.regime[:edge],
            pool.rate[:edge],
            few=pool.few,
            regimes=len(pool.names),
            steps=STEPS_ON,
            start=start,
        )
        start = process.parameters
        block = np.arange(edge, min(end, count))
        if len(block):
            x = filled(pool.x[block], pool.x[:edge])
            process = process.with_more(x, pool.regime[block], pool.rate[block])
            judged = knew[block] >= FIRST
            errors = np.abs(pool.rate[block] - process.ahead[block]) / process.ahead_sd[block]
            scores[block[judged]] = errors[judged]
        here = np.flatnonzero((pool.before >= edge) & (pool.before < end) & (pool.own_before >= FIRST))
        if len(here):
            x = filled(pool.x_new[here], pool.x[:edge])
            rate[here], spread = process.guess(x, pool.regime_new[here], pool.before[here])
            for i, size in zip(here.tolist(), spread.tolist(), strict=True):
                told = scores[: pool.before[i]][knew[: pool.before[i]] >= KNEW * pool.own_before[i]]
                half[i] = size * cautious_factor(told[np.isfinite(told)])
    assert process is not None  # a pool has a regime with enough wafers
    return Guessed(rate, half, process)


def _routes(regimes: Regimes) -> list[list[str]]:
    """Names of regimes that share a route."""
    out: dict[str, list[str]] = {}
    for (stage, route), name in regimes.by_key.items():
        if name == f"stage {stage}, chambers {route}":
            out.setdefault(route, []).append(name)
    place = {n: i for i, n in enumerate(regimes.names)}
    pools = [sorted(own, key=place.__getitem__) for own in out.values()]
    return sorted(pools, key=lambda own: place[own[0]])


def _stood(days: Array, rate: Array, at: Array, ahead: bool) -> Array:
    """Where a regime stood at some times: by a process over all of it, or the mean of the last few rates (or NaN)."""
    if not ahead:
        return fit_process(days[:, None], rate).guess(at[:, None])[0]
    total = np.concatenate([[0.0], np.cumsum(rate)])
    upto = np.searchsorted(days, at, side="left")
    first = np.maximum(upto - LAST, 0)
    with np.errstate(invalid="ignore"):
        return np.asarray((total[upto] - total[first]) / (upto - first), dtype=np.float64)


def filled(x: Array, known: Array) -> Array:
    """Return columns without NaN.

    Parameters
    ----------
    x, known
        Columns, and those of known wafers.

    Returns
    -------
    Array
        With the mean of those known, or 0 where none is.
    """
    held = np.where(np.isfinite(known), known, 0.0)
    many = np.maximum(np.isfinite(known).sum(axis=0), 1)
    return np.where(np.isfinite(x), x, held.sum(axis=0) / many)


def _edges(regime: Whole, regimes: int) -> list[int]:
    """After how many known wafers all is learned anew."""
    out = set()
    for i in range(regimes):
        own = np.flatnonzero(regime == i)
        out |= {int(own[n - 1]) + 1 for n in (FIRST, 2 * FIRST) if len(own) >= n}
    at = min(out, default=len(regime))
    while at <= len(regime):
        out.add(at)
        at = min(max(int(GROWTH * at), at + 1), at + MOST)
    return sorted(out)
