"""A designed dwell table as an answer: the table, how the arm runs it, the pad wear it gives, and what stops more."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.physics.motion import arm, sweep
from planish.physics.surface import conditioning, dwell, dwell_rows, grit
from planish.results.plain import unique
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

    from planish.results.plain import Columns
    from planish.setup.changes import Changes
    from planish.setup.si import Rig

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
CARE = (
    "a model's proposal: check it against the limits of the arm and of the tool maker, safety data sheets and local codes, "
    "with qualified staff, before it runs"
)
_GIVEN_AWAY = 0.25  # of what the table gains: more than that lost by the arm is told
_WORTH = 0.002  # of the mean cut: by which a limit must hold evenness back to be named


class Reached(NamedTuple):
    """Unevenness [1] beside that of the table.

    ``equal`` times in all zones; ``unlimited``: no limits but the least share; ``without`` one kind of limits, in words.
    """

    equal: float
    unlimited: float
    without: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, repr=False)
class SweepDesign(Result):
    """A dwell table that an arm can run, and the pad wear it gives.

    Attributes
    ----------
    rig
        The setup.
    zone_edges, zone_dwell
        (zones+1,) [m] and (zones,) shares of time.
    zone_dwell_unlimited
        Shares of the most even table, which no arm has to run, (zones,).
    pad_radius
        (n,) [m].
    cut_before, cut_after
        Of the setup's own sweep, and of the setup with the table in it [m/s], (n,).
    cut_run
        With the table as the arm really runs, which speeds up and slows down within zones [m/s], (n,).
    counted
        The rings that the wafer passes, (n,).
    target, weights
        Wanted relative cut, and weights, (n,).
    run, arm
        One pass of the arm, and the limits that it keeps.
    ratio, turns
        That neighbouring zones, and all of them, were allowed.
    asked
        Unevenness asked for [1]; None where none was.
    reached
        By other tables.
    """

    kind: ClassVar[str] = "dwell table"

    rig: Rig
    zone_edges: Array
    zone_dwell: Array
    zone_dwell_unlimited: Array
    pad_radius: Array
    cut_before: Array
    cut_after: Array
    cut_run: Array
    counted: Mask
    target: Array
    weights: Array
    run: arm.ArmRun
    arm: dwell_rows.Arm
    ratio: float
    turns: int
    asked: float | None
    reached: Reached

    def _told(self) -> str:
        return (
            f"dwell table of {counted(len(self.zone_dwell), 'zone')} from {1e3 * self.zone_edges[0]:.4g} to "
            f"{1e3 * self.zone_edges[-1]:.4g} mm: pad cut uneven by {figure(100 * self.uneven_after, '%', 3)} (1σ), "
            f"{figure(100 * self.uneven_before, '%', 3)} before"
        )

    def _uneven(self, cut: Array) -> float:
        share = cut / self.target
        mean = float(np.average(share, weights=self.weights))
        spread = float(np.sqrt(np.average((share - mean) ** 2, weights=self.weights)))
        return spread / mean if mean > 0 else np.inf

    @property
    def uneven_before(self) -> float:
        """Relative standard deviation of the cut of the setup's own sweep, where the wafer passes."""
        return self._uneven(self.cut_before)

    @property
    def uneven_after(self) -> float:
        """The same with the table, by the wear of a setup that has it."""
        return self._uneven(self.cut_after)

    @property
    def uneven_run(self) -> float:
        """The same with the table as the arm really runs."""
        return self._uneven(self.cut_run)

    @property
    def notes(self) -> tuple[str, ...]:
        """Whether the table is worth having, what stops it from being more even where more was asked, and the caution."""
        held = [
            f"{figure(100 * uneven, '%', 3)} {words}"
            for words, uneven in sorted(self.reached.without, key=lambda each: each[1])
            if uneven < self.uneven_after - _WORTH
        ]
        without = "; ".join(held) or "no single limit stops it"
        if not self.better:
            return (
                f"no table of {len(self.zone_dwell)} zones with these limits wears the pad more evenly than the sweep "
                f"in the setup: keep it, or allow more zones or shorter stays ({without})",
            )
        driven = self._driven()
        if self.asked is None or self.uneven_after <= self.asked:
            return (*driven, CARE)
        more = figure(100 * self.reached.unlimited, "%", 3)
        if self.reached.unlimited > self.asked:
            why = f"no table of these zones does, the best is {more}: allow more zones, or other ends of the sweep"
        else:
            why = f"{without}; {more} without any of them"
        asked, found = (figure(100 * each, "%", 3) for each in (self.asked, self.uneven_after))
        return (f"even: {asked} asked for, {found} reached: {why}", *driven, CARE)

    def _driven(self) -> tuple[str, ...]:
        """Say where the arm, which cannot jump between speeds, gives away what the table promises."""
        gained, lost = self.uneven_before - self.uneven_after, self.uneven_run - self.uneven_after
        if lost <= _GIVEN_AWAY * gained:
            return ()
        run, after = (figure(100 * each, "%", 3) for each in (self.uneven_run, self.uneven_after))
        return (
            f"with its speed and acceleration the arm wears the pad uneven by {run}, not by the {after} of the table: more "
            "zones, a slower sweep or a quicker arm come nearer to it",
        )

    @property
    def better(self) -> bool:
        """Whether the table wears the pad more evenly than the setup's own sweep."""
        return self.uneven_after < self.uneven_before

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return unique([*conditioning.SOURCES, *grit.SOURCES, *sweep.SOURCES, *dwell.SOURCES, *arm.SOURCES])

    def tables(self) -> dict[str, Columns]:
        """Return ``zones``: a row a zone, from where to where, its share of the time, stay and mean speed of the arm."""
        edges = (1e3 * self.zone_edges).tolist()
        stay = self.arm.time * self.zone_dwell / self.zone_dwell.sum()
        return {
            "zones": {
                "from_mm": edges[:-1],
                "to_mm": edges[1:],
                "dwell_percent": (100 * self.zone_dwell).tolist(),
                "stay_s": stay.tolist(),
                "arm_speed_m_per_s": (self.arm.lengths / stay).tolist(),
            }
        }

    def _content(self) -> dict[str, Any]:
        """Return the table and its figures."""
        return {
            "zone_edges_mm": (1e3 * self.zone_edges).tolist(),
            "zone_dwell": self.zone_dwell.tolist(),
            "changes": self.changes,
            "uneven_before_percent": 100 * self.uneven_before,
            "uneven_after_percent": 100 * self.uneven_after,
            "uneven_run_percent": 100 * self.uneven_run,
            "uneven_equal_times_percent": 100 * self.reached.equal,
            "uneven_unlimited_percent": 100 * self.reached.unlimited,
            "mean_cut_before_um_per_h": 3.6e9 * float(self.cut_before[self.counted].mean()),
            "mean_cut_after_um_per_h": 3.6e9 * float(self.cut_after[self.counted].mean()),
            "neighbours_factor": dwell.ratio_of(self.zone_dwell),
            "turns": dwell.turns_of(self.zone_dwell),
            "pass_s": self.arm.time,
            "arm_peak_speed_m_per_s": round(float(self.run.speed.max()), 6),
            "arm_peak_acceleration_m_per_s2": round(self.run.acceleration, 6),
            "arm_top_speed_m_per_s": self.arm.drive.speed,
            "arm_top_acceleration_m_per_s2": self.arm.drive.acceleration,
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, the zones, the cut over the pad before and after, and the arm's pass, in SI."""
        over = {
            "pad_radius": (self.pad_radius, "m", "place on the pad"),
            "cut_before": (self.cut_before, "m/s", "pad cut with the sweep as it was"),
            "cut_after": (self.cut_after, "m/s", "pad cut with the table"),
            "cut_run": (self.cut_run, "m/s", "pad cut with the table as the arm runs it"),
            "counted": (self.counted.astype(np.int8), "1", "whether the wafer passes"),
        }
        zones = {
            "zone_dwell": (self.zone_dwell, "share of the time"),
            "zone_dwell_unlimited": (
                self.zone_dwell_unlimited,
                "share of the time for an arm without limits",
            ),
        }
        moments = {
            "run_time": (self.run.time, "s", "time since the arm turned"),
            "run_speed": (self.run.speed, "m/s", "speed of the disk's centre along its path"),
            "run_place": (self.run_place, "m", "place of the disk's centre"),
        }
        return (
            Result.dataset(self)
            .assign(
                {
                    "zone_edges": ("edge", self.zone_edges, {"units": "m", "long_name": "ends of the zones"}),
                    **{
                        name: ("zone", values, {"units": "1", "long_name": words})
                        for name, (values, words) in zones.items()
                    },
                    **{
                        name: ("ring", values, {"units": unit, "long_name": words})
                        for name, (values, unit, words) in over.items()
                    },
                    **{
                        name: ("moment", values, {"units": unit, "long_name": words})
                        for name, (values, unit, words) in moments.items()
                    },
                }
            )
            .assign_attrs(place_word=self.rig.polisher.place_word, top_speed=self.arm.drive.speed)
        )

    @property
    def top_speed(self) -> float:
        """Of the arm [m/s]."""
        return self.arm.drive.speed

    @property
    def run_place(self) -> Array:
        """Place of the disk's centre at each moment of the pass [m], as edges of zones are given."""
        assert self.rig.conditioner is not None  # it has a sweep
        path = self.rig.conditioner.sweep
        way, place = sweep.along_path(path.kind, path.pivot_distance, path.arm_length)
        begin, end = way(np.array([path.inner, path.outer]))
        return np.clip(place(np.clip(begin + self.run.place, begin, end)), path.inner, path.outer)

    @property
    def changes(self) -> Changes:
        """The changes that put the table into a setup (for ``Setup.replace``); none where it is no better."""
        if not self.better:
            return {}
        return {
            "conditioner.sweep.zone_edges": [f"{edge * 1e3:.6g} mm" for edge in self.zone_edges],
            "conditioner.sweep.zone_dwell": self.zone_dwell.tolist(),
        }
