"""The answer of a fit of any numbers to any data: values with their doubt, what cannot be told, what to measure next."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.fit.calibrate import doubt, likeliest, next_runs, solve
from planish.fit.calibrate.fitted_file import fitted_setup, with_comments
from planish.fit.calibrate.held_spreads import HeldSpreads, held_spreads
from planish.results.plain import unique
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

    from planish.fit.calibrate.doubt import Interval
    from planish.fit.calibrate.next_runs import NextRun
    from planish.fit.calibrate.observed import Observed
    from planish.fit.calibrate.parameters import Parameter
    from planish.fit.calibrate.sample import Sampled
    from planish.fit.calibrate.solve import Solution
    from planish.fit.calibrate.told import Untold
    from planish.setup.changes import Changes
    from planish.setup.models import Setup

Array = NDArray[np.float64]


@dataclass(frozen=True, repr=False, eq=False)
class Calibrated(Result):
    """Numbers of a setup fitted to measurements.

    Attributes
    ----------
    setup
        As it was.
    parameters
        The free numbers.
    observed
        The sets that they were fitted to.
    solution
        Where the fit ended.
    intervals
        Of each number, in its coordinate.
    untold
        What these data cannot tell.
    runs_next
        What to measure next.
    sampled
        Draws of the numbers, where they were asked for.
    level
        Share of such intervals that hold the true value.
    priors
        Whether what the parts state counted.
    date
        Of the fit.
    model_runs
        How often the model was asked.
    workers
        Processes that shared the work, and will for a fitted setup.
    """

    kind: ClassVar[str] = "calibration"

    setup: Setup
    parameters: tuple[Parameter, ...]
    observed: tuple[Observed, ...]
    solution: Solution
    intervals: tuple[Interval, ...]
    untold: tuple[Untold, ...]
    runs_next: tuple[NextRun, ...]
    sampled: Sampled | None
    level: float
    priors: bool
    date: datetime.date
    model_runs: int
    workers: int = 1

    def _told(self) -> str:
        rows = ", ".join(
            f"{one.path} {one.told(value)} ({one.told(low)} to {one.told(high)})"
            for one, (value, low, high) in zip(self.parameters, self.values(), strict=True)
        )
        return f"{counted(self.solution.predicted.size, 'value')}: {rows}"

    def values(self) -> list[tuple[float, float, float]]:
        """Return value, low and high of each free number [SI]."""
        return [
            (one.value(float(at)), one.value(each.low), one.value(each.high))
            for one, at, each in zip(self.parameters, self.solution.point, self.intervals, strict=True)
        ]

    @property
    def changes(self) -> Changes:
        """The changes that put the fitted values into the setup (for ``Setup.replace``)."""
        found: Changes = {}
        for one, (value, _, _) in zip(self.parameters, self.values(), strict=True):
            found |= {**one.beside, one.path: one.text(value, 6)}
        return found

    @cached_property
    def held(self) -> HeldSpreads:
        """How the fitted numbers follow what was held and has a spread of its own."""
        fitted = self.setup.replace(self.changes)
        return held_spreads(fitted, self.observed, self.parameters, self.solution, workers=self.workers)

    def fitted(self) -> Setup:
        """Return the setup with the fitted values, their bands and where they come from."""
        return fitted_setup(self)

    def to_toml(self) -> str:
        """Return the fitted setup as TOML, with its comments, each value with its band and where it comes from."""
        return with_comments(self)

    @property
    def correlation(self) -> Array:
        """Correlation of the coordinates (p, p)."""
        covariance = self.solution.estimated.covariance
        errors = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
        return np.asarray(covariance / np.outer(errors, errors))

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed and what happened, and a word of care."""
        notes = [line for one in self.observed for line in one.understood]
        notes += self.solution.said
        notes.append(
            "numbers that are not free are taken as the setup has them: what they may be off by is in no interval (the "
            "spreads in a fitted setup count it)"
        )
        notes += self.__dict__["held"].said if "held" in self.__dict__ else ()
        if not self.priors:
            notes.append("what the parts state of their spreads did not count: the data speak alone")
        if self.sampled is not None:
            notes += self.sampled.said
        if self.runs_next:
            notes.append(f"runs to measure next are {next_runs.CARE}")
        notes.append(
            "a fitted number is a proposal: check settings that follow from it against the tool maker's limits, with "
            "qualified staff, on monitor wafers, before product"
        )
        return tuple(unique(notes))

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        lines = [*solve.SOURCES, *likeliest.SOURCES, *doubt.SOURCES]
        if self.runs_next:
            lines += next_runs.SOURCES
        if self.sampled is not None:
            from planish.fit.calibrate.sample import SOURCES

            lines += SOURCES
        lines += [f"{one.path} before the data: {one.source}" for one in self.parameters if one.source]
        return unique(lines)

    def _content(self) -> dict[str, Any]:
        left = self.solution.predicted - self._measured()
        size = self.solution.scatter.where.size
        freedom = self.solution.estimated.freedom
        return {
            "level_share": self.level,
            "values": int(left.size),
            "sets": len(self.observed),
            "misfit_rms_percent": 100.0 * float(np.sqrt(np.mean((left / size) ** 2))),
            "far_off": int(np.sum(self.solution.scatter.weights < 0.999)),
            "model_runs": self.model_runs,
            "starts": self.solution.starts,
            "date": self.date.isoformat(),
            "parameters": {
                one.path: {
                    "value": one.shown(value),
                    "low": one.shown(low),
                    "high": one.shown(high),
                    "unit": one.unit,
                    "before": one.shown(one.start),
                    "degrees_of_freedom": float(min(free, 1e6)),
                    "no_end_below": each.open_low,
                    "no_end_above": each.open_high,
                    "interval_by": "profile" if each.profiled else "straight",
                }
                for one, (value, low, high), each, free in zip(
                    self.parameters, self.values(), self.intervals, freedom, strict=True
                )
            },
            "cannot_tell": [
                {
                    "parameters": ", ".join(one.paths),
                    "doubt_over_scale": one.doubt if np.isfinite(one.doubt) else None,
                    "words": one.words,
                }
                for one in self.untold
            ],
            "correlations": self._correlations(),
            "scatter": self._scatter(),
            "next_runs": [
                {
                    "run": number,
                    "settings": one.words,
                    "doubt_left_percent": 100.0 * float(np.exp(-one.gain)),
                    "changes": "; ".join(f"{path}={_text(value)}" for path, value in one.changes.items()),
                    "interval_left": "; ".join(
                        f"{path} {100 * share:.3g} %" for path, share in one.left.items()
                    ),
                }
                for number, one in enumerate(self.runs_next, start=1)
            ],
            "data": [
                {
                    "set": one.name,
                    "kind": one.kind,
                    "values": one.values.size,
                    "files": ", ".join(n for n, _ in one.files),
                }
                for one in self.observed
            ],
            "files": [
                {"file": name, "sha256": digest}
                for name, digest in dict.fromkeys(pair for one in self.observed for pair in one.files)
            ],
            **({} if self.sampled is None else {"sampled": self.sampled.rows(self.parameters)}),
            "changes": self.changes,
        }

    def _measured(self) -> Array:
        return np.concatenate([one.values for one in self.observed])

    def _correlations(self) -> list[dict[str, Any]]:
        paths = [one.path for one in self.parameters]
        table = self.correlation
        return [
            {"first": paths[i], "second": paths[j], "correlation_factor": float(table[i, j])}
            for i in range(len(paths))
            for j in range(i)
        ]

    def _scatter(self) -> list[dict[str, Any]]:
        found = self.solution.scatter
        return [
            {
                "kind": name,
                "value_percent": 100.0 * float(found.shares[at, 0]),
                "group_percent": 100.0 * float(found.shares[at, 1]),
                "set_percent": 100.0 * float(found.shares[at, 2]),
                "stated_errors_times_factor": float(found.widened[at]),
            }
            for at, name in enumerate(found.where.kinds)
        ]

    def dataset(self) -> xr.Dataset:
        """Return the figures, and each value as measured and as predicted at the fit.

        Values of different sets may have different units: each is told as a share of its set's mean size, which stands
        beside it with the unit.
        """
        where = self.solution.scatter.where
        names = np.array([one.name for one in self.observed])
        kinds = np.array([one.kind for one in self.observed])
        units = np.array([one.unit for one in self.observed])
        share = {"units": "1"}
        made = {
            "measured": ("observation", self._measured() / where.size, {**share, "long_name": "measured over its set's size"}),
            "predicted": (
                "observation", self.solution.predicted / where.size, {**share, "long_name": "predicted over its set's size"}
            ),
            "weight": ("observation", self.solution.scatter.weights, {**share, "long_name": "weight in the fit"}),
            "size": ("observation", where.size, {**share, "long_name": "mean size of the set, in the set's unit"}),
            "set_of_value": ("observation", where.of_set, {**share, "long_name": "which set, from 0"}),
            "set_name": ("set", names, {"long_name": "set of measurements"}),
            "set_kind": ("set", kinds, {"long_name": "what was measured"}),
            "set_unit": ("set", units, {"long_name": "unit of the size"}),
        }  # fmt: skip
        return Result.dataset(self).assign(made)


def _text(value: object) -> str:
    from planish.setup.changes import toml_value

    return toml_value(value)
