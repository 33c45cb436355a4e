r"""Rates of wafers whose traces are known but whose rates are not.

The regimes of one route share pads, disks and days: one Gaussian process
learns them together (see :mod:`planish.fit.pooled_process`) from time,
consumables, phases, flows and speeds, and from where the other routes stood.
Looking back, a level and a forest of randomised trees have a share in the guess.

Two questions, never to be mixed:

- *retrospective*: the wafers lie among those measured, and rates measured
  before **and after** a wafer help to guess it. Right for filling gaps
  (wafers that metrology skipped), wrong as a forecast.
- *ahead*: everything (settings, level, band) is learned from wafers that
  started before the one guessed, from the tenth of its regime on.

Bands come from errors of the same kind: on wafers left out one by one, or
one step ahead. Beside the guesses stands what moves them, which wafers are
unlike those learned from, and whether the level runs away at the end.
"""

from __future__ import annotations

import functools
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import frame_csv
from planish.engine.files import write_whole
from planish.engine.record import Record
from planish.errors import DataError, FitError
from planish.fit import gaussian_process, level_forest, pooled_process, unseen_bands, unseen_told
from planish.fit.unseen_bands import COVERAGE
from planish.fit.unseen_columns import with_phases
from planish.fit.unseen_pools import FIRST, guess_ahead, guess_between, make_pools
from planish.fit.unseen_told import Effect, Moving, Outside
from planish.measure.traces.regimes import Regimes, find_regimes
from planish.measure.traces.wafers import Wafers
from planish.results.result import Result

if TYPE_CHECKING:
    from pathlib import Path

    import polars as pl

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    *pooled_process.SOURCES,
    *gaussian_process.SOURCES,
    *level_forest.SOURCES,
    *unseen_bands.SOURCES,
    *unseen_told.SOURCES,
)

#: A guess that knew fewer wafers of its regime is said to come from few.
FEW = 60

RETROSPECTIVE = "retrospective: rates measured before and after each wafer were used; no forecast"
AHEAD = "ahead: only wafers that started before each wafer were used"


@dataclass(frozen=True, slots=True, repr=False)
class Unseen(Result):
    """Guessed rates, a value a polish in order of start.

    Attributes
    ----------
    wafer, stage, start
        Of the polish.
    regime
        Its name.
    rate
        NaN where nothing could be guessed.
    low, high
        Of a band meant to hold ``COVERAGE`` of the measured rates.
    known
        How many measured wafers of its regime each guess knew.
    mode
        Whether later rates were used; say it wherever the figures are shown.
    effects
        What moves the guesses.
    outside
        Wafers unlike those learned from, the worst first.
    moving
        Regimes whose level runs away at the end of the record.
    notes
        What had to be assumed, in plain words.
    """

    kind: ClassVar[str] = "guessed rates"

    wafer: tuple[str, ...]
    stage: tuple[str, ...]
    start: Array
    regime: NDArray[np.character]
    rate: Array
    low: Array
    high: Array
    known: NDArray[np.int64]
    mode: str
    effects: tuple[Effect, ...]
    outside: tuple[Outside, ...]
    moving: tuple[Moving, ...]
    notes: tuple[str, ...]

    def rows(self) -> list[dict[str, Any]]:
        """Return one JSON-ready dict a polish (None where nothing could be guessed)."""

        def number(v: float) -> float | None:
            return float(v) if np.isfinite(v) else None

        columns = zip(
            self.wafer, self.stage, self.regime, self.rate, self.low, self.high, self.known, strict=True
        )
        return [
            {
                "wafer": w,
                "stage": s,
                "regime": str(g),
                "rate": number(r),
                "low": number(a),
                "high": number(b),
                "known": int(k),
            }
            for w, s, g, r, a, b, k in columns
        ]

    def warnings(self) -> list[str]:
        """Return what is in doubt, a sentence each: levels that run away, and wafers unlike those learned from."""
        return [*(m.sentence() for m in self.moving), *(o.sentence() for o in self.outside)]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the mode, notes, sources and one row a polish."""
        return {
            "mode": self.mode,
            "band": f"{COVERAGE:.0%} of measured rates, from errors on wafers not known to the model",
            "effects": [e.row() for e in self.effects],
            "told_of_effects": [e.sentence() for e in self.effects],
            "moving_levels": [m.row() for m in self.moving],
            "outside": [o.row() for o in self.outside],
            "warnings": self.warnings(),
            "wafers": self.rows(),
        }

    def save_table(self, path: Path) -> Path:
        """Write one row a polish to a CSV file, the mode in its first line; return the path."""
        import polars as pl

        table = pl.DataFrame(self.rows(), infer_schema_length=None)
        table = table.with_columns(mode=pl.lit(self.mode.split(":", maxsplit=1)[0]))
        write_whole(path, frame_csv(table, [self.mode]))
        return path


@dataclass(frozen=True, slots=True, repr=False)
class RatePredictor(Record):
    """What is known of measured wafers, ready to guess others; make one with :meth:`fit`."""

    table: pl.DataFrame
    measured: Array
    regimes: Regimes
    source: str
    notes: tuple[str, ...]
    seed: int
    workers: int

    @staticmethod
    def fit(wafers: Wafers, *, seed: int = 0, workers: int = 2) -> RatePredictor:
        """Take the credible wafers to learn from.

        Parameters
        ----------
        wafers
            With rates.
        seed
            Of the trees that help in looking back.
        workers
            Threads; the numbers do not depend on them.

        Returns
        -------
        RatePredictor
            It learns when it is known which rates may be used, in :meth:`predict`.

        Raises
        ------
        FitError
            If there are no rates, or fewer than 30 credible ones.
        """
        import polars as pl

        if "rate" not in wafers.table.columns:
            raise FitError(f"{wafers.source}: no measured rates were joined: there is nothing to learn from")
        table = with_phases(wafers).filter(pl.col("credible"))
        regimes = find_regimes(table, np.ones(table.height, dtype=bool))
        rate = table["rate"].to_numpy().astype(np.float64)
        return RatePredictor(
            table.drop("rate", "credible"), rate, regimes, wafers.source, wafers.notes, seed, workers
        )

    def predict(self, other: Wafers, *, retrospective: bool) -> Unseen:
        """Guess the rates of other wafers.

        Parameters
        ----------
        other
            Cut with ``like`` the known ones.
        retrospective
            Whether later rates may be used.

        Returns
        -------
        Unseen
            A value a polish.

        Raises
        ------
        DataError
            If ``other`` has columns or chambers that were not learned from.
        """
        table = with_phases(other)
        lacking = [c for c in self.table.columns if c not in table.columns]
        if lacking:
            raise DataError(f"{other.source}: no column for {lacking[0]!r}, which was learned from")
        table = table.select(self.table.columns)
        with _one_blas_thread(), ThreadPoolExecutor(self.workers) as threads:
            pools = make_pools(self.table, table, self.measured, self.regimes, ahead=not retrospective)
            between = functools.partial(guess_between, seed=self.seed)
            parts = list(threads.map(between if retrospective else guess_ahead, pools))
            moved = [unseen_told.effects(pool, part.process) for pool, part in zip(pools, parts, strict=True)]
        rate, half = np.full(table.height, np.nan), np.full(table.height, np.nan)
        known = np.zeros(table.height, dtype=np.int64)
        for pool, part in zip(pools, parts, strict=True):
            rate[pool.new], half[pool.new] = part.rate, part.half
            sizes = np.bincount(pool.regime, minlength=len(pool.names))
            known[pool.new] = sizes[pool.regime_new] if retrospective else pool.own_before
        wafers, stages = table["wafer"].to_list(), table["stage"].to_list()
        return Unseen(
            tuple(wafers),
            tuple(stages),
            table["start"].to_numpy(),
            self.regimes.label(table),
            rate,
            rate - half,
            rate + half,
            known,
            RETROSPECTIVE if retrospective else AHEAD,
            tuple(e for own in moved for e in own),
            tuple(o for p in pools for o in unseen_told.outside(p, wafers, stages, ahead=not retrospective)),
            tuple(
                m for p, part in zip(pools, parts, strict=True) for m in unseen_told.moving(p, part.process)
            ),
            tuple(self._said(table, rate, known)),
        )

    def _said(self, table: pl.DataFrame, rate: Array, known: NDArray[np.int64]) -> list[str]:
        """What had to be assumed of these guesses."""
        notes = list(self.notes)
        twice = table.join(self.table, on=["wafer", "stage"], how="semi").height
        if twice:
            notes.append(
                f"{twice} polishes are among those learned from: their guess may know their own rate"
            )
        guessed = np.isfinite(rate)
        few = int((guessed & (known < FEW)).sum())
        if few:
            notes.append(
                f"{few} of {int(guessed.sum())} guesses come from few wafers (fewer than {FEW} measured ones of their "
                "regime): their bands rest on few errors"
            )
        blank = int((~guessed).sum())
        if blank:
            notes.append(
                f"{blank} polishes have too few measured wafers before them ({FIRST} of their regime are needed): "
                "no rate is guessed"
            )
        if len(table):
            notes.append("effects move one figure at a time in the model; they are no proof of a cause")
        return notes


def _one_blas_thread() -> Any:
    """Sums in linear algebra must not depend on how many threads share them."""
    import scipy.linalg  # noqa: F401  (only libraries already loaded are limited)
    import sklearn.ensemble  # noqa: F401
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    return threadpool_limits(limits=1)
