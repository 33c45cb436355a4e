"""What a die feels at its place on the wafer: pressure, speed, rates, and the pad's state."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import SetupError, refuse
from planish.physics.pattern.feature_selectivity import reach_at_rest
from planish.physics.pattern.response import local_response
from planish.physics.pressure.layers import surface_compliance
from planish.physics.removal.laws import LAWS
from planish.physics.surface import asperities
from planish.units import show

if TYPE_CHECKING:
    from planish.predict.wafer.film_rate import FilmRate
    from planish.predict.wafer.result import StepRecord, WaferResult
    from planish.setup.si import Rig

Array = NDArray[np.float64]
STEADY = 0.05  # by which a rate may change, as a logarithm, within a stretch that counts as one
MOST_STRETCHES = 6  # of a step

SOURCES: tuple[str, ...] = (
    *asperities.SOURCES,
    "share of the summits' reach at rest that counts while the pad slides: calibration of our own to published dishing"
    " and steps",
)


@dataclass(frozen=True, slots=True)
class SurfaceState:
    """The pad's surface as the die meets it.

    ``selectivity_length`` [m] at which pressure falls to 1/e over wide low
    areas, sliding; ``spot_radius`` [m] of the mean contact spot.
    """

    selectivity_length: float
    spot_radius: float


@dataclass(frozen=True, slots=True, repr=False)
class LocalStep(Record):
    """One recipe step at one place, or the stretch of one in which rates hardly change.

    Attributes
    ----------
    name
        Of the step.
    duration
        [s].
    pressure
        [Pa].
    speed
        [m/s].
    rates
        Blanket rates by material [m/s].
    platen
        Which of several pads it runs on.
    responses
        How the rates answer to pressure within a cell
        (:func:`planish.physics.pattern.response.local_response`), by material; None or not there: in proportion.
    """

    name: str
    duration: float
    pressure: float
    speed: float
    rates: dict[str, float]
    platen: int = 0
    responses: dict[str, Array | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, repr=False)
class LocalConditions(Record):
    """A place on the wafer: its name, radius [m] and recipe steps."""

    place: str
    radius: float
    steps: tuple[LocalStep, ...]

    @property
    def duration(self) -> float:
        """Polish time in all [s]."""
        return sum(step.duration for step in self.steps)

    @property
    def pressure(self) -> float:
        """Mean pressure over the time [Pa]."""
        return float(np.average([s.pressure for s in self.steps], weights=[s.duration for s in self.steps]))

    def rates(self, material: str) -> Array:
        """Blanket rates of a material, one per step [m/s]."""
        return np.array([step.rates[material] for step in self.steps])

    def responses(self, material: str) -> list[Array | None]:
        """How that rate answers to local pressure, one table per step; None where it is in proportion."""
        return [step.responses.get(material) for step in self.steps]


def pad_state(
    rig: Rig,
    pressure: float,
    *,
    sliding_share: float,
    temperature: float | None = None,
    worn: tuple[float, float] = (1.0, 1.0),
) -> SurfaceState:
    """Return the pad's state at a pressure.

    Parameters
    ----------
    rig
        The setup in SI.
    pressure
        On the pad [Pa].
    sliding_share
        Of the summits' reach at rest, what counts while the pad slides [1].
    temperature
        Of the pad [K]; that for which its moduli are stated unless given.
    worn
        By which the decay length of the summits and the mean pressure on those in contact have changed since the pad
        was new, from the lot level.

    Returns
    -------
    SurfaceState
        As the die meets it.
    """
    from planish.predict.wafer.pad_surface import as_conditioned, summit_curve
    from planish.predict.wafer.warm_pad import softness

    surface = as_conditioned(rig)
    curve = summit_curve(surface)
    left = 1.0 if temperature is None else softness(rig, temperature).summits
    # warm summits stand as cold ones under more pressure
    reach = float(curve.at(pressure / left, "decay_length")) * worn[0]
    real = left * float(curve.at(pressure / left, "real_pressure")) * worn[1]
    plane = left * asperities.plane_modulus(surface.modulus, surface.poisson)
    spot = float(np.sqrt(surface.tip_radius * reach))
    return SurfaceState(sliding_share * reach_at_rest(spot, real / plane), spot)


def stack_compliance(
    rig: Rig,
    groove_depth: float | None = None,
    top_thickness: float | None = None,
    temperature: float | None = None,
) -> Callable[[Array], Array]:
    """Return the compliance of the setup's pad stack.

    Parameters
    ----------
    rig
        The setup in SI.
    groove_depth, top_thickness
        Of a worn pad [m]; the new pad's unless given.
    temperature
        Of the pad's surface [K]; that for which its moduli are stated unless given.

    Returns
    -------
    Callable[[Array], Array]
        From wave number [rad/m] to compliance [m/Pa].
    """
    from planish.predict.wafer.contact_model import pad_layers
    from planish.predict.wafer.warm_pad import layers_left

    left = None if temperature is None else layers_left(rig, temperature)
    layers, base = pad_layers(rig, groove_depth, top_thickness, left), rig.polisher.base()
    return partial(surface_compliance, layers=layers, base=base)  # can be sent to a cluster, unlike a lambda


def wafer_rigidity(rig: Rig) -> float:
    """Return the bending stiffness of the wafer [N m]."""
    from planish.physics.pressure.layers import plate_stiffness

    wafer = rig.wafer
    return plate_stiffness(wafer.modulus, wafer.poisson, wafer.thickness)


def place_radius(rig: Rig, place: str | float, field: float = 0.0) -> tuple[str, float]:
    """Return the name of a place on the wafer and its radius.

    Parameters
    ----------
    rig
        The setup in SI.
    place
        "centre", "mid", "edge" or a radius [m]; "edge" is the outermost at which the field lies inside the edge
        exclusion.
    field
        Side of the field [m].

    Returns
    -------
    tuple[str, float]
        Name, and radius [m].

    Raises
    ------
    SetupError
        For another word, or a radius that is not on the wafer.
    """
    usable = rig.wafer.radius - rig.wafer.edge_exclusion
    if isinstance(place, str):
        radii = {"centre": 0.0, "mid": usable / 2, "edge": max(usable - field / 2, usable / 2)}
        if place not in radii:
            raise SetupError(refuse("place", place, "'centre', 'mid', 'edge' or a radius in metres"))
        return place, radii[place]
    if not 0 <= place <= rig.wafer.radius:
        raise SetupError(
            refuse(
                "place",
                show(place, "length", digits=6),
                f"from 0 mm to {show(rig.wafer.radius, 'length', digits=6)}, the wafer's radius",
            )
        )
    return f"r = {place * 1e3:.1f} mm", float(place)


def local_conditions(
    rig: Rig,
    wafer: WaferResult,
    place: str,
    radius: float,
    needed: tuple[str, ...],
    change: float = 1.0,
) -> LocalConditions:
    """Return what the wafer level says at a radius.

    A material that is a film of the wafer has the rate that the wafer level found for it, another one what its own
    law gives there, with the factors of summits, grains, fresh slurry and heat on its own terms. Pressure is what
    summits carry.

    Parameters
    ----------
    rig
        The setup in SI.
    wafer
        The wafer polished with it.
    place
        Name of the place.
    radius
        Of the place [m].
    needed
        The materials that must have a rate.
    change
        By which all rates are multiplied (a worn pad).

    Returns
    -------
    LocalConditions
        A record each step, or stretch of one while the pad warms up, with rates by material.

    Raises
    ------
    SetupError
        For a material without a rate law in the setup, or whose law does not hold on a die.
    """
    made: list[LocalStep] = []
    for record in wafer.steps:
        if not record.duration > 0:
            continue
        films = {film.material: i for i, film in reversed(list(enumerate(rig.wafer.films)))}
        laws = {name: rate.near(wafer.radius, radius) for name, rate in record.rates.items()}
        gone = {}
        for material in needed:
            _check_law(rig, material, on_wafer=material in films)
            if material in films:
                curve = record.curves[films[material]]
                gone[material] = np.array([np.interp(radius, wafer.radius, row) for row in curve])
            elif material in laws:
                gone[material] = _gone(record, laws[material])
        pressure, speed = (
            float(np.interp(radius, wafer.radius, each)) for each in (record.summit_pressure, record.speed)
        )
        for low, high in _stretches(record.times, gone):
            span = float(record.times[high] - record.times[low])
            rates = {name: change * float(curve[high] - curve[low]) / span for name, curve in gone.items()}
            warmth = float(np.mean(record.temperatures[low : high + 1]))
            responses = {
                name: _response(laws[name], warmth, rate / change)
                for name, rate in rates.items()
                if name in laws and rate > 0
            }
            made.append(LocalStep(record.name, span, pressure, speed, rates, responses=responses))
    return LocalConditions(place, radius, tuple(made))


def _gone(record: StepRecord, here: FilmRate) -> Array:
    """Return what would have been removed by each time of a step [m], (n_t,)."""
    rates = here.at(record.temperatures[:, None])[:, 0]
    return np.concatenate([[0.0], np.cumsum(0.5 * (rates[1:] + rates[:-1]) * np.diff(record.times))])


def _stretches(times: Array, gone: Mapping[str, Array]) -> list[tuple[int, int]]:
    """Return first and last time of each stretch of a step in which no rate changes by much.

    The pad warms up within a step; with one mean rate, when a die is clear would depend on how long the step goes on
    after that.
    """
    rise = np.zeros(times.size)
    for curve in gone.values():
        rate = np.diff(curve) / np.diff(times)
        if rate.min() > 0:
            log = np.log(rate)
            risen = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(log))), [0.0]])
            risen[-1] = risen[-2]
            rise = np.maximum(rise, risen)
    count = min(int(np.ceil(rise[-1] / STEADY)), MOST_STRETCHES) or 1
    marks = np.searchsorted(rise, rise[-1] * np.arange(1, count) / count)
    ends = [0, *dict.fromkeys(int(each) for each in marks if 0 < each < times.size - 1), times.size - 1]
    return list(pairwise(ends))


def _check_law(rig: Rig, material: str, *, on_wafer: bool) -> None:
    """Refuse a material that has no law, and one beside the wafer's films whose law is not for dies."""
    if on_wafer:
        return
    if material not in rig.removal:
        known = ", ".join(sorted(rig.removal))
        raise SetupError(
            refuse("removal", material, f"one of the setup's materials ({known})", "add its removal law")
        )
    if "die" not in LAWS.get(rig.removal[material].law).scales:
        raise SetupError(
            refuse(
                f"removal.{material}.law",
                rig.removal[material].law,
                "a law that may be used on the die",
                "take another law, or make the material a film of the wafer",
            )
        )


def _response(here: FilmRate, temperature: float, blanket: float) -> Array | None:
    """Return how the rate answers to pressure about the mean one, its factors as they are, over a blanket film's [m/s]."""
    law = LAWS.get(here.law.law)
    edge = law.checked(here.law.coefficients)[law.threshold] if law.threshold else 0.0
    pressure = float(here.pressure[0])
    return local_response(lambda ratio: here.under(ratio * pressure, temperature), edge / pressure, blanket)
