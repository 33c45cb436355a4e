r"""Does the step fit between its specification limits? Capability with its doubt.

Cp = (U - L)/(6 sigma_w), Cpk = min(U - mean, mean - L)/(3 sigma_w) with the spread sigma_w within groups (or between
neighbouring rows), Pp and Ppk the same with the standard deviation s of all rows. Intervals: for Cp and Pp exact by the
chi-squared distribution of the spread; for Cpk and Ppk

    C +- z sqrt(1/(9 n) + C^2/(2 v))

with v degrees of freedom of the spread (NIST/SEMATECH e-Handbook, 6.1.6, where v = n - 1). The tolerance interval holds a
share of all values with a confidence (7.2.6.3, the factor here not approximated but solved for).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.charts.estimate import from_single
from planish.hold.charts.groups import within_groups
from planish.hold.charts.samples import Data, read_samples
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
SOURCES = (
    "NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: capability; 7.2.6.3: tolerance intervals (read as quoted in tests "
    "that check quality charts)",
    "Interval of Cpk: as used in Quality Digest, May 2000 (read)",
    "Factor of the two-sided tolerance interval: Odeh & Owen 1980 (read as quoted in the help of the spc package)",
)
ODD = 0.01  # chance below which values are said not to be normal
NORMAL_FROM = 20  # rows from which that is tested


@dataclass(frozen=True, slots=True, repr=False)
class Index:
    """One index with its interval; None where a limit is lacking."""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, repr=False)
class Capability(Result):
    """How a step fits between its limits.

    Attributes
    ----------
    column
        Measured.
    values
        Of the rows (rows,).
    lsl, usl
        Specification limits in the unit of the values; None for one that there is not.
    mean, within, overall
        Mean, standard deviation within groups or between neighbouring rows, and of all rows.
    freedom
        Degrees of freedom of ``within``.
    cp, cpk, pp, ppk
        The indices.
    expected_out, counted_out
        Shares outside: of a normal distribution of mean and overall standard deviation, and counted.
    tolerance
        Interval that holds ``coverage`` of all values with ``confidence``.
    coverage, confidence
        Shares.
    normal_chance
        Of values that are normal to look at least so odd; None for few rows.
    notes
        What was assumed and left out.
    """

    kind: ClassVar[str] = "capability"

    column: str
    values: Array
    lsl: float | None
    usl: float | None
    mean: float
    within: float
    overall: float
    freedom: float
    cp: Index
    cpk: Index
    pp: Index
    ppk: Index
    expected_out: float
    counted_out: float
    tolerance: tuple[float, float]
    coverage: float
    confidence: float
    normal_chance: float | None
    notes: tuple[str, ...]

    def _told(self) -> str:
        def told(name: str, index: Index) -> str:
            return (
                ""
                if index.value is None
                else f", {name} {index.value:.3g} ({index.low:.3g} to {index.high:.3g})"
            )

        return (
            f"{self.column}, {self.values.size} rows, mean {self.mean:.5g}, sigma {self.within:.4g} within, "
            f"{self.overall:.4g} overall{told('Cpk', self.cpk)}{told('Ppk', self.ppk)}"
        )

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        found: dict[str, Any] = {
            "value": self.column,
            "rows": self.values.size,
            "lsl": self.lsl,
            "usl": self.usl,
            "mean": self.mean,
            "sigma_within": self.within,
            "sigma_overall": self.overall,
        }
        for name in ("cp", "cpk", "pp", "ppk"):
            index = getattr(self, name)
            found |= {name: index.value, f"{name}_low": index.low, f"{name}_high": index.high}
        return found | {
            "confidence": self.confidence,
            "expected_outside_percent": 100 * self.expected_out,
            "counted_outside_percent": 100 * self.counted_out,
            "tolerance_low": self.tolerance[0],
            "tolerance_high": self.tolerance[1],
            "coverage": self.coverage,
            "normal_chance": self.normal_chance,
        }

    def dataset(self) -> xr.Dataset:
        """Return the values."""
        import xarray as xr

        told = {"units": "as in the table", "long_name": self.column}
        return xr.Dataset({"value": ("row", np.asarray(self.values), told)})


def hold_capability(
    data: Data,
    value: str,
    lsl: float | None = None,
    usl: float | None = None,
    *,
    group: str | None = None,
    confidence: float = 0.95,
    coverage: float = 0.9973,
    sheet: str | None = None,
    decimal: str | None = None,
) -> Capability:
    """Say how measured rows fit between specification limits.

    Parameters
    ----------
    data
        A table, or columns by name, as for :func:`~planish.hold.charts.chart.hold_chart`.
    value
        The measured column.
    lsl, usl
        Lower and upper specification limit in the unit of the values; one of them at least.
    group
        Column of groups within which the short spread is taken; between neighbouring rows unless given.
    confidence
        Of the intervals.
    coverage
        Share of all values that the tolerance interval holds.
    sheet, decimal
        Of a workbook with several sheets, and "point" or "comma" where the table leaves it open.

    Returns
    -------
    Capability
        Indices with intervals, shares outside, and the tolerance interval.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    _check(lsl, usl, confidence, coverage)
    samples = read_samples(data, value, group=group, sheet=sheet, decimal=decimal)
    values = samples.values[:, 0]
    n = values.size
    if n < 3:
        raise DataError(f"{samples.source}: {n} rows with a value: must be three or more")
    overall = float(np.std(values, ddof=1))
    if samples.groups is not None:
        spread = within_groups(values, samples.groups, list(samples.group_names), samples.source)
        within, freedom = spread.sigma, spread.freedom
    else:
        single = from_single(values, None, None, samples.source)
        within, freedom = single.sigma, single.freedom
    mean = float(np.mean(values))
    indices = {
        name: _index(name, lsl, usl, mean, sigma, own, n, confidence)
        for name, sigma, own in (
            ("cp", within, freedom),
            ("cpk", within, freedom),
            ("pp", overall, n - 1.0),
            ("ppk", overall, n - 1.0),
        )
    }
    factor = tolerance_factor(n, coverage, confidence)
    chance = _normal_chance(values)
    notes = [
        *samples.said,
        f"spread within is taken {'within groups' if group else 'between neighbouring rows'}, of {freedom:.4g} degrees of "
        "freedom",
        "indices take values to be normal and the step to be steady: look at its control chart first",
    ]
    if chance is not None and chance < ODD:
        notes.append(
            f"the values do not look normal (chance {chance:.2g}): shares outside by the indices are not to be trusted"
        )
    return Capability(
        samples.names[0],
        values,
        lsl,
        usl,
        mean,
        within,
        overall,
        float(freedom),
        **indices,
        expected_out=_outside(lsl, usl, mean, overall),
        counted_out=float(
            np.mean(
                (values < (-np.inf if lsl is None else lsl)) | (values > (np.inf if usl is None else usl))
            )
        ),
        tolerance=(mean - factor * overall, mean + factor * overall),
        coverage=coverage,
        confidence=confidence,
        normal_chance=chance,
        notes=tuple(notes),
    )


def tolerance_factor(count: int, coverage: float, confidence: float) -> float:
    r"""Return the factor k of a two-sided tolerance interval mean +- k s.

    Parameters
    ----------
    count
        Values n, 2 or more.
    coverage, confidence
        Shares.

    Returns
    -------
    float
        k for which, over means m ~ N(0, 1/n) and s^2 ~ chi^2_(n-1)/(n-1), the interval holds at least the coverage with
        that confidence: int phi(u) P(chi^2_v > v r(u)^2/k^2) du with Phi(u/sqrt n + r) - Phi(u/sqrt n - r) = coverage.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtrc, ndtr, ndtri

    x, w = np.polynomial.hermite_e.hermegauss(64)
    w = w / w.sum()
    off = np.abs(x) / np.sqrt(count)
    reach = np.array(
        [brentq(lambda r, m=m: ndtr(m + r) - ndtr(m - r) - coverage, 0.0, m + 40.0) for m in off]
    )
    v = count - 1.0

    def short(k: float) -> float:
        return float(np.sum(w * chdtrc(v, v * (reach / k) ** 2)) - confidence)

    high = float(ndtri(0.5 + 0.5 * coverage))
    while short(high) < 0:
        high *= 2
    return float(brentq(short, 1e-6, high, xtol=1e-12))


def _check(lsl: float | None, usl: float | None, confidence: float, coverage: float) -> None:
    if lsl is None and usl is None:
        raise DataError("specification limits: none given: must be lsl, usl or both")
    for name, value in (("lsl", lsl), ("usl", usl)):
        if value is not None and not np.isfinite(value):
            raise DataError(refuse(name, value, "a number"))
    if lsl is not None and usl is not None and not lsl < usl:
        raise DataError(refuse("usl", usl, f"above lsl, {lsl:g}"))
    for name, value in (("confidence", confidence), ("coverage", coverage)):
        if not 0 < value < 1:
            raise DataError(refuse(name, value, "above 0 and below 1", "0.95 is usual"))


def _index(
    name: str,
    lsl: float | None,
    usl: float | None,
    mean: float,
    sigma: float,
    freedom: float,
    count: int,
    confidence: float,
) -> Index:
    from scipy.special import chdtri, ndtri

    if name in ("cp", "pp"):
        if lsl is None or usl is None:
            return Index(None, None, None)
        value = (usl - lsl) / (6 * sigma)
        low, high = (
            value * float(np.sqrt(chdtri(freedom, share) / freedom))
            for share in (0.5 + 0.5 * confidence, 0.5 - 0.5 * confidence)
        )
        return Index(value, low, high)
    sides = [(usl - mean)] if usl is not None else []
    sides += [(mean - lsl)] if lsl is not None else []
    value = min(sides) / (3 * sigma)
    half = float(ndtri(0.5 + 0.5 * confidence)) * float(np.sqrt(1 / (9 * count) + value**2 / (2 * freedom)))
    return Index(value, value - half, value + half)


def _outside(lsl: float | None, usl: float | None, mean: float, sigma: float) -> float:
    from scipy.special import ndtr

    below = 0.0 if lsl is None else float(ndtr((lsl - mean) / sigma))
    above = 0.0 if usl is None else float(ndtr((mean - usl) / sigma))
    return below + above


def _normal_chance(values: Array) -> float | None:
    if values.size < NORMAL_FROM:
        return None
    from scipy.stats import normaltest

    return float(normaltest(values).pvalue)
