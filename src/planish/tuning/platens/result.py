"""The answer of a tuning of several platens: settings before and after, what each leaves, which limits bind and what they cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.physics.pressure import slopes
from planish.results.plain import unique
from planish.results.result import Result
from planish.tuning import program
from planish.tuning.told import average, before_after, left_nm, of_several, percent, rms, step_rows, wafer_row
from planish.tuning.tuned import CARE, Bound, OneOf

if TYPE_CHECKING:
    import xarray as xr

    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.tuning.incoming import Scatter

Array = NDArray[np.float64]


@dataclass(frozen=True, repr=False, eq=False)
class TunedPlatens(Result):
    """Settings of several platens in a row, solved for together.

    Attributes
    ----------
    setups
        Before, platen after platen.
    settled
        Path and value of each change, by platen.
    before, after
        The wafer polished by ``planish.polish`` on each platen in turn, with the settings before and after; of several wafers
        that of their mean profile.
    goal
        Thickness to be left after the last platen [m], at its nodes, (n_r,).
    bounds
        The limits that hold, the dearest first.
    programs, runs
        Quadratic programs solved, and wafers polished on the way, each on all platens.
    said
        What was taken for granted.
    wafers
        Each of several incoming wafers as the last platen leaves it; none where there is one.
    scatter
        What no setting can mend of several wafers; None where there is one.
    """

    kind: ClassVar[str] = "tuned platens"

    setups: tuple[Setup, ...]
    settled: tuple[tuple[tuple[str, object], ...], ...]
    before: tuple[WaferResult, ...]
    after: tuple[WaferResult, ...]
    goal: Array
    bounds: tuple[Bound, ...]
    programs: int
    runs: int
    said: tuple[str, ...]
    wafers: tuple[OneOf, ...] = ()
    scatter: Scatter | None = None

    def _told(self) -> str:
        before, after = (average(percent, each) for each in self._ends())
        of = f" of {len(self.wafers)} wafers" if self.wafers else ""
        return (
            f"{counted(len(self.setups), 'platen')}: {figure(left_nm(self.after[-1]), 'nm')} left{of}, uneven by "
            f"{figure(after, '%', 3)} (1σ), {figure(before, '%', 3)} before"
        )

    def _ends(self) -> tuple[tuple[WaferResult, ...], tuple[WaferResult, ...]]:
        """Return the wafers after the last platen with the settings before, and after: all of several."""
        if not self.wafers:
            return (self.before[-1],), (self.after[-1],)
        return tuple(one.before for one in self.wafers), tuple(one.after for one in self.wafers)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was taken for granted, what the wafer's own notes say on each platen, and a word of care."""
        own = [
            f"platen {number}: {note}" for number, wafer in enumerate(self.after, 1) for note in wafer.notes
        ]
        return tuple(unique([*self.said, *own, CARE]))

    def sources(self) -> list[str]:
        """Return the sources that the wafers rest on, and those of the way the settings were found."""
        own = [line for wafer in self.after for line in wafer.sources()]
        return unique([*own, *slopes.SOURCES, *program.SOURCES])

    @property
    def changes(self) -> tuple[Changes, ...]:
        """The changes that put the settings into the setups, one table a platen (for ``Setup.replace``)."""
        return tuple(
            {path: list(value) if isinstance(value, tuple | list) else value for path, value in each}
            for each in self.settled
        )

    def tuned(self) -> tuple[Setup, ...]:
        """Return the setups with the settings in them, platen after platen."""
        return tuple(setup.replace(changes) for setup, changes in zip(self.setups, self.changes, strict=True))

    def _off(self, wafer: WaferResult) -> float:
        """Return sigma [m] of what is left less what is wanted."""
        return wafer.sigma(wafer.remaining.sum(axis=0) - self.goal)

    def _content(self) -> dict[str, Any]:
        every, last = self._ends(), self.after[-1]
        times = [[wafer.time for wafer in each] for each in (self.before, self.after)]
        coming = self.after[0].mean(self.after[0].incoming.sum(axis=0))
        rate = 6e10 * (coming - last.mean(last.remaining.sum(axis=0))) / sum(times[1])
        return {
            "target_nm": 1e9 * last.mean(self.goal),
            "mean_incoming_nm": 1e9 * coming,
            **before_after("mean_remaining_{}_nm", *(average(left_nm, each) for each in every)),
            **before_after("wiwnu_sigma_percent_{}", *(average(percent, each) for each in every)),
            **before_after("off_target_sigma_{}_nm", *(1e9 * rms(self._off, each) for each in every)),
            **of_several(
                self.scatter,
                *every,
                [wafer_row(one.name, (one.before, one.after), self._off, one.round) for one in self.wafers],
            ),
            **before_after("time_{}_s", *(float(sum(each)) for each in times)),
            **before_after("longest_platen_{}_s", *(max(each) for each in times)),
            "mean_removal_rate_after_nm_per_min": rate,
            "programs": self.programs,
            "wafers_polished": self.runs,
            "platens": [self._platen(number) for number in range(len(self.setups))],
            "binding": [bound.row() for bound in self.bounds],
        }

    def _platen(self, number: int) -> dict[str, Any]:
        before, after = self.before[number], self.after[number]
        pair = (before, after)
        return {
            "platen": number + 1,
            "setup": self.setups[number].title or self.setups[number].name,
            **before_after("time_{}_s", *(wafer.time for wafer in pair)),
            **before_after("mean_remaining_{}_nm", *(left_nm(wafer) for wafer in pair)),
            **before_after(
                "sigma_remaining_{}_nm", *(1e9 * wafer.sigma(wafer.remaining.sum(axis=0)) for wafer in pair)
            ),
            "steps": step_rows(after),
            "steps_before": step_rows(before),
            "changes": self.changes[number],
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, what comes in and what each platen leaves over the radius, and its pressures, in SI."""
        made = Result.dataset(self)
        each = zip(("before", "after"), (self.before, self.after), strict=True)
        metres = {"units": "m"}
        profiles = {
            f"platen_left_{name}": (
                ("each_platen", "node"),
                np.stack([wafer.remaining.sum(axis=0) for wafer in wafers]),
                {**metres, "long_name": f"left by each platen with the settings {name}"},
            )
            for name, wafers in each
        }
        pressures = {
            f"zone_pressure_{name}": (
                ("each_step", "zone"),
                _padded([step.zone_pressures for wafer in wafers for step in wafer.rig.steps]),
                {"units": "Pa", "long_name": f"zone pressures {name}"},
            )
            for name, wafers in (("before", self.before), ("after", self.after))
        }
        rings = {
            f"ring_set_{name}": (
                "each_step",
                np.array([step.ring_pressure for wafer in wafers for step in wafer.rig.steps]),
                {"units": "Pa", "long_name": f"ring pressure {name}"},
            )
            for name, wafers in (("before", self.before), ("after", self.after))
        }
        rigs = [wafer.rig for wafer in self.after]
        of = [number for number, rig in enumerate(rigs, 1) for _ in rig.steps]
        names = [step.name for rig in rigs for step in rig.steps]
        return made.assign(
            {
                "incoming": (
                    "node",
                    self.after[0].incoming.sum(axis=0),
                    {**metres, "long_name": "incoming thickness of all films, on the first platen"},
                ),
                "goal": ("node", self.goal, {**metres, "long_name": "wanted, after the last platen"}),
                "radius": (
                    ("each_platen", "node"),
                    np.stack([wafer.radius for wafer in self.after]),
                    {**metres, "long_name": "distance from the wafer's centre"},
                ),
                "zone_outer_radius": (
                    ("each_platen", "zone"),
                    _padded([rig.head.zone_outer_radii for rig in rigs]),
                    {**metres, "long_name": "outer radius of the zone"},
                ),
                "step_platen": ("each_step", of, {"units": "1", "long_name": "platen of the step"}),
                "each_step_name": ("each_step", names, {"long_name": "step"}),
                **profiles,
                **pressures,
                **rings,
            }
        ).assign_attrs(exclusion=rigs[-1].wafer.edge_exclusion)


def _padded(rows: Sequence[Array]) -> Array:
    """Return rows of different lengths as one table, NaN behind the shorter ones."""
    made = np.full((len(rows), max(row.size for row in rows)), np.nan)
    for row, values in zip(made, rows, strict=True):
        row[: values.size] = values
    return made
