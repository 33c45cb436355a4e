"""The answer of a tuning: settings before and after, what is left, which limits bind and what they cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.engine.record import Record, counted, figure, shortened
from planish.physics.pressure import slopes
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.changes import quantity_text
from planish.tuning import program
from planish.tuning.chance import counted as by_count
from planish.tuning.told import average, before_after, left_nm, of_several, percent, rms, step_rows, wafer_row

if TYPE_CHECKING:
    import xarray as xr

    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.tuning.chance.counted import Chance
    from planish.tuning.incoming import Scatter
    from planish.tuning.limits import Limit

Array = NDArray[np.float64]
CARE = (
    "a model's proposal: check it against the tool maker's limits, safety data sheets and local codes, with "
    "qualified staff, on monitor wafers, before product"
)


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit that holds the settings, and what moving it would gain: ``price`` [m of sigma per SI unit of it].

    No price where the settings were not chosen by sigma.
    """

    limit: Limit
    price: float | None

    def row(self) -> dict[str, Any]:
        """Return it in trade units, with a sentence."""
        unit = "psi" if self.limit.dimension == "pressure" else "s"
        limit = f"{self.limit.words} {quantity_text(self.limit.value, self.limit.dimension)}"
        if self.price is None:
            return {"place": self.limit.place, "limit": limit, "words": f"{self.limit.told} holds"}
        if self.price == 0.0:
            return {
                "place": self.limit.place,
                "limit": limit,
                "worth": 0.0,
                "worth_unit": f"nm of sigma per {unit}",
                "words": f"{self.limit.told} holds: more room would gain next to nothing",
            }
        worth = 1e9 * self.price * units.to_si(f"1 {unit}", self.limit.dimension)
        return {
            "place": self.limit.place,
            "limit": limit,
            "worth": worth,
            "worth_unit": f"nm of sigma per {unit}",
            "words": f"{self.limit.told} holds: a little more room would gain about {worth:.3g} nm of sigma per {unit}",
        }


@dataclass(frozen=True, slots=True, repr=False)
class OneOf(Record):
    """One of several incoming wafers.

    Attributes
    ----------
    name
        What it is called.
    before, after
        Polished by ``planish.polish`` with the settings before and after.
    round
        Root mean square of what its sites differ from the mean round the wafer as they come in [m].
    """

    name: str
    before: WaferResult
    after: WaferResult
    round: float

    def _told(self) -> str:
        return f"{shortened(self.name, 60)}: {figure(percent(self.after), '%', 3)} (1σ), {figure(percent(self.before), '%', 3)} before"


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
        The wafer polished by ``planish.polish`` with the settings before and after; of several, that of their mean profile.
    goal
        Thickness to be left [m], (n_r,).
    bounds
        The limits that hold, the dearest first.
    programs, runs
        Quadratic programs solved, and wafers polished on the way.
    said
        What was taken for granted.
    wafers
        Each of several incoming wafers; none where there is one.
    scatter
        What no setting can mend of several wafers; None where there is one.
    chance
        Of meeting all limits, where these were given.
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
    wafers: tuple[OneOf, ...] = ()
    scatter: Scatter | None = None
    chance: Chance | None = None

    def _told(self) -> str:
        before, after = (average(percent, each) for each in self._all())
        of = f" of {len(self.wafers)} wafers" if self.wafers else ""
        met = ""
        if self.chance is not None:
            met = f"; {figure(100 * self.chance.chosen.chance.share, '%', 3)} of draws meet all limits"
        return (
            f"{counted(len(self.after.steps), 'step')}: {figure(left_nm(self.after), 'nm')} left{of}, uneven by "
            f"{figure(after, '%', 3)} (1σ), {figure(before, '%', 3)} before{met}"
        )

    def _all(self) -> tuple[tuple[WaferResult, ...], tuple[WaferResult, ...]]:
        """Return the wafers with the settings before, and after: all of several."""
        if not self.wafers:
            return (self.before,), (self.after,)
        return tuple(one.before for one in self.wafers), tuple(one.after for one in self.wafers)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was taken for granted, what the wafer's own notes say, and a word of care."""
        chance = [] if self.chance is None else self.chance.notes()
        return tuple(unique([*self.said, *self._several(), *chance, *self.after.notes, CARE]))

    def _several(self) -> list[str]:
        """Say what is made least over several wafers, and what no setting can mend."""
        if self.scatter is None:
            return []
        each = " nm, ".join(
            f"{words} {1e9 * value:.3g}"
            for words, value in (
                ("wafer means scatter by", self.scatter.means),
                ("profiles about the mean profile by", self.scatter.profiles),
                ("sites about their profile by", self.scatter.round),
            )
        )
        return [
            f"{len(self.wafers)} wafers, one recipe: least is made of the root mean square over them of sigma of what is left, "
            "each about its own mean, with the mean over all of them at the target",
            f"scatter that no setting mends, as far as the same is taken from every wafer (1σ over these wafers): {each} nm",
        ]

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        chance = [] if self.chance is None else by_count.SOURCES
        return unique([*self.after.sources(), *slopes.SOURCES, *program.SOURCES, *chance])

    @property
    def changes(self) -> Changes:
        """The changes that put the settings into the setup (for ``Setup.replace``)."""
        return {
            path: list(value) if isinstance(value, tuple | list) else value for path, value in self.settled
        }

    def tuned(self) -> Setup:
        """Return the setup with the settings in it."""
        return self.setup.replace(self.changes)

    def _off(self, wafer: WaferResult) -> float:
        """Return sigma [m] of what is left less what is wanted."""
        return wafer.sigma(wafer.remaining.sum(axis=0) - self.goal)

    def _content(self) -> dict[str, Any]:
        before, after = self.before, self.after
        every = self._all()
        return {
            "target_nm": 1e9 * after.mean(self.goal),
            **before_after("mean_remaining_{}_nm", *(average(left_nm, each) for each in every)),
            **before_after("wiwnu_sigma_percent_{}", *(average(percent, each) for each in every)),
            **before_after("off_target_sigma_{}_nm", *(1e9 * rms(self._off, each) for each in every)),
            **of_several(self.scatter, *every, [self._row(one) for one in self.wafers]),
            "time_before_s": before.time,
            "time_after_s": after.time,
            "mean_removal_rate_after_nm_per_min": 6e10 * after.mean(after.rate),
            "programs": self.programs,
            "wafers_polished": self.runs,
            **({} if self.chance is None else self.chance.content()),
            "steps": step_rows(after),
            "steps_before": step_rows(before),
            "binding": [bound.row() for bound in self.bounds],
            "changes": self.changes,
        }

    def _row(self, one: OneOf) -> dict[str, Any]:
        coming = {"mean_incoming_nm": 1e9 * one.after.mean(one.after.incoming.sum(axis=0))}
        row = wafer_row(one.name, (one.before, one.after), self._off, one.round)
        return {"wafer": row.pop("wafer"), **coming, **row}

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
        made = made.assign(self._of_wafers()).assign({} if self.chance is None else self.chance.variables())
        return made.assign(
            {
                "zone_outer_radius": (
                    "zone",
                    after.rig.head.zone_outer_radii,
                    {"units": "m", "long_name": "outer radius of the zone"},
                ),
                "step_name": ("step", [step.name for step in after.steps], {"long_name": "step"}),
            }
        ).assign_attrs(
            exclusion=after.rig.wafer.edge_exclusion,
            chosen_by_chance=int(self.chance is not None and self.chance.better),
        )

    def _of_wafers(self) -> dict[str, Any]:
        """Return the profiles of several wafers as variables of a dataset."""
        if not self.wafers:
            return {}
        profiles = {
            "wafer_incoming": ([one.after.incoming for one in self.wafers], "incoming, of each wafer"),
            "wafer_left_before": (
                [one.before.remaining for one in self.wafers],
                "left of each wafer with the settings before",
            ),
            "wafer_left_after": (
                [one.after.remaining for one in self.wafers],
                "left of each wafer with the settings after",
            ),
        }
        return {
            name: (
                ("each_wafer", "node"),
                np.stack([films.sum(axis=0) for films in each]),
                {"units": "m", "long_name": words},
            )
            for name, (each, words) in profiles.items()
        }
