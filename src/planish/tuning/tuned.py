"""The answer of a tuning: settings before and after, what is left, which limits bind and what they cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.engine.record import counted, figure
from planish.physics.pressure import slopes
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.changes import quantity_text
from planish.tuning import program

if TYPE_CHECKING:
    import xarray as xr

    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.tuning.limits import Limit

Array = NDArray[np.float64]
CARE = (
    "a model's proposal: check it against the tool maker's limits, safety data sheets and local codes, with "
    "qualified staff, on monitor wafers, before product"
)


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit that holds the settings, and what moving it would gain: ``price`` [m of sigma per SI unit of it]."""

    limit: Limit
    price: float

    def row(self) -> dict[str, Any]:
        """Return it in trade units, with a sentence."""
        unit = "psi" if self.limit.dimension == "pressure" else "s"
        worth = 1e9 * self.price * units.to_si(f"1 {unit}", self.limit.dimension)
        return {
            "place": self.limit.place,
            "limit": f"{self.limit.words} {quantity_text(self.limit.value, self.limit.dimension)}",
            "worth": worth,
            "worth_unit": f"nm of sigma per {unit}",
            "words": f"{self.limit.told} holds: 1 {unit} more room would gain about {worth:.3g} nm of sigma",
        }


@dataclass(frozen=True, repr=False, eq=False)
class Tuned(Result):
    """Settings solved for.

    Attributes
    ----------
    setup
        Before, with the incoming film.
    settled
        Path and value of each change.
    before, after
        The wafer polished by ``planish.polish`` with the settings before and after.
    goal
        Thickness to be left [m], (n_r,).
    bounds
        The limits that hold, the dearest first.
    programs, runs
        Quadratic programs solved, and wafers polished on the way.
    said
        What was taken for granted.
    """

    kind: ClassVar[str] = "tuned settings"

    setup: Setup
    settled: tuple[tuple[str, object], ...]
    before: WaferResult
    after: WaferResult
    goal: Array
    bounds: tuple[Bound, ...]
    programs: int
    runs: int
    said: tuple[str, ...]

    def _told(self) -> str:
        before, after = (self._percent(wafer) for wafer in (self.before, self.after))
        return (
            f"{counted(len(self.after.steps), 'step')}: {figure(1e9 * self._left(self.after), 'nm')} left, uneven by "
            f"{figure(after, '%', 3)} (1σ), {figure(before, '%', 3)} before"
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What was taken for granted, what the wafer's own notes say, and a word of care."""
        return tuple(unique([*self.said, *self.after.notes, CARE]))

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return unique([*self.after.sources(), *slopes.SOURCES, *program.SOURCES])

    @property
    def changes(self) -> Changes:
        """The changes that put the settings into the setup (for ``Setup.replace``)."""
        return {
            path: list(value) if isinstance(value, tuple | list) else value for path, value in self.settled
        }

    def tuned(self) -> Setup:
        """Return the setup with the settings in it."""
        return self.setup.replace(self.changes)

    @staticmethod
    def _left(wafer: WaferResult) -> float:
        return wafer.mean(wafer.remaining.sum(axis=0))

    def _sigma(self, wafer: WaferResult) -> float:
        """Return sigma [m] of what is left."""
        return wafer.sigma(wafer.remaining.sum(axis=0))

    def _percent(self, wafer: WaferResult) -> float | None:
        mean = self._left(wafer)
        return 100 * self._sigma(wafer) / mean if mean > 0 else None

    def _off(self, wafer: WaferResult) -> float:
        """Return sigma [m] of what is left less what is wanted."""
        return wafer.sigma(wafer.remaining.sum(axis=0) - self.goal)

    def _content(self) -> dict[str, Any]:
        before, after = self.before, self.after
        return {
            "target_nm": 1e9 * after.mean(self.goal),
            "mean_remaining_before_nm": 1e9 * self._left(before),
            "mean_remaining_after_nm": 1e9 * self._left(after),
            "wiwnu_sigma_percent_before": self._percent(before),
            "wiwnu_sigma_percent_after": self._percent(after),
            "off_target_sigma_before_nm": 1e9 * self._off(before),
            "off_target_sigma_after_nm": 1e9 * self._off(after),
            "time_before_s": before.time,
            "time_after_s": after.time,
            "mean_removal_rate_after_nm_per_min": 6e10 * after.mean(after.rate),
            "programs": self.programs,
            "wafers_polished": self.runs,
            "steps": self.rows(after),
            "steps_before": self.rows(before),
            "binding": [bound.row() for bound in self.bounds],
            "changes": self.changes,
        }

    def rows(self, wafer: WaferResult) -> list[dict[str, object]]:
        """Return the settings of a wafer's recipe, a row a step.

        Parameters
        ----------
        wafer
            The one before or after.

        Returns
        -------
        list[dict[str, object]]
            Pressures in kPa, times in s.
        """
        return [
            {
                "name": step.name,
                "zone_pressures_kPa": [round(float(p) / 1e3, 6) for p in step.zone_pressures],
                "ring_pressure_kPa": round(step.ring_pressure / 1e3, 6),
                "time_s": record.duration,
            }
            for step, record in zip(wafer.rig.steps, wafer.steps, strict=True)
        ]

    def dataset(self) -> xr.Dataset:
        """Return the figures, the profiles over the radius and the pressures of each step, in SI."""
        before, after = self.before, self.after
        profiles = {
            "incoming": (after.incoming.sum(axis=0), "incoming thickness of all films"),
            "left_before": (before.remaining.sum(axis=0), "left with the settings before"),
            "left_after": (after.remaining.sum(axis=0), "left with the settings after"),
            "goal": (self.goal, "wanted"),
            "radius": (after.radius, "distance from the wafer's centre"),
        }
        made = Result.dataset(self).assign(
            {
                name: ("node", values, {"units": "m", "long_name": words})
                for name, (values, words) in profiles.items()
            }
        )
        for name, wafer in (("before", before), ("after", after)):
            zones = np.stack([step.zone_pressures for step in wafer.rig.steps])
            ring = np.array([step.ring_pressure for step in wafer.rig.steps])
            made = made.assign(
                {
                    f"zone_pressure_{name}": (
                        ("step", "zone"),
                        zones,
                        {"units": "Pa", "long_name": f"zone pressures {name}"},
                    ),
                    f"ring_set_{name}": ("step", ring, {"units": "Pa", "long_name": f"ring pressure {name}"}),
                }
            )
        return made.assign(
            {
                "zone_outer_radius": (
                    "zone",
                    after.rig.head.zone_outer_radii,
                    {"units": "m", "long_name": "outer radius of the zone"},
                ),
                "step_name": ("step", [step.name for step in after.steps], {"long_name": "step"}),
            }
        ).assign_attrs(exclusion=after.rig.wafer.edge_exclusion)
