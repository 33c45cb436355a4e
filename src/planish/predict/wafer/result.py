"""What is known after polishing one wafer: profiles, steps, maps, figures of merit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import read_only
from planish.engine.record import Record, counted, figure, shortened
from planish.predict.cleaning import left_figures
from planish.predict.raised import EDGE_BAND, Raised, Seen, cleared_share, edge_extreme, raised
from planish.predict.wafer.counted import Counted
from planish.predict.wafer.counted import counted as counted_disc
from planish.predict.wafer.films import polish_stack
from planish.predict.wafer.incoming import thickness_at
from planish.predict.wafer.strange import strange
from planish.results.result import Result
from planish.units import NM_PER_MIN, PSI, ZERO_CELSIUS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr

    from planish.predict.cleaning import Cleaned
    from planish.predict.wafer.film_rate import FilmRate
    from planish.results.asked import Asked
    from planish.setup.si import Rig

Array = NDArray[np.float64]
TIME_LIMIT = "its time limit"  # what ended a step that did not meet its stop condition


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class StepRecord(Record):
    """One recipe step as it went. Profiles are over the wafer radii of the result.

    Attributes
    ----------
    pressure, speed, rate, removed
        Contact pressure [Pa], mean sliding speed [m/s], mean removal rate [m/s], removed [m], per radius.
    summit_pressure
        What summits carry of the contact pressure, the liquid the rest [Pa], per radius.
    ring_pressure
        Mean pressure of the retaining ring on the pad [Pa].
    times, temperatures
        Time within the step [s] and mean pad temperature under the wafer [K].
    peak_temperature
        Highest pad temperature met by any wafer radius in the step [K].
    curves
        For each film, what would have been removed from it by each time, had it been exposed
        (n_t, n_r) [m]: what the maps are made from.
    duration, stopped_by
        How long the step took [s], and the condition that ended it.
    fastest
        Highest mean rate [m/s] among the films that lost anything, however soon they were gone.
    fresh_fraction, friction, film_thickness, regime
        Slurry under the wafer: share that is fresh, coefficient of friction, fluid film [m], lubrication regime.
    solid_share
        Of the load that summits carry, above 1 where the liquid sucks.
    film_followed, film_torn
        Up to which share of the speed the fluid film was found, 1 but where the liquid lifts the wafer or sucks it
        down too hard; whether it was asked for more suction than liquid can bear.
    real_pressure, real_fraction
        Mean pressure on the summits in contact [Pa]; real contact area as a share of the nominal.
    flowing, plasticity
        Share of the load that lies on summits that flow; plasticity index of the summits in contact.
    modulus_left
        What warmth leaves of the modulus of the summits.
    balance_error
        Relative error of the force balance of the contact solution.
    rates
        What the step makes of the law of each material of the setup, also of those that are no film of the wafer.
    """

    name: str
    pressure: Array
    summit_pressure: Array
    ring_pressure: float
    speed: Array
    rate: Array
    removed: Array
    times: Array
    temperatures: Array
    peak_temperature: float
    curves: tuple[Array, ...]
    duration: float
    stopped_by: str
    fastest: float
    fresh_fraction: float
    friction: float
    film_thickness: float
    film_followed: float
    film_torn: bool
    regime: str
    solid_share: float
    real_pressure: float
    real_fraction: float
    flowing: float
    plasticity: float
    modulus_left: float
    balance_error: float
    rates: dict[str, FilmRate]

    def _told(self) -> str:
        return (
            f"{shortened(self.name, 40)}, {figure(self.duration, 's')} (ended by {self.stopped_by}), "
            f"pressure about {figure(float(np.median(self.pressure)) / PSI, 'psi')}, "
            f"rate about {figure(float(np.median(self.rate)) * NM_PER_MIN, 'nm/min')}, "
            f"pad at most {figure(self.peak_temperature - ZERO_CELSIUS, '°C')}"
        )


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class WaferMaps(Record):
    """Fields on a square grid over the wafer, NaN off it.

    Attributes
    ----------
    x
        Along a side [m], (n,).
    removed
        [m], (n, n).
    remaining
        [m], (films, n, n).
    """

    x: Array
    removed: Array
    remaining: Array

    def _told(self) -> str:
        size = self.x.size
        return f"{size} x {size} points over {figure(2e3 * float(self.x[-1]), 'mm')}, {counted(len(self.remaining), 'film')}"


@dataclass(frozen=True, repr=False, eq=False)
class WaferResult(Result):
    """One polished wafer.

    Attributes
    ----------
    rig
        The setup.
    radius
        Of cell centres [m], (n_r,).
    areas
        Of their rings [m^2], (n_r,).
    films
        Their materials, from the top.
    incoming, remaining
        Of each film [m], (films, n_r).
    cleared
        When each film was gone [s].
    steps
        One record a recipe step.
    notes
        What had to be assumed, in plain words.
    rests_on
        Sources of the models and of what the setup states.
    """

    kind: ClassVar[str] = "one wafer"

    rig: Rig
    radius: Array
    areas: Array
    films: tuple[str, ...]
    incoming: Array  # (films, n_r) [m]
    remaining: Array  # (films, n_r) [m]
    cleared: Array  # (films, n_r) [s] from the start, infinite where not cleared
    steps: tuple[StepRecord, ...]
    said: tuple[str, ...]  # notes of the setup, and what happened
    rests_on: tuple[str, ...]
    asked: Asked | None = None
    cleaned: Cleaned | None = None

    def _told(self) -> str:
        removed = self.removed
        mean = self.mean(removed)
        even = 100 * self.sigma(removed) / mean if mean > 0 else None
        return (
            f"{shortened(self.rig.title, 60)!r}, {figure(2e3 * self.rig.wafer.radius, 'mm')} wafer, "
            f"{counted(len(self.steps), 'step')} in {figure(self.time, 's')}: {figure(1e9 * mean, 'nm')} removed "
            f"({figure(mean / self.time * NM_PER_MIN, 'nm/min')}), WIWNU {figure(even, '%', 3)} (1σ), "
            f"pad at most {max(step.peak_temperature for step in self.steps) - ZERO_CELSIUS:.0f} °C"
        )

    @property
    def removed(self) -> Array:
        """Removed in all [m], per radius."""
        return read_only(np.asarray(self.incoming.sum(axis=0) - self.remaining.sum(axis=0)))

    @property
    def time(self) -> float:
        """Polish time in all [s]."""
        return sum(step.duration for step in self.steps)

    @property
    def rate(self) -> Array:
        """Mean removal rate over the whole recipe [m/s], per radius."""
        return read_only(self.removed / self.time)

    @property
    def times(self) -> Array:
        """Times from the start [s], all steps one after the other."""
        starts = np.cumsum([0.0] + [step.duration for step in self.steps[:-1]])
        return read_only(
            np.concatenate([start + step.times for start, step in zip(starts, self.steps, strict=True)])
        )

    @property
    def temperatures(self) -> Array:
        """Mean pad temperature under the wafer [K] at ``times``."""
        return read_only(np.concatenate([step.temperatures for step in self.steps]))

    def inside(self) -> NDArray[np.bool_]:
        """Which radii lie inside the edge exclusion."""
        return self._counted.inside

    @property
    def _counted(self) -> Counted:
        """The disc inside the edge exclusion."""
        wafer = self.rig.wafer
        return counted_disc(self.radius, self.areas, wafer.radius - wafer.edge_exclusion)

    def mean(self, profile: Array) -> float:
        """Return the area mean of a profile inside the edge exclusion.

        Parameters
        ----------
        profile
            (n_r,).

        Returns
        -------
        float
            In its unit.
        """
        return self._counted.mean(profile)

    def sigma(self, profile: Array) -> float:
        """Return the area-weighted standard deviation of a profile inside the edge exclusion.

        Parameters
        ----------
        profile
            (n_r,).

        Returns
        -------
        float
            In its unit.
        """
        return self._counted.sigma(profile)

    def half_range(self, profile: Array) -> float:
        """Return (max - min) / 2 of a profile inside the edge exclusion.

        Parameters
        ----------
        profile
            (n_r,).

        Returns
        -------
        float
            In its unit.
        """
        return self._counted.half_range(profile)

    def time_mean(self, of_step: Sequence[float]) -> float:
        """Return the mean of one number a step, weighted with the steps' durations.

        Parameters
        ----------
        of_step
            One a step.

        Returns
        -------
        float
            In its unit.
        """
        return float(np.average(of_step, weights=[step.duration for step in self.steps]))

    def over_time(self, profiles: Sequence[Array]) -> Array:
        """Return the mean of one profile a step, weighted with the steps' durations.

        Parameters
        ----------
        profiles
            One a step, (n_r,).

        Returns
        -------
        Array
            (n_r,).
        """
        return np.asarray(np.average(profiles, axis=0, weights=[step.duration for step in self.steps]))

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, what happened, and where the result leaves the ground of the model."""
        return (*self.said, *self.doubts())

    def _content(self) -> dict[str, Any]:
        """Return the figures of merit; non-uniformity over the area inside the edge exclusion."""
        removed, steps = self.removed, self.steps
        mean = self.mean(removed)
        has = mean > 0
        speed = self.over_time([step.speed for step in steps])
        pressure = self.over_time([step.pressure for step in steps])
        edge = self.edge()
        top_remaining = self.remaining.sum(axis=0)
        return {
            "mean_removal_rate_nm_per_min": mean / self.time * NM_PER_MIN,
            "wiwnu_sigma_percent": 100 * self.sigma(removed) / mean if has else None,
            "wiwnu_range_percent": 100 * self.half_range(removed) / mean if has else None,
            "mean_removed_nm": mean * 1e9,
            "mean_remaining_nm": self.mean(top_remaining) * 1e9,
            "mean_speed_m_per_s": self.mean(speed),
            "mean_pressure_psi": self.mean(pressure) / PSI,
            "ring_pressure_psi": self.time_mean([step.ring_pressure for step in steps]) / PSI,
            "edge_rate_percent": edge["edge_rate_percent"],
            "edge_extreme_percent": edge["edge_extreme_percent"],
            "edge_extreme_from_edge_mm": edge["edge_extreme_from_edge_mm"],
            "peak_temperature_C": max(step.peak_temperature for step in steps) - ZERO_CELSIUS,
            "sliding_distance_m": self.mean(speed) * self.time,
            "time_s": self.time,
            "fresh_fraction_percent": 100 * self.time_mean([step.fresh_fraction for step in steps]),
            "friction_coefficient": self.time_mean([step.friction for step in steps]),
            "real_contact_percent": 100 * self.time_mean([step.real_fraction for step in steps]),
            "real_pressure_MPa": self.time_mean([step.real_pressure for step in steps]) / 1e6,
            "plasticity_index": self.time_mean([step.plasticity for step in steps]),
            "flowing_percent": 100 * self.time_mean([step.flowing for step in steps]),
            "modulus_left_percent": 100 * self.time_mean([step.modulus_left for step in steps]),
            "force_balance_error": max(step.balance_error for step in steps),
            "cleared": {
                film: bool(np.all(np.isfinite(self.cleared[i][self.inside()])))
                for i, film in enumerate(self.films)
            },
            **left_figures(self.rig, self.cleaned),
            "steps": [self._step_summary(step) for step in steps],
            **(
                {}
                if self.cleaned is None
                else {
                    "cleaning": self.cleaned.rows(),
                    "cleaned_sizes_nm": [1e9 * size for size in self.cleaned.sizes.tolist()],
                }
            ),
        }

    @property
    def temperature(self) -> float:
        """Mean temperature of the pad under the wafer, over its time [K]."""
        return self.time_mean([float(np.mean(step.temperatures)) for step in self.steps])

    def doubts(self) -> list[str]:
        """Return where the result leaves the ground on which the model stands, one line each."""
        nothing = ("act", "rate")  # no figure of a wafer from which nothing goes says anything
        told = (one for one in self.raised() if one.kind == "doubt" or (one.kind, one.subject) == nothing)
        return [*(one.words.rstrip(".") for one in told), *self.strange()]

    def raised(self) -> list[Raised]:
        """Return what is worth telling about this wafer (``predict.raised``)."""
        return raised(self.rig, self._seen())

    def _seen(self) -> Seen:
        steps, disc, removed = self.steps, self._counted, self.removed
        gone = np.all(self.remaining[:, disc.inside] <= 0, axis=0)
        height, _ = edge_extreme(self.radius, self.areas, removed[None, :], *self._rim())
        return Seen(
            limited=np.array([[step.stopped_by == TIME_LIMIT for step in steps]]),
            floating=np.array([[step.regime == "hydrodynamic" for step in steps]]),
            film_followed=np.array([[step.film_followed for step in steps]]),
            film_torn=np.array([[step.film_torn for step in steps]]),
            solid_share=np.array([[step.solid_share for step in steps]]),
            friction=np.array([[step.friction for step in steps]]),
            real_fraction=np.array([[step.real_fraction for step in steps]]),
            flowing=np.array([[step.flowing for step in steps]]),
            plasticity=np.array([[step.plasticity for step in steps]]),
            fresh=np.array([[step.fresh_fraction for step in steps]]),
            peak=np.array([[step.peak_temperature for step in steps]]),
            unresolved=np.zeros(1, dtype=bool),  # a fresh pad's
            bare_somewhere=np.array([gone.any()]),
            bare=np.array([gone.all()]),
            cleared_share=np.array([cleared_share(self.incoming - self.remaining, self.remaining, disc)]),
            removed=np.array([disc.mean(removed)]),
            sigma=np.array([disc.sigma(removed)]),
            edge=height,
        )

    def cleared_share(self) -> float:
        """Return which share of the removal is films that are gone everywhere inside the edge exclusion."""
        return cleared_share(self.incoming - self.remaining, self.remaining, self._counted)

    def _rim(self) -> tuple[float, float]:
        """Wafer radius and edge exclusion [m]."""
        return self.rig.wafer.radius, self.rig.wafer.edge_exclusion

    def strange(self) -> list[str]:
        """Return what no real polish has, one line each, with the input that drives it."""
        return strange(
            self.rig,
            real_pressure=max(step.real_pressure for step in self.steps),
            friction=max(step.friction for step in self.steps),
            rate=max(step.fastest for step in self.steps),
        )

    def _step_summary(self, step: StepRecord) -> dict[str, Any]:
        mean = self.mean(step.rate)
        return {
            "name": step.name,
            "time_s": step.duration,
            "stopped_by": step.stopped_by,
            "removal_rate_nm_per_min": mean * NM_PER_MIN,
            "removed_nm": self.mean(step.removed) * 1e9,
            "pressure_psi": self.mean(step.pressure) / PSI,
            "speed_m_per_s": self.mean(step.speed),
            "peak_temperature_C": step.peak_temperature - ZERO_CELSIUS,
            "fresh_fraction_percent": 100 * step.fresh_fraction,
            "friction_coefficient": step.friction,
            "regime": step.regime,
        }

    def edge(self, band: float = EDGE_BAND) -> dict[str, float | None]:
        """Return how the edge polishes against the middle.

        Parameters
        ----------
        band
            Width of the edge [m].

        Returns
        -------
        dict[str, float | None]
            ``edge_rate_percent``: removal at the exclusion radius against the mean over the inner half
            radius; ``edge_extreme_percent``: the largest departure, within ``band`` of the edge and inside
            the exclusion, from the removal where the band begins, and where it sits from the edge: what the
            edge does beyond any tilt from the middle outward.
        """
        removed, (rim, exclusion) = self.removed, self._rim()
        centre = counted_disc(self.radius, self.areas, 0.5 * rim).mean(removed)
        height, place = edge_extreme(self.radius, self.areas, removed[None, :], rim, exclusion, band)
        has, known = centre > 0, bool(np.isfinite(height[0]))
        at_rim = float(self._counted.read[-1] @ removed)
        return {
            "edge_rate_percent": 100 * (at_rim / centre - 1) if has else None,
            "edge_extreme_percent": float(height[0]) if known else None,
            "edge_extreme_from_edge_mm": float(place[0]) * 1e3 if known else None,
        }

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        return list(self.rests_on)

    def maps(self, points: int = 201) -> WaferMaps:
        """Return removed and remaining on a square grid, with the incoming film as it is in 2-D.

        Parameters
        ----------
        points
            Along a side.

        Returns
        -------
        WaferMaps
            NaN off the wafer.
        """
        if points not in self._maps:
            self._maps[points] = self._make_maps(points)
        return self._maps[points]

    @cached_property
    def _maps(self) -> dict[int, WaferMaps]:
        return {}

    def _make_maps(self, points: int) -> WaferMaps:
        radius = self.rig.wafer.radius
        x = np.linspace(-radius, radius, points)
        xx, yy = np.meshgrid(x, x)
        rr = np.hypot(xx, yy)
        on = rr <= radius
        removed = np.full(rr.shape, np.nan)
        remaining = np.full((len(self.films), *rr.shape), np.nan)
        if all(film.sites is None for film in self.rig.wafer.films):  # round: the profile says it all
            left = np.stack([np.interp(rr[on], self.radius, row) for row in self.remaining])
            removed[on] = np.interp(rr[on], self.radius, self.removed)
        else:
            thickness = np.stack([thickness_at(film, xx[on], yy[on]) for film in self.rig.wafer.films])
            left = self.replay(thickness, rr[on])
            removed[on] = thickness.sum(axis=0) - left.sum(axis=0)
        remaining[:, on] = left
        return WaferMaps(x, removed, remaining)

    def replay(self, thickness: Array, radius: Array) -> Array:
        """Return what is left of other films at some wafer radii.

        The steps run as they did for the mean wafer; only the thickness differs from place to place.

        Parameters
        ----------
        thickness
            Of the films [m], (films, n).
        radius
            [m], (n,).

        Returns
        -------
        Array
            [m], (films, n).
        """
        left = thickness.copy()
        for step in self.steps:
            curves = [_at_radius(curve, self.radius, radius) for curve in step.curves]
            removed, _ = polish_stack(left, curves, step.times)
            left = left - removed[:, -1, :]
        return left

    def dataset(self) -> xr.Dataset:
        """Return profiles by radius and step, and the temperature by time, as a labelled dataset in SI units."""
        import xarray as xr

        names = [step.name for step in self.steps]
        by_step = {
            "pressure": ("Pa", "contact pressure", [step.pressure for step in self.steps]),
            "speed": ("m/s", "mean sliding speed", [step.speed for step in self.steps]),
            "rate": ("m/s", "mean removal rate", [step.rate for step in self.steps]),
            "step_removed": ("m", "removed in the step", [step.removed for step in self.steps]),
        }
        made = xr.Dataset(
            {
                **{
                    key: (("step", "radius"), np.stack(rows), {"units": unit, "long_name": words})
                    for key, (unit, words, rows) in by_step.items()
                },
                "removed": (("radius",), self.removed, {"units": "m", "long_name": "removed in all"}),
                "incoming": (
                    ("film", "radius"),
                    self.incoming,
                    {"units": "m", "long_name": "incoming thickness"},
                ),
                "remaining": (
                    ("film", "radius"),
                    self.remaining,
                    {"units": "m", "long_name": "remaining thickness"},
                ),
                "cleared": (
                    ("film", "radius"),
                    self.cleared,
                    {"units": "s", "long_name": "time at which the film is gone"},
                ),
                "area": (("radius",), self.areas, {"units": "m2", "long_name": "area of the ring cell"}),
                "temperature": (
                    ("time",),
                    self.temperatures,
                    {"units": "K", "long_name": "mean pad temperature"},
                ),
            },
            coords={
                "radius": (
                    "radius",
                    self.radius,
                    {"units": "m", "long_name": "distance from the wafer's centre"},
                ),
                "step": ("step", names),
                "film": ("film", list(self.films)),
                "time": ("time", self.times, {"units": "s", "long_name": "time from the start"}),
            },
        )
        wafer = self.rig.wafer
        made.attrs.update(
            title=self.rig.title, wafer_radius=wafer.radius, edge_exclusion=wafer.edge_exclusion
        )  # [m]
        return made


def _at_radius(curve: Array, nodes: Array, radius: Array) -> Array:
    """Interpolate curves (n_t, n_r) at other radii (n,), constant beyond the outermost cells."""
    index = np.clip(np.searchsorted(nodes, radius) - 1, 0, nodes.size - 2)
    share = np.clip((radius - nodes[index]) / (nodes[index + 1] - nodes[index]), 0.0, 1.0)
    return curve[:, index] * (1 - share) + curve[:, index + 1] * share
