r"""Rates of wafers whose traces are known but whose rates are not.

Two Gaussian processes and a forest in each regime. The *level* follows the
rate over time and the state of the consumables; a forest of randomised trees
learns from all figures of the traces what the level leaves; the *trace*
process looks at phases, flows, speeds, time and consumables together, and at
where the other regimes stood at that time (a tool shifts as a whole). The
guess is the mean of (level + forest) and trace.

Two questions, never to be mixed:

- *retrospective*: the wafers lie among those measured, and rates measured
  before **and after** a wafer help to guess it. Right for filling gaps
  (wafers that metrology skipped), wrong as a forecast.
- *ahead*: everything (settings, trees, level) is learned from wafers that
  started before the one guessed.

The forest learns errors that the level makes on wafers it does not know
(left out one by one, or one step ahead), as it will meet them. Bands come
from errors of the same kind.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.csv_text import frame_csv
from planish.engine.files import write_whole
from planish.engine.record import Record
from planish.errors import DataError, FitError
from planish.fit.gaussian_process import fit_process
from planish.measure.traces.regimes import FEWEST, Regimes, find_regimes
from planish.measure.traces.wafers import USES, Wafers
from planish.results.result import Result

if TYPE_CHECKING:
    from pathlib import Path

    import polars as pl

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Rasmussen & Williams, Gaussian Processes for Machine Learning, MIT Press 2006 (read as quoted in the "
    "scikit-learn user guide)",
    "Geurts, Ernst & Wehenkel 2006, Mach. Learn. 63, 3: extremely randomised trees (read as quoted in the "
    "scikit-learn user guide); "
    "scikit-learn",
    "Papadopoulos, Gammerman & Vovk 2008: bands from errors in units of the expected spread (read as quoted in "
    "the nonconformity scorers of a conformal library)",
)

TREES = 200
LEAF = 3
SHARE = 0.3  # of the columns, tried at each split
COVERAGE = 0.95  # of the band
#: Looking ahead, all is learned anew after each such share of the wafers measured.
BLOCKS = 6
#: Wafers at the start of a chain whose one-step errors only show that nothing was known yet.
WARM_UP = 30
DAY = 86400.0

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
    mode
        Whether later rates were used; say it wherever the figures are shown.
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
    mode: str
    notes: tuple[str, ...]

    def rows(self) -> list[dict[str, Any]]:
        """Return one JSON-ready dict a polish (None where nothing could be guessed)."""

        def number(v: float) -> float | None:
            return float(v) if np.isfinite(v) else None

        columns = zip(self.wafer, self.stage, self.regime, self.rate, self.low, self.high, strict=True)
        return [
            {"wafer": w, "stage": s, "regime": str(g), "rate": number(r), "low": number(a), "high": number(b)}
            for w, s, g, r, a, b in columns
        ]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return the mode, notes, sources and one row a polish."""
        return {
            "mode": self.mode,
            "band": f"{COVERAGE:.0%} of measured rates, from errors on wafers not known to the model",
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
            The numbers depend on it.
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
        table = _whole(wafers).filter(pl.col("credible"))
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
        table = _whole(other)
        lacking = [c for c in self.table.columns if c not in table.columns]
        if lacking:
            raise DataError(f"{other.source}: no column for {lacking[0]!r}, which was learned from")
        table = table.select(self.table.columns)
        both = _Known(self, table)
        work = both.retrospective if retrospective else both.ahead
        names = self.regimes.names
        with _one_blas_thread(), ThreadPoolExecutor(self.workers) as pool:
            parts = list(pool.map(work, names))
        rate, half = np.full(table.height, np.nan), np.full(table.height, np.nan)
        for name, (own_rate, own_half) in zip(names, parts, strict=True):
            rate[both.label_new == name], half[both.label_new == name] = own_rate, own_half
        notes = list(self.notes)
        twice = table.join(self.table, on=["wafer", "stage"], how="semi").height
        if twice:
            notes.append(
                f"{twice} polishes are among those learned from: their guess may know their own rate"
            )
        blank = int((~np.isfinite(rate)).sum())
        if blank:
            notes.append(f"{blank} polishes have too few measured wafers before them: no rate is guessed")
        return Unseen(
            tuple(table["wafer"].to_list()),
            tuple(table["stage"].to_list()),
            table["start"].to_numpy(),
            both.label_new,
            rate,
            rate - half,
            rate + half,
            RETROSPECTIVE if retrospective else AHEAD,
            tuple(notes),
        )


class _Known:
    """The columns of known and new wafers, and the two ways to learn."""

    def __init__(self, predictor: RatePredictor, new: pl.DataFrame) -> None:
        known = predictor.table
        self.rate, self.seed = predictor.measured, predictor.seed
        self.label, self.label_new = predictor.regimes.label(known), predictor.regimes.label(new)
        self.start, self.start_new = known["start"].to_numpy(), new["start"].to_numpy()
        origin = float(self.start[0])

        def columns(table: pl.DataFrame, names: list[str]) -> Array:
            days = (table["start"].to_numpy() - origin) / DAY
            return np.column_stack([days, *(_plain(table, n) for n in names)])

        level, trace, trees = level_columns(known), trace_columns(known), tree_columns(known)
        self.level, self.level_new = columns(known, level), columns(new, level)
        self.trace, self.trace_new = columns(known, trace), columns(new, trace)
        self.trees, self.trees_new = columns(known, trees), columns(new, trees)

    def beside(self, name: str, cut: float, ahead: bool) -> tuple[Array, Array]:
        """Where the other regimes stood at the times of all known and all new wafers, a column each.

        Settings are learned before ``cut``; with ``ahead`` a wafer knows only rates of wafers before it.
        """
        known, new = [self.trace[:, :1]], [self.trace_new[:, :1]]
        for other in np.unique(self.label):
            rows = np.flatnonzero(self.label == other)
            past = rows[self.start[rows] < cut]
            if other == name or len(past) < FEWEST:
                continue
            days = self.level[:, :1]
            process = fit_process(days[past], self.rate[past])
            later = rows[len(past) :]
            if len(later):
                process = process.with_more(days[later], self.rate[later])
            for out, at, start in ((known, days, self.start), (new, self.level_new[:, :1], self.start_new)):
                before = np.searchsorted(self.start[rows], start, side="left") if ahead else None
                out.append(process.guess(at, before)[0][:, None])
        return np.hstack([*known[1:], self.trace[:, :0]]), np.hstack([*new[1:], self.trace_new[:, :0]])

    def retrospective(self, name: str) -> tuple[Array, Array]:
        rows, new = np.flatnonzero(self.label == name), np.flatnonzero(self.label_new == name)
        if not len(new):
            return np.empty(0), np.empty(0)
        beside, beside_new = self.beside(name, np.inf, ahead=False)
        trace, trace_new = np.hstack([self.trace, beside]), np.hstack([self.trace_new, beside_new])
        model = _Model(self.level[rows], trace[rows], self.trees[rows], self.rate[rows], self.seed, False)
        guess, spread = model.guess(self.level_new[new], trace_new[new], self.trees_new[new])
        inside, inside_spread = model.inside()
        return guess, spread * band_factor(np.abs(self.rate[rows] - inside) / inside_spread)

    def ahead(self, name: str) -> tuple[Array, Array]:
        """Chain over blocks of known wafers: learn from all before the block, guess those in it."""
        rows, new = np.flatnonzero(self.label == name), np.flatnonzero(self.label_new == name)
        rate, half = np.full(len(new), np.nan), np.full(len(new), np.nan)
        first = max(len(rows) // BLOCKS, FEWEST)
        edges = (
            np.unique(np.linspace(first, len(rows), BLOCKS, dtype=np.int64)) if len(rows) > first else [first]
        )
        # A new wafer belongs to the block that ends after the known wafers that started before it.
        before = np.searchsorted(self.start[rows], self.start_new[new], side="left")
        scores: list[Array] = []
        for i, edge in enumerate(edges):
            end = edges[i + 1] if i + 1 < len(edges) else len(rows) + 1
            here = np.flatnonzero((before >= edge) & (before < end))
            block = rows[edge : min(end, len(rows))]
            if edge > len(rows) or (not len(here) and not len(block)):
                continue
            past = rows[:edge]
            cut = float(self.start[rows[edge - 1]])  # no wafer guessed here started earlier
            beside, beside_new = self.beside(name, cut, ahead=True)
            trace, trace_new = np.hstack([self.trace, beside]), np.hstack([self.trace_new, beside_new])
            model = _Model(self.level[past], trace[past], self.trees[past], self.rate[past], self.seed, True)
            if not scores:
                scores.append(model.first_scores())
            model.learn_more(self.level[block], trace[block], self.rate[block])
            if len(here):
                own = new[here]
                guess, spread = model.guess(
                    self.level_new[own], trace_new[own], self.trees_new[own], before[here]
                )
                rate[here], half[here] = guess, spread * band_factor(np.concatenate(scores))
            if len(block):
                upto = np.arange(edge, edge + len(block))
                guess, spread = model.guess(self.level[block], trace[block], self.trees[block], upto)
                scores.append(np.abs(self.rate[block] - guess) / spread)
        return rate, half


class _Model:
    """Level, forest and trace process of one regime."""

    def __init__(self, level: Array, trace: Array, trees: Array, rate: Array, seed: int, ahead: bool) -> None:
        from sklearn.ensemble import ExtraTreesRegressor

        self.is_ahead, self.rate = ahead, rate
        self.level = fit_process(level, rate)
        self.trace = fit_process(trace, rate)
        by_level = self.level.ahead if ahead else self.level.left_out
        rows = np.arange(len(rate)) >= (WARM_UP if ahead and len(rate) > 2 * WARM_UP else 0)
        self.forest: Any = ExtraTreesRegressor(
            TREES,
            min_samples_leaf=LEAF,
            max_features=SHARE,
            bootstrap=True,
            oob_score=not ahead,
            random_state=seed,
            n_jobs=1,
        )
        self.forest.fit(np.column_stack([trees, by_level])[rows], (rate - by_level)[rows])

    def learn_more(self, level: Array, trace: Array, rate: Array) -> None:
        """Let the processes know more wafers; settings and trees stay."""
        if len(rate):
            self.level, self.trace = self.level.with_more(level, rate), self.trace.with_more(trace, rate)

    def guess(
        self, level: Array, trace: Array, trees: Array, known: NDArray[np.int64] | None = None
    ) -> tuple[Array, Array]:
        by_level, _ = self.level.guess(level, known)
        by_trace, spread = self.trace.guess(trace, known)
        left = self.forest.predict(np.column_stack([trees, by_level]))
        return 0.5 * (by_level + left + by_trace), spread

    def inside(self) -> tuple[Array, Array]:
        """Guesses for the known wafers, each left out, from trees that have not seen it."""
        by_level = self.level.left_out
        guess = 0.5 * (by_level + self.forest.oob_prediction_ + self.trace.left_out)
        return guess, self.trace.left_out_sd

    def first_scores(self) -> Array:
        """One-step errors of the trace process in units of their spread, before any chain has run."""
        from_here = min(WARM_UP, len(self.rate) // 2)
        return (np.abs(self.rate - self.trace.ahead) / self.trace.ahead_sd)[from_here:]


def band_factor(scores: Array) -> float:
    """Return the half width of the band in units of the spread.

    Parameters
    ----------
    scores
        Of wafers not known, (wafers,).

    Returns
    -------
    float
        [1].
    """
    place = min(int(np.ceil(COVERAGE * (len(scores) + 1))), len(scores))
    return float(np.sort(scores)[place - 1])


def level_columns(table: pl.DataFrame) -> list[str]:
    """Return the columns of the level besides the time: the consumables' counters.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    return [c for c in USES if c in table.columns]


def trace_columns(table: pl.DataFrame) -> list[str]:
    """Return those of the trace process: counters, times, exposure, and mean speeds and flows by phase.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    chosen = ("phase_span", "phase_samples", "phase_mean_flow", "phase_mean_speed_", "phase_mean_dressing")
    plain = [c for c in ("exposure", "dressing_seconds", "samples") if c in table.columns]
    seconds = [c for c in table.columns if c.startswith("seconds_")]
    return [*level_columns(table), *seconds, *plain, *(c for c in table.columns if c.startswith(chosen))]


def tree_columns(table: pl.DataFrame) -> list[str]:
    """Return those of the forest: all figures but the means of pressures by phase, which rarely are whole.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    skip = ("phase_mean_pressure", "start")
    return [c for c in table.columns if table[c].dtype.is_numeric() and not c.startswith(skip)]


def _plain(table: pl.DataFrame, name: str) -> Array:
    """The column as numbers; -1 where nothing was recorded (no figure is ever below zero)."""
    out: Array = table[name].cast(float).fill_null(-1.0).to_numpy().astype(np.float64)
    return np.nan_to_num(out, nan=-1.0)


def _whole(wafers: Wafers) -> pl.DataFrame:
    """The wafer table with the phases beside it."""
    if wafers.phases is None:
        raise FitError(f"{wafers.source}: the wafers carry no figures by phase (cut them from samples)")
    return wafers.table.join(wafers.phases, on=["wafer", "stage"], how="left", maintain_order="left")


def _one_blas_thread() -> Any:
    """Sums in linear algebra must not depend on how many threads share them."""
    import scipy.linalg  # noqa: F401  (only libraries already loaded are limited)
    import sklearn.ensemble  # noqa: F401
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    return threadpool_limits(limits=1)
