"""How long does a control chart run before it alarms, and where must its limits stand for a run length?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.run_length.design import NARROWEST, WIDEST, Design, make_design
from planish.hold.run_length.mean import Length, Mean
from planish.results.result import Result

Array = NDArray[np.float64]
LONGEST = 1e7  # samples: a longer run length is not solved for, as its digits get lost
CURVE = tuple(0.25 * step for step in range(17))
SOURCES = (
    "Crowder 1987, Lucas & Saccucci 1990 (EWMA), Vance 1986, Lucas & Crosier 1982 (CUSUM), Champ & Woodall 1987 (run rules), "
    "Gan 1991 and 1992, Aerne, Champ & Rigdon 1991 (drift) (read as quoted in the help of the spc package)",
    "Recursion for drift and for both sides of a CUSUM under it: derived here",
)


@dataclass(frozen=True, slots=True, repr=False)
class RunLength(Result):
    """Average run length of a control chart.

    Attributes
    ----------
    design
        The chart.
    mean
        What the mean does.
    length
        Its average run length with the error of the computation.
    solved
        Whether the limit was solved for.
    """

    kind: ClassVar[str] = "run length"

    design: Design
    mean: Mean
    length: Length
    solved: bool

    def _told(self) -> str:
        what = f"{self.design.chart}, limit {self.design.limit:.5g} sigma"
        return f"{what}, {_moves(self.mean)}: {self.length.mean:.6g} samples on average before an alarm"

    @property
    def arl(self) -> float:
        """Average run length [samples]."""
        return self.length.mean

    @property
    def limit(self) -> float:
        """Where the limits stand [standard deviations]."""
        return self.design.limit

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed."""
        found = [
            "samples are taken to be independent and normal, their standard deviation and target known: limits from few data "
            "alarm more often",
            "zero state: the chart starts at its target",
        ]
        if self.mean.drift:
            carried = "already carries one step" if self.mean.first else "carries none"
            found.append(f"the first sample {carried} of the drift")
        if self.design.settling:
            found.append("limits settle as the EWMA's own spread does")
        return tuple(found)

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def _content(self) -> dict[str, Any]:
        design, mean = self.design, self.mean
        return {
            "chart": design.chart,
            "arl": self.length.mean,
            "arl_error": self.length.error,
            "limit": design.limit,
            "limit_solved_for": self.solved,
            "weight": design.weight,
            "reference": design.reference,
            "head_start": design.head_start if design.chart == "cusum" else None,
            "one_sided": design.one_sided,
            "settling": design.settling,
            "shift": mean.shift,
            "drift": mean.drift,
            "drift_from": mean.first if mean.drift else None,
            "rules": [rule.name for rule in design.rules],
            "run_lengths": [
                {"shift": shift, "arl": length} for shift, length in (() if mean.drift else curve(design))
            ],
            "silent": [
                {"samples": count, "share": share}
                for count, share in enumerate(self.length.silent)
                if self.mean.drift
            ],
        }


def hold_run_length(
    chart: str,
    limit: float | None = None,
    *,
    weight: float | None = None,
    reference: float | None = None,
    head_start: float | None = None,
    rules: Sequence[str] = (),
    one_sided: bool = False,
    settling: bool = False,
    shift: float = 0.0,
    drift: float = 0.0,
    drift_from: int = 1,
) -> RunLength:
    """Return how many samples a chart runs on average before it alarms.

    Parameters
    ----------
    chart
        "individuals" (single points or means of groups), "ewma" or "cusum".
    limit
        [standard deviations]: of a point, of the EWMA in the long run, or of a sample (h of a CUSUM). 3, or 5 for a CUSUM,
        unless given.
    weight
        Of the newest sample of an EWMA, in (0, 1].
    reference
        k of a CUSUM [standard deviations]; 0.5 unless given.
    head_start
        Where a CUSUM's sums start, as a share of its limit.
    rules
        Run rules in words beside the limits, or the names of sets (:mod:`planish.hold.rules`); for single points.
    one_sided
        Only a rise alarms.
    settling
        Limits of an EWMA start narrow, as its own spread does; in the long run from the first sample on unless set.
    shift, drift
        Of the mean from the first sample on [standard deviations], and what it gains with each sample.
    drift_from
        How many steps of the drift the first sample carries: 0 or 1.

    Returns
    -------
    RunLength
        ``arl``, the error of its computation, and the run lengths at other shifts.

    Raises
    ------
    DataError
        For numbers that no such chart has.
    """
    design = make_design(
        chart, limit, weight=weight, reference=reference, head_start=head_start, rules=rules, one_sided=one_sided,
        settling=settling,
    )  # fmt: skip
    return _answer(design, Mean(shift, drift, drift_from), solved=False)


def hold_limit(
    chart: str,
    arl: float,
    *,
    weight: float | None = None,
    reference: float | None = None,
    head_start: float | None = None,
    one_sided: bool = False,
    settling: bool = False,
) -> RunLength:
    """Return the limit at which a chart of a process on its target runs so many samples on average.

    Parameters
    ----------
    chart, weight, reference, head_start, one_sided, settling
        As for :func:`hold_run_length`.
    arl
        Average run length [samples], above 1.

    Returns
    -------
    RunLength
        With ``limit`` solved for.

    Raises
    ------
    DataError
        For a run length that no limit gives, or that is too long to be solved for.
    """
    design = make_design(
        chart,
        None,
        weight=weight,
        reference=reference,
        head_start=head_start,
        one_sided=one_sided,
        settling=settling,
    )
    return _answer(design.at(limit_for(design, arl)), Mean(), solved=True)


def limit_for(design: Design, arl: float) -> float:
    """Return the limit of a chart for an average run length on target.

    Parameters
    ----------
    design
        The chart, at any limit.
    arl
        Average run length [samples].

    Returns
    -------
    float
        [standard deviations].

    Raises
    ------
    DataError
        As :func:`hold_limit`.
    """
    if not 1 < arl <= LONGEST:
        raise DataError(refuse("arl", arl, f"above 1 and at most {LONGEST:g} samples", "370 or 500 is usual"))
    still, wanted = Mean(), math.log(arl)

    def off(limit: float) -> float:
        return math.log(design.at(limit).length(still).mean) - wanted

    if off(NARROWEST) > 0:
        least = design.at(NARROWEST).length(still).mean
        raise DataError(refuse("arl", arl, f"at least {least:.4g} samples for this chart"))
    low, high = NARROWEST, 0.5
    while off(high) < 0:
        low, high = high, 1.5 * high
        if high > WIDEST[design.chart]:
            raise DataError(refuse("arl", arl, "one that a limit gives", "take a larger weight or reference"))
    from scipy.optimize import brentq

    return float(brentq(off, low, high, xtol=1e-10, rtol=1e-12))


def _answer(design: Design, mean: Mean, solved: bool) -> RunLength:
    length = design.length(mean)
    if not 1 <= length.mean <= 100 * LONGEST:
        raise DataError(
            f"average run length: more than {100 * LONGEST:g} samples: must be less to be solved for (take a narrower limit)"
        )
    return RunLength(design, mean, length, solved)


@lru_cache(maxsize=32)
def curve(design: Design) -> tuple[tuple[float, float], ...]:
    """Return the run lengths of a chart over the shift of the mean.

    Parameters
    ----------
    design
        The chart.

    Returns
    -------
    tuple
        Shifts [standard deviations of a sample], each with its run length [samples].
    """
    return tuple((shift, design.length(Mean(shift)).mean) for shift in CURVE)


def _moves(mean: Mean) -> str:
    parts = [f"a shift of {mean.shift:g} sigma"] if mean.shift else []
    parts += [f"a drift of {mean.drift:g} sigma a sample"] if mean.drift else []
    return " and ".join(parts) or "on target"
