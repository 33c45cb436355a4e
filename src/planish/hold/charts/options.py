"""How a chart is to be drawn, checked once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.rules import Rule
from planish.hold.run_length.asked import limit_for
from planish.hold.run_length.design import Design, make_design
from planish.units import as_whole

CHARTS = ("individuals", "xbar", "ewma", "cusum", "t2")
USUAL_WEIGHT = 0.2


@dataclass(frozen=True, slots=True, repr=False)
class Options(Record):
    """Options of a chart.

    Attributes
    ----------
    design
        The chart as far as run lengths go; for a chart of means that of single points, for T squared none.
    baseline
        Points of each phase that limits are taken from; all unless given.
    centre, sigma
        Of the process, where they are known.
    widen
        Whether limits allow for their own estimation.
    alpha
        Share of false alarms of a T squared chart.
    """

    design: Design | None
    baseline: int | None = None
    centre: float | None = None
    sigma: float | None = None
    widen: bool = False
    alpha: float = 0.0027

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Run rules beside the limits."""
        return () if self.design is None else self.design.rules

    @property
    def limit(self) -> float:
        """Where the limits stand [standard deviations]."""
        return 3.0 if self.design is None else self.design.limit


def make_options(
    chart: str,
    baseline: int | None,
    centre: float | None,
    sigma: float | None,
    limit: float | None,
    arl: float | None,
    weight: float | None,
    settling: bool,
    reference: float | None,
    head_start: float | None,
    rules: Sequence[str],
    alpha: float | None,
    widen: bool,
) -> Options:
    """Return the options of a chart as asked for, checked.

    Parameters
    ----------
    chart, baseline, centre, sigma, limit, arl, weight, settling, reference, head_start, rules, alpha, widen
        As of :func:`~planish.hold.charts.chart.hold_chart`.

    Returns
    -------
    Options
        What is not given is as usual.

    Raises
    ------
    DataError
        For options that the chart does not take, and numbers that cannot be.
    """
    if chart not in CHARTS:
        raise DataError(refuse("chart", chart, f"one of {', '.join(CHARTS)}"))
    if baseline is not None:
        as_whole(baseline, "baseline", 2, 10**9)
    for name, value in (("centre", centre), ("sigma", sigma)):
        if value is not None and (not np.isfinite(value) or (name == "sigma" and not value > 0)):
            raise DataError(refuse(name, value, "a number above 0" if name == "sigma" else "a number"))
    if limit is not None and arl is not None:
        raise DataError(refuse("arl", arl, "left out where the limit is given"))
    if alpha is not None and not 0 < alpha < 1:
        raise DataError(refuse("alpha", alpha, "above 0 and below 1", "0.0027 is usual"))
    if widen and (chart in ("cusum", "t2") or (sigma is not None and centre is not None)):
        why = (
            "no such limits are known for its sums"
            if chart == "cusum"
            else "its limits allow for that already"
            if chart == "t2"
            else "centre and sigma are given"
        )
        raise DataError(refuse("widen", widen, "left out here", why))
    if chart == "t2":
        others: dict[str, Any] = {
            "limit": limit, "arl": arl, "weight": weight, "reference": reference, "head start": head_start,
            "rules": list(rules) or None, "settling": settling or None, "centre": centre, "sigma": sigma,
        }  # fmt: skip
        for name, value in others.items():
            if value is not None:
                raise DataError(
                    refuse(name, value, "left out for the chart 't2'", "its limit follows from alpha")
                )
        return Options(None, baseline, alpha=0.0027 if alpha is None else alpha)
    if alpha is not None:
        raise DataError(refuse("alpha", alpha, "left out but for the chart 't2'", "give limit or arl"))
    kind = "individuals" if chart == "xbar" else chart
    design = make_design(
        kind,
        limit,
        weight=USUAL_WEIGHT if kind == "ewma" and weight is None else weight,
        reference=reference,
        head_start=head_start,
        rules=rules,
        settling=settling,
    )
    if arl is not None:
        plain = replace(design, rules=())
        design = replace(design, limit=limit_for(plain, arl))
    return Options(design, baseline, centre, sigma, widen)
