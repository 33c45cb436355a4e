"""Does a changed part do as the old one did? Two one-sided t tests on measured rows, with the rows that they need."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.charts.samples import Data, table_of
from planish.hold.qualify.power import SOURCES, check, equivalence_power, equivalence_rows
from planish.results.result import Result

Array = NDArray[np.float64]
LEAST = 2
DRAWN = 200  # up to which rows are told one by one


@dataclass(frozen=True, slots=True, repr=False)
class Equivalence(Result):
    """Whether the new part does as the old one did.

    Attributes
    ----------
    column, part
        Measured, and what tells the parts apart.
    names
        Of the old and the new one.
    old, new
        Their rows.
    lower, upper
        Margins of new less old.
    difference, error, degrees
        Of the means, its standard error and degrees of freedom.
    interval
        Of the difference, at 1 - 2 alpha.
    chances
        p of the tests against the lower and the upper margin.
    alpha, power
        Level, and power that is wanted.
    has, needs
        Power with these rows and this spread were there no difference at all; rows of each sample for the wanted one, None
        where no number of rows would do.
    unequal
        Whether each part has a spread of its own (Welch).
    notes
        What was assumed.
    """

    kind: ClassVar[str] = "equivalence"

    column: str
    part: str
    names: tuple[str, str]
    old: Array
    new: Array
    lower: float
    upper: float
    difference: float
    error: float
    degrees: float
    interval: tuple[float, float]
    chances: tuple[float, float]
    alpha: float
    power: float
    has: float
    needs: int | None
    unequal: bool
    notes: tuple[str, ...]

    @property
    def shown(self) -> bool:
        """Whether both tests reject: the difference is within the margins."""
        return max(self.chances) <= self.alpha

    def _told(self) -> str:
        word = "equivalent" if self.shown else "not shown to be equivalent"
        return f"{self.column}, {self.names[1]} against {self.names[0]}: {word}"

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        return {
            "value": self.column,
            "part": self.part,
            "equivalent": self.shown,
            "difference": self.difference,
            "difference_error": self.error,
            "degrees": self.degrees,
            "interval_low": self.interval[0],
            "interval_high": self.interval[1],
            "margin_low": self.lower,
            "margin_high": self.upper,
            "p_low": self.chances[0],
            "p_high": self.chances[1],
            "alpha": self.alpha,
            "power_wanted": self.power,
            "power_had": self.has,
            "rows_needed": self.needs,
            "parts": [
                {
                    "part": name,
                    "rows": rows.size,
                    "mean": float(rows.mean()),
                    "sd": float(rows.std(ddof=1)),
                }
                for name, rows in zip(self.names, (self.old, self.new), strict=True)
            ],
            "measured": [
                {"part": name, "value": float(one)}
                for name, rows in zip(self.names, (self.old, self.new), strict=True)
                for one in rows[:DRAWN]
            ],
        }


def hold_equivalence(
    data: Data,
    value: str,
    part: str,
    old: str,
    new: str,
    margin: float | str,
    *,
    alpha: float = 0.05,
    power: float = 0.9,
    unequal: bool = False,
    sheet: str | None = None,
    decimal: str | None = None,
) -> Equivalence:
    """Say whether rows with a new part are equivalent to those with the old one.

    Parameters
    ----------
    data
        The file, or columns by name; a row a wafer.
    value
        The measured column.
    part
        The column that says which part (or state) a row is of.
    old, new
        Its labels.
    margin
        By which the means may differ, either way: in the unit of the column, or as "5 %" of the old mean.
    alpha
        Level of each of the two tests.
    power
        That the number of rows is worked out for.
    unequal
        Each part has a spread of its own (Welch's degrees of freedom); else one spread is pooled.
    sheet, decimal
        As for :func:`planish.hold_chart`.

    Returns
    -------
    Equivalence
        With interval, chances, power and the rows that are needed.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    table = table_of(data, [value, part], sheet, decimal)
    numbers, labels = table.numbers(value, "the measured column"), table.labels(part, "the column of parts")
    if old == new:
        raise DataError(refuse("new part", new, "another one than the old", "name the two that are compared"))
    first, second = (_rows(numbers, labels, name, table.path, part) for name in (old, new))
    width, told = _margin(margin, float(first.mean()))
    check(alpha, power, -width, width)
    spread = math.sqrt(
        ((first.size - 1) * first.var(ddof=1) + (second.size - 1) * second.var(ddof=1))
        / (first.size + second.size - 2)
    )
    if spread == 0.0:
        raise DataError(
            f"{table.path}: column {value!r}: all rows of a part are the same: must scatter (is the column right?)"
        )
    error, degrees = _error(first, second, spread, unequal)
    from scipy.stats import t

    difference = float(second.mean() - first.mean())
    reach = float(t.ppf(1.0 - alpha, degrees)) * error
    chances = (
        float(t.sf((difference + width) / error, degrees)),
        float(t.sf((width - difference) / error, degrees)),
    )
    rows = min(first.size, second.size)
    return Equivalence(
        column=table.names[table.index(value, "the measured column")],
        part=table.names[table.index(part, "the column of parts")],
        names=(old, new),
        old=first,
        new=second,
        lower=-width,
        upper=width,
        difference=difference,
        error=error,
        degrees=degrees,
        interval=(difference - reach, difference + reach),
        chances=chances,
        alpha=alpha,
        power=power,
        has=equivalence_power(rows, spread, -width, width, 0.0, alpha),
        needs=_needs(spread, width, power, alpha),
        unequal=unequal,
        notes=(
            *told,
            "rows are taken to be independent and about normal: wafers of one run share its luck, so spread them over runs",
            "each part has a spread of its own" if unequal else "both parts are taken to have one spread",
            f"power: with {rows} rows of each part and the pooled spread seen here, were there no difference at all",
            "not shown to be equivalent is not shown to differ: look at the interval, and at the rows needed",
        ),
    )


def _rows(numbers: Array, labels: list[str], name: str, path: str, part: str) -> Array:
    known = [label.strip() for label in labels]
    chosen = np.array([label == name.strip() for label in known], dtype=bool)
    found: Array = numbers[chosen & np.isfinite(numbers)]
    if found.size < LEAST:
        there = ", ".join(dict.fromkeys(label for label in known if label)) or "none"
        raise DataError(
            refuse(
                f"{path}: rows with {part} {name!r}",
                int(found.size),
                f"{LEAST} or more with a value",
                f"labels there are: {there[:200]}",
            )
        )
    return found


def _margin(margin: float | str, mean: float) -> tuple[float, tuple[str, ...]]:
    """Return the margin in the unit of the column, and what there is to say of it."""
    text = str(margin).strip()
    try:
        share = float(text.removesuffix("%"))
    except ValueError:
        share = math.nan
    if not 0 < share < math.inf:
        raise DataError(refuse("margin", margin, "a number above 0 in the unit of the column, or as '5 %'"))
    if not text.endswith("%"):
        return share, ()
    width = abs(mean) * share / 100.0
    return width, (
        f"margin: {share:g} % of the old mean, {width:.6g}, taken as if it were known without error",
    )


def _error(first: Array, second: Array, spread: float, unequal: bool) -> tuple[float, float]:
    """Return the standard error of the difference and its degrees of freedom."""
    if not unequal:
        error = spread * math.sqrt(1 / first.size + 1 / second.size)
        return error, float(first.size + second.size - 2)
    parts = [float(one.var(ddof=1)) / one.size for one in (first, second)]
    whole = sum(parts)
    below = sum(part**2 / (one.size - 1) for part, one in zip(parts, (first, second), strict=True))
    return math.sqrt(whole), whole**2 / below


def _needs(spread: float, width: float, power: float, alpha: float) -> int | None:
    try:
        return equivalence_rows(spread, -width, width, power, 0.0, alpha).rows
    except DataError:
        return None


@dataclass(frozen=True, slots=True, repr=False)
class EquivalenceSize(Result):
    """How many rows a test of equivalence needs.

    Attributes
    ----------
    sd, margin, difference, alpha, power
        As asked.
    samples
        1 against a value, 2 against each other.
    rows, has
        Of each sample, and the power with them.
    curve
        (rows, power) about it.
    """

    kind: ClassVar[str] = "equivalence size"

    sd: float
    margin: float
    difference: float
    alpha: float
    power: float
    samples: int
    rows: int
    has: float
    curve: tuple[tuple[int, float], ...]

    def _told(self) -> str:
        return f"{self.rows} rows a sample for a power of {self.has:.4g}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed."""
        told = "of one sample, against a value" if self.samples == 1 else "of each of two samples"
        return (
            f"rows {told}",
            "rows are taken to be independent and normal, with a spread that is known beforehand",
        )

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        return {
            "rows_needed": self.rows,
            "reached_power": self.has,
            "wanted_power": self.power,
            "sd": self.sd,
            "margin": self.margin,
            "true_difference": self.difference,
            "alpha": self.alpha,
            "samples": self.samples,
            "curve": [{"rows": rows, "reached_power": power} for rows, power in self.curve],
        }


def hold_equivalence_size(
    sd: float,
    margin: float,
    *,
    difference: float = 0.0,
    alpha: float = 0.05,
    power: float = 0.9,
    samples: int = 2,
) -> EquivalenceSize:
    """Say how many rows a test of equivalence needs.

    Parameters
    ----------
    sd
        Standard deviation of one row.
    margin
        By which the means may differ, either way, in the same unit.
    difference
        That there truly is.
    alpha
        Level of each of the two tests.
    power
        Wanted.
    samples
        2 for a new part against the old, 1 for one sample against a value (or for pairs).

    Returns
    -------
    EquivalenceSize
        With the power about it.

    Raises
    ------
    DataError
        For values that cannot be.
    """
    if samples not in (1, 2):
        raise DataError(refuse("samples", samples, "1 (against a value) or 2 (against each other)"))
    kind: Any = samples
    found = equivalence_rows(sd, -margin, margin, power, difference, alpha, kind)
    shown = sorted({max(2, round(found.rows * share)) for share in np.linspace(0.2, 1.8, 33)} | {found.rows})
    curve = tuple(
        (rows, equivalence_power(rows, sd, -margin, margin, difference, alpha, kind)) for rows in shown
    )
    return EquivalenceSize(sd, margin, difference, alpha, power, samples, found.rows, found.power, curve)
