r"""How much of what is measured is the gauge? Repeatability and reproducibility by analysis of variance.

Two plans:

crossed
    Each part is measured several times by each appraiser (or tool, or day). y = mu + part + appraiser + part x appraiser +
    error, all random, balanced: from the mean squares MS with p parts, o appraisers, r repeats

        error = MS_e,  interaction = (MS_po - MS_e)/r,  appraiser = (MS_o - MS_po)/(p r),  part = (MS_p - MS_po)/(o r),

    each taken as 0 where it comes out below; repeatability is the error, reproducibility appraiser and interaction. Where the
    interaction may be left out it is pooled with the error.
levels
    Averages of J repeats on each of K days in each of L runs, with the standard deviation of each: level 1 pools those, level 2
    the spread of the days' averages, level 3 that of the runs' averages (NIST/SEMATECH e-Handbook, 2.4.3 and 2.6.1). Days
    and runs add s_days^2 = s2^2 - s1^2/J and s_runs^2 = s3^2 - s2^2/K.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.charts.samples import Data, Table, table_of
from planish.results.result import Result

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
CATEGORIES = (
    1.41  # parts told apart: this times part over gauge spread, cut to a whole number (common practice)
)
SOURCES = {
    "crossed": "Expected mean squares of the crossed random plan: a statistics package's documentation (read); worked study of "
    "the Measurement Systems Analysis manual (read as quoted in tests that check quality charts)",
    "levels": "NIST/SEMATECH e-Handbook of Statistical Methods, 2.6.1 and 2.6.3: levels of a gauge study (read as quoted in "
    "R code of that handbook)",
}


@dataclass(frozen=True, slots=True, repr=False)
class Source(Record):
    """One source of the spread; percentages None where there is no total to hold it against."""

    name: str
    variance: float
    sd: float
    variance_percent: float | None
    sd_percent: float | None
    tolerance_percent: float | None
    degrees: int | None = None


@dataclass(frozen=True, slots=True, repr=False)
class GaugeStudy(Result):
    """What a gauge study shows.

    Attributes
    ----------
    plan
        "crossed" or "levels".
    column
        Measured.
    observations
        Rows.
    parts
        Sources of the spread.
    anova
        Rows of the analysis of variance: source, degrees, sum of squares, mean square, F, p; none for levels.
    categories
        Parts that the gauge tells apart; None for levels.
    pooled
        Whether the interaction was pooled with the error.
    notes
        What was assumed and left out.
    """

    kind: ClassVar[str] = "gauge study"

    plan: str
    column: str
    observations: int
    parts: tuple[Source, ...]
    anova: tuple[tuple[str, int, float, float, float | None, float | None], ...]
    categories: int | None
    pooled: bool
    notes: tuple[str, ...]

    def _told(self) -> str:
        shares = ", ".join(f"{part.name} sd {part.sd:.4g}" for part in self.parts)
        return f"{self.plan}, {self.column}, {self.observations} rows: {shares}"

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return [SOURCES[self.plan]]

    def _content(self) -> dict[str, Any]:
        heads = ("source", "degrees", "sum_of_squares", "mean_square", "F", "p")
        return {
            "plan": self.plan,
            "value": self.column,
            "rows": self.observations,
            "interaction_pooled": self.pooled,
            "distinct_categories": self.categories,
            "components": [
                {
                    "source": part.name,
                    "variance": part.variance,
                    "sd": part.sd,
                    "variance_percent": part.variance_percent,
                    "sd_percent": part.sd_percent,
                    "tolerance_percent": part.tolerance_percent,
                    "degrees": part.degrees,
                }
                for part in self.parts
            ],
            "anova": [dict(zip(heads, row, strict=True)) for row in self.anova],
        }


def hold_gauge(
    data: Data,
    value: str,
    part: str,
    appraiser: str | None = None,
    *,
    pool: bool = False,
    tolerance: float | None = None,
    run: str | None = None,
    sd: str | None = None,
    repeats: int | None = None,
    sheet: str | None = None,
    decimal: str | None = None,
) -> GaugeStudy:
    """Say how much of the spread of measurements is the gauge.

    Parameters
    ----------
    data
        A table, or columns by name.
    value
        The measured column: single measurements, or averages for a study of levels.
    part
        Column that says which part, or wafer, was measured.
    appraiser
        Column that says by whom, or by which tool: makes the plan a crossed one.
    pool
        Pool the interaction with the error, of a crossed plan.
    tolerance
        Width between specification limits: spreads are told as shares of it too (six standard deviations).
    run
        Column that says in which run, for a study of levels: rows of a part and run are days.
    sd, repeats
        For a study of levels: column of the standard deviations behind the averages, and how many repeats each has.
    sheet, decimal
        Of a workbook with several sheets, and "point" or "comma" where the table leaves it open.

    Returns
    -------
    GaugeStudy
        Sources of the spread with their shares.

    Raises
    ------
    DataError
        For a study that is not balanced, or too small.
    """
    if (appraiser is None) == (run is None):
        raise DataError(
            "gauge study: must have a column of appraisers (crossed) or a column of runs (levels)"
        )
    if tolerance is not None and not (tolerance > 0 and np.isfinite(tolerance)):
        raise DataError(refuse("tolerance", tolerance, "a width above 0"))
    labels = [part, appraiser or run or "", *([sd] if sd else [])]
    table = table_of(data, [value, *labels], sheet, decimal)
    values = table.numbers(value, "the measured column")
    if np.any(np.isnan(values)):
        row = int(np.argmax(np.isnan(values))) + 1
        raise DataError(f"{table.path}: row {row}: no value: must have one in each row of a gauge study")
    name = table.names[table.index(value, "the measured column")]
    if appraiser is not None:
        for option, given in (("run", run), ("sd", sd), ("repeats", repeats)):
            if given is not None:
                raise DataError(refuse(option, given, "left out of a crossed study"))
        return _crossed(table, values, name, part, appraiser, pool, tolerance)
    assert run is not None
    if pool:
        raise DataError(refuse("pool", pool, "left out of a study of levels"))
    return _levels(table, values, name, part, run, sd, repeats)


def _codes(labels: Sequence[str]) -> Whole:
    return np.unique(np.asarray(labels), return_inverse=True)[1].astype(np.int64)


def _crossed(
    table: Table, y: Array, name: str, part: str, appraiser: str, pool: bool, tolerance: float | None
) -> GaugeStudy:
    part_of = _codes(table.labels(part, "the column of parts"))
    by = _codes(table.labels(appraiser, "the column of appraisers"))
    p, o = int(part_of.max()) + 1, int(by.max()) + 1
    if p < 2 or o < 2:
        raise DataError(f"{table.path}: {p} parts and {o} appraisers: must be two or more of each")
    cells = np.bincount(part_of * o + by, minlength=p * o)
    if cells.min() != cells.max() or cells.min() < 2:
        raise DataError(
            f"{table.path}: {cells.min()} to {cells.max()} measurements of a part by an appraiser: must be the same number, two "
            "or more (a gauge study is balanced: measure what is missing, or leave parts out)"
        )
    r = int(cells[0])
    centred = y - y.mean()
    mean_cell = (np.bincount(part_of * o + by, centred, p * o) / r).reshape(p, o)
    mean_part, mean_by = mean_cell.mean(axis=1), mean_cell.mean(axis=0)
    ss = {
        "part": o * r * float(np.sum(mean_part**2)),
        "appraiser": p * r * float(np.sum(mean_by**2)),
        "part x appraiser": r * float(np.sum((mean_cell - mean_part[:, None] - mean_by[None, :]) ** 2)),
        "repeatability": float(np.sum((centred - mean_cell[part_of, by]) ** 2)),
    }
    df = {
        "part": p - 1,
        "appraiser": o - 1,
        "part x appraiser": (p - 1) * (o - 1),
        "repeatability": p * o * (r - 1),
    }
    if ss["repeatability"] + ss["part x appraiser"] <= 1e-26 * max(float(np.sum(y * y)), 1e-300):
        raise DataError(f"{table.path}: repeats do not scatter: must, to judge a gauge")
    ms = {source: ss[source] / df[source] for source in ss}
    anova, chance = _anova(ss, df, ms)
    pooled = (ss["part x appraiser"] + ss["repeatability"]) / (df["part x appraiser"] + df["repeatability"])
    error = pooled if pool else ms["repeatability"]
    against = pooled if pool else ms["part x appraiser"]
    interaction = 0.0 if pool else max(0.0, (ms["part x appraiser"] - error) / r)
    of_appraiser = max(0.0, (ms["appraiser"] - against) / (p * r))
    of_part = max(0.0, (ms["part"] - against) / (o * r))
    reproducibility = of_appraiser + interaction
    gauge = error + reproducibility
    total = gauge + of_part

    def source(called: str, variance: float, degrees: int | None = None) -> Source:
        spread = float(np.sqrt(variance))
        of_tolerance = None if tolerance is None else 100 * 6 * spread / tolerance
        return Source(
            called,
            variance,
            spread,
            100 * variance / total,
            100 * spread / float(np.sqrt(total)),
            of_tolerance,
            degrees,
        )

    parts = (
        source("gauge", gauge),
        source("repeatability", error, df["repeatability"] + (df["part x appraiser"] if pool else 0)),
        source("reproducibility", reproducibility),
        source("appraiser", of_appraiser, df["appraiser"]),
        *(() if pool else (source("part x appraiser", interaction, df["part x appraiser"]),)),
        source("part", of_part, df["part"]),
        source("total", total),
    )
    notes = ["parts and appraisers are taken for random ones of many"]
    if not pool and chance is not None and chance > 0.25:
        notes.append(
            f"the interaction does not show (p {chance:.3g}): it may be pooled with the error (pool)"
        )
    return GaugeStudy(
        "crossed",
        name,
        y.size,
        parts,
        anova,
        int(CATEGORIES * np.sqrt(of_part / gauge)),
        pool,
        tuple(notes),
    )


def _anova(
    ss: dict[str, float], df: dict[str, int], ms: dict[str, float]
) -> tuple[tuple[tuple[str, int, float, float, float | None, float | None], ...], float | None]:
    """Return the rows of the analysis, and the chance of the interaction."""
    from scipy.special import fdtrc

    under = {"part": "part x appraiser", "appraiser": "part x appraiser", "part x appraiser": "repeatability"}
    rows: list[tuple[str, int, float, float, float | None, float | None]] = []
    for source in ss:
        f = p = None
        below = under.get(source)
        if below is not None and ms[below] > 0:
            f = ms[source] / ms[below]
            p = float(fdtrc(df[source], df[below], f))
        rows.append((source, df[source], ss[source], ms[source], f, p))
    return tuple(rows), rows[2][5]


def _levels(
    table: Table, y: Array, name: str, part: str, run: str, sd: str | None, repeats: int | None
) -> GaugeStudy:
    if sd is None or repeats is None or repeats < 2:
        raise DataError(
            refuse(
                "sd, repeats",
                (sd, repeats),
                "the column of standard deviations and their repeats, 2 or more, for levels",
            )
        )
    spread = table.numbers(sd, "the column of standard deviations")
    if np.any(np.isnan(spread)) or np.any(spread < 0):
        row = int(np.argmax(np.isnan(spread) | (spread < 0))) + 1
        raise DataError(f"{table.path}: row {row}, column {sd!r}: must be a standard deviation, 0 or more")
    part_of = _codes(table.labels(part, "the column of parts"))
    run_of = _codes(table.labels(run, "the column of runs"))
    runs = int(run_of.max()) + 1
    _, cell = np.unique(part_of * runs + run_of, return_inverse=True)
    days = np.bincount(cell)
    _, first = np.unique(cell, return_index=True)
    part_of_cell = part_of[first]
    many = np.bincount(part_of_cell)
    if days.min() < 2 or many.min() < 2 or days.min() != days.max() or many.min() != many.max():
        raise DataError(
            f"{table.path}: {days.min()} to {days.max()} days a run and {many.min()} to {many.max()} runs a part: must be the "
            "same numbers, two or more each"
        )
    k = int(days[0])
    means = np.bincount(cell, y - y.mean()) / k
    one = float(np.mean(spread**2))
    two_each = np.bincount(cell, (y - y.mean() - means[cell]) ** 2) / (k - 1)
    two = float(np.mean(two_each))
    mean_part = np.bincount(part_of_cell, means) / many
    three = float(np.mean(np.bincount(part_of_cell, (means - mean_part[part_of_cell]) ** 2) / (many - 1)))
    of_days, of_runs = max(0.0, two - one / repeats), max(0.0, three - two / k)

    def source(called: str, variance: float, degrees: int | None) -> Source:
        return Source(called, variance, float(np.sqrt(variance)), None, None, None, degrees)

    parts = (
        source("level 1, repeats", one, y.size * (repeats - 1)),
        source("level 2, days", two, int(days.size) * (k - 1)),
        source("level 3, runs", three, int(many.size * (many[0] - 1))),
        source("days alone", of_days, None),
        source("runs alone", of_runs, None),
    )
    notes = ["level 2 is the spread of averages of repeats, level 3 that of averages of days"]
    return GaugeStudy("levels", name, y.size, parts, (), None, False, tuple(notes))
