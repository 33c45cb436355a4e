"""What one recipe step does to the wafer at every radius: pressure, speed, slurry, heat, and so the rate.

The same code serves one wafer and a lot: only the state of the pad that is handed in differs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from planish.physics import heat, motion, removal, slurry
from planish.physics.plate import bearing_lift, zone_load
from planish.physics.pressure import PressureSolution, solve_pressure
from planish.predict.contact_model import ContactModel, SummitCurve, groove_share

if TYPE_CHECKING:
    from planish.predict.pad_rings import PadRings
    from planish.setup.si import Bench, Removal, Step

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Heat lost from pad to air and by evaporation 60 W/m2K, through the carrier 200 W/m2K: assumptions of our own",
    "Grooved reference pad with lands of at most 2.5 mm for the regime factor: assumption of our own",
)

AIR_CONDUCTANCE = 60.0  # [W/(m^2 K)] wet pad to air, mostly by evaporation
CARRIER_CONDUCTANCE = 200.0  # [W/(m^2 K)] pad through slurry film and wafer into the carrier
REFERENCE_LAND = 2.5e-3  # [m]
NATURAL_EXCHANGE = 0.2
FRESH_HALF = 0.25  # fresh share at which the rate would be half its limit
_LOWEST_LOAD = 0.05  # of the mean: where a zone is nearly off, its summits are described at this share


class Summits(Protocol):
    """The pad's summits as the wafer meets them."""

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return (length [m], pressure [Pa], offset [m]) of the exponential layer about ``pressure`` [Pa]."""

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return (mean real pressure [Pa], real contact fraction) under ``pressure`` [Pa]."""


@dataclass(frozen=True, slots=True)
class FreshSummits:
    """Summits as the conditioner leaves them, the same all over the pad."""

    curve: SummitCurve

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return the exponential layer about ``pressure`` [Pa], node by node."""
        return self.curve.at(pressure, "decay_length"), pressure, self.curve.at(pressure, "separation")

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return mean real pressure [Pa] and real contact fraction under ``pressure`` [Pa]."""
        return self.curve.at(pressure, "real_pressure"), self.curve.at(pressure, "area_fraction")


@dataclass(slots=True)
class PadState:
    """The pad as the step finds it.

    Attributes
    ----------
    summits:
        As the wafer meets them, averaged over the rings it passes.
    groove_depth:
        Mean depth under the wafer [m].
    temperatures:
        Of the pad rings [K].
    height:
        How much higher [m] the pad lies at each wafer node than on average (worn pads).
    sharpness:
        Of the conditioning disk, 1 when new (stirs slurry only while it works).
    """

    summits: Summits
    groove_depth: float
    temperatures: Array
    height: Array | float = 0.0


@dataclass(slots=True)
class Conditions:
    """One step, resolved: fields over wafer nodes (n_r,) unless said otherwise.

    Attributes
    ----------
    solution:
        Of the pressure problem; ``pressure`` [Pa] is its contact pressure.
    speed:
        Mean sliding speed [m/s].
    real_pressure, real_fraction:
        On the summits [Pa]; real contact fraction.
    solid_share, film_thickness, regime, friction:
        Of the lubrication under the wafer as a whole.
    fresh:
        Share of fresh slurry under the wafer.
    heat_power, heat_conductance, heat_sink, heat_capacity:
        Of the pad rings (n,) [W/m^2], [W/(m^2 K)], [K], [J/(m^2 K)].
    """

    solution: PressureSolution
    pressure: Array
    speed: Array
    amplitudes: tuple[float, Array]
    real_pressure: Array
    real_fraction: Array
    solid_share: float
    film_thickness: float
    regime: str
    friction: float
    fresh: float
    regime_factor: float
    heat_power: Array
    heat_conductance: Array
    heat_sink: Array
    heat_capacity: float
    notes: list[str] = field(default_factory=list)


def step_conditions(
    bench: Bench,
    step: Step,
    model: ContactModel,
    rings: PadRings,
    state: PadState,
    start: PressureSolution | None = None,
    *,
    conditioning: bool = True,
) -> Conditions:
    """Return the conditions of ``step``; ``start`` is the solution of a similar step, reused to save time."""
    solution = contact_pressure(bench, step, model, state, start)
    pressure = solution.pressure
    geometry = motion_numbers(bench, step)
    speed = motion.mean_speed_at(bench.polisher.motion, model.grid.r, **geometry)
    amplitudes = _amplitudes(bench, model, geometry)
    areas = model.grid.areas
    mean_pressure = float(areas @ pressure / areas.sum())
    mean_speed = float(areas @ speed / areas.sum())
    land = _summit_land(bench, state.groove_depth, model.land)
    real_pressure, real_fraction = state.summits.real(np.maximum(pressure, 1e-3 * mean_pressure) / land)
    film, film_reference = _films(bench, state, mean_pressure, mean_speed)
    solid, solid_reference = float(film.solid_share), float(film_reference.solid_share)
    liquid = bench.slurry
    friction = liquid.friction_floor + float(
        slurry.mixed_friction(
            film, liquid.viscosity, mean_speed, mean_pressure, liquid.friction_boundary - liquid.friction_floor
        )
    )
    made = Conditions(
        solution=solution,
        pressure=pressure,
        speed=speed,
        amplitudes=amplitudes,
        real_pressure=real_pressure,
        real_fraction=real_fraction * land,
        solid_share=solid,
        film_thickness=float(film.thickness),
        regime=str(slurry.regime(solid)),
        friction=friction,
        fresh=1.0,
        regime_factor=solid / max(solid_reference, 1e-12),
        heat_power=_ring_power(model, rings, solution, speed, step, geometry, bench, friction),
        heat_conductance=np.empty(0),
        heat_sink=np.empty(0),
        heat_capacity=1.0,
    )
    _set_heat(made, bench, step, rings)
    made.fresh = _fresh(bench, step, model, state, made, mean_speed, conditioning)
    return made


def contact_pressure(
    bench: Bench, step: Step, model: ContactModel, state: PadState, start: PressureSolution | None = None
) -> PressureSolution:
    """Return the contact pressure of a step on the pad in its present state."""
    grid = model.grid
    load = _zone_table(model, bench) @ step.zone_pressures
    mean = float(grid.areas @ load / grid.areas.sum())
    land = _summit_land(bench, state.groove_depth, model.land)
    about = np.maximum(load, _LOWEST_LOAD * mean)
    length, scale, offset = state.summits.layer(about / land)
    raised: Array | float = state.height
    if not model.base.rigid and bench.polisher.bearing is not None:
        zones = (
            step.bearing_pressures if step.bearing_pressures is not None else bench.polisher.bearing.pressures
        )
        raised = raised + _bearing_table(model, bench.polisher.bearing.outer_radii) @ zones
    return solve_pressure(
        model.operator,
        model.plate,
        load,
        step.ring_pressure if grid.has_ring else 0.0,
        asperity_length=length,
        asperity_pressure=scale * land,
        asperity_offset=offset,
        foundation_offset=raised,
        start=start,
        tol=1e-11,
    )


def _zone_table(model: ContactModel, bench: Bench) -> Array:
    """Load at the nodes per unit pressure in each membrane zone (n_r, zones): the load is linear in them."""
    radii, wall = bench.head.zone_outer_radii, bench.head.wall_width
    key = f"zones {radii.tobytes().hex()} {wall!r}"
    return _kept_table(
        model, key, lambda: [zone_load(model.grid.r, radii, unit, wall) for unit in np.eye(radii.size)]
    )


def _bearing_table(model: ContactModel, radii: Array) -> Array:
    """Lift at the nodes per unit pressure in each bearing zone (n_r, zones): linear too."""
    key = f"bearing {radii.tobytes().hex()}"
    return _kept_table(
        model,
        key,
        lambda: [bearing_lift(model.grid.r, radii, unit, model.base) for unit in np.eye(radii.size)],
    )


def _kept_table(model: ContactModel, key: str, rows: Callable[[], list[Array]]) -> Array:
    """Keep a table with the pad operator it belongs to."""
    memo = model.operator.memo
    if key not in memo:
        memo[key] = np.column_stack(rows())
    return np.asarray(memo[key])


def film_rate(law: Removal, bench: Bench, conditions: Conditions, land: float, temperatures: Array) -> Array:
    """Return the removal rate [m/s] (n_t, n_r) of a film at pad temperatures (n_t, n_r) [K] seen by the wafer.

    Every factor is exactly 1 at the reference condition of the law.
    """
    reference = law.reference
    speed = conditions.speed
    if law.law == "power":
        beta = law.coefficients["beta"]
        speed = motion.speed_moment(*conditions.amplitudes, beta) ** (1.0 / beta) if beta else speed
    base = land * removal.removal_rate(
        law.law,
        law.coefficients,
        conditions.pressure / land,
        speed,
        temperature=temperatures,
        friction=conditions.friction if law.law == "two-step" else None,
    )
    factor = (
        removal.factor_real_pressure(conditions.real_pressure, reference.real_pressure)
        * conditions.regime_factor
        * float(removal.fresh_factor(conditions.fresh, reference.fresh_fraction, FRESH_HALF))
        * abrasive_factor(bench, law)
    )
    thermal = removal.thermal_factor(temperatures, reference.temperature, law.activation_energy)
    return np.asarray(base * factor * thermal)


def abrasive_factor(bench: Bench, law: Removal) -> float:
    """Return the rate factor of the abrasive content; 1 for a law calibrated with an abrasive-free slurry."""
    if law.reference.abrasive_fraction <= 0:
        return 1.0
    return float(removal.abrasive_factor(bench.slurry.abrasive_fraction, law.reference.abrasive_fraction))


def motion_numbers(bench: Bench, step: Step) -> dict[str, float]:
    """Return the geometry and speeds that the functions of ``physics.motion`` take, for one step."""
    machine = bench.polisher
    return {
        "offset": machine.centre_offset,
        "platen_speed": step.platen_speed,
        "carrier_speed": step.carrier_speed,
        "belt_speed": step.belt_speed,
        "orbit_radius": machine.orbit_radius,
        "orbit_speed": step.orbit_speed,
        "oscillation_amplitude": machine.oscillation_amplitude,
        "oscillation_frequency": machine.oscillation_frequency,
    }


def pad_speed(bench: Bench, step: Step) -> float:
    """Return the speed [m/s] of the pad at the carrier axis."""
    machine = bench.polisher
    return {
        "rotary": abs(step.platen_speed) * machine.centre_offset,
        "linear": abs(step.belt_speed),
        "orbital": abs(step.orbit_speed) * machine.orbit_radius,
    }[machine.motion]


def _amplitudes(bench: Bench, model: ContactModel, geometry: dict[str, float]) -> tuple[float, Array]:
    still = {key: value for key, value in geometry.items() if not key.startswith("oscillation")}
    return motion.speed_amplitudes(bench.polisher.motion, model.grid.r, **still)


def _summit_land(bench: Bench, groove_depth: float, land: float) -> float:
    """Share of the nominal area that summits stand on: neither hole nor groove."""
    grooves = bench.pad.grooves
    share = groove_share(grooves.pattern, grooves.width, grooves.pitch) if groove_depth > 0 else 0.0
    return land * (1.0 - share)


def lubrication_land(bench: Bench, groove_depth: float) -> float:
    """Return the length [m] over which fluid pressure can build up: between grooves, or until pores drain it."""
    grooves = bench.pad.grooves
    grooved = grooves.pattern != "none" and groove_depth > 0
    return min(
        grooves.pitch - grooves.width if grooved else 2 * bench.wafer.radius, bench.pad.drainage_length
    )


def _films(bench: Bench, state: PadState, pressure: float, speed: float) -> tuple[slurry.Film, slurry.Film]:
    """Lubricating film of the step, and of the removal law's reference condition on a grooved pad."""
    land = lubrication_land(bench, state.groove_depth)
    reference = next(iter(bench.removal.values())).reference
    pressures = np.array([pressure, reference.pressure])
    layers = [state.summits.layer(pressures[i : i + 1]) for i in (0, 1)]
    both = slurry.mixed_film(
        bench.slurry.viscosity,
        np.array([speed, reference.speed]),
        pressures,
        np.array([land, min(land, REFERENCE_LAND)]),
        dry_gap=np.array([max(float(layer[2].mean()), 1e-6) for layer in layers]),
        tail_length=np.array([float(layer[0].mean()) for layer in layers]),
    )
    made = [slurry.Film(both.thickness[i], both.solid_share[i]) for i in (0, 1)]
    return made[0], made[1]


def _ring_power(
    model: ContactModel,
    rings: PadRings,
    solution: PressureSolution,
    speed: Array,
    step: Step,
    geometry: dict[str, float],
    bench: Bench,
    friction: float,
) -> Array:
    power = heat.friction_power_density(friction, solution.pressure, speed)
    if model.grid.has_ring:
        ring_speed = motion.mean_speed_at(bench.polisher.motion, model.grid.ring_r, **geometry)
        pressed = solution.ring_pressure if solution.ring_pressure.size else np.zeros(model.grid.ring_r.size)
        power = np.concatenate([power, heat.friction_power_density(friction, pressed, ring_speed)])
    return heat.ring_power_density(rings.duty, rings.seen, power)


def _set_heat(made: Conditions, bench: Bench, step: Step, rings: PadRings) -> None:
    """Fill in what the pad rings lose heat to, and what they store."""
    pad, liquid, room = bench.pad, bench.slurry, bench.ambient
    through = heat.platen_conductance(
        [layer.thickness for layer in pad.layers], [pad.conductivity] * len(pad.layers)
    )
    washed = float(heat.slurry_conductance(step.flow, liquid.density, liquid.heat_capacity, rings.area))
    base = room.platen_temperature if bench.polisher.motion != "linear" else room.temperature
    conductances = np.stack(
        [np.full(rings.duty.shape, value) for value in (through, washed, AIR_CONDUCTANCE)]
        + [CARRIER_CONDUCTANCE * rings.duty]
    )
    sinks = np.array([base, liquid.temperature, room.temperature, room.temperature])[:, None]
    made.heat_conductance, made.heat_sink = heat.combined_sink(conductances, sinks)
    stores = min(
        float(heat.thermal_depth(pad.conductivity, pad.density, pad.heat_capacity, 60.0)),
        pad.layers[0].thickness,
    )
    made.heat_capacity = pad.density * pad.heat_capacity * stores


def _fresh(
    bench: Bench,
    step: Step,
    model: ContactModel,
    state: PadState,
    made: Conditions,
    mean_speed: float,
    conditioning: bool,
) -> float:
    """Share of fresh slurry under the wafer: supply and spending brought into balance."""
    machine, radius = bench.polisher, bench.wafer.radius
    area = np.pi * radius**2
    grooves = bench.pad.grooves
    share = groove_share(grooves.pattern, grooves.width, grooves.pitch)
    speed = pad_speed(bench, step)
    if machine.delivery == "through-pad":
        pad = machine.pad_radius or machine.platen_radius or machine.belt_width / 2
        captured = step.flow * slurry.position_share_through(radius, max(pad, radius))
        carried: float = np.inf
    else:
        carried = float(slurry.carried_flow(speed, radius, made.film_thickness, state.groove_depth, share))
        disk = bench.conditioner
        works = conditioning and step.conditioning and disk is not None and disk.mode != "ex-situ"
        exchange = slurry.exchange_flow(
            carried,
            natural=NATURAL_EXCHANGE,
            disk_radius=disk.disk_radius * (disk.share if disk.mode == "partial" else 1.0)
            if works and disk
            else 0.0,
            disk_speed=speed,
            depth=float(slurry.liquid_depth(made.film_thickness, state.groove_depth, share)),
        )
        place = (
            slurry.position_share_rotary(machine.dispense_radius, machine.centre_offset, radius)
            if machine.motion == "rotary"
            else slurry.position_share_linear(machine.dispense_radius, radius)
        )
        captured = float(slurry.captured_flow(step.flow, exchange, position_share=place))
    law = bench.removal[bench.wafer.films[0].material]
    made.fresh = law.reference.fresh_fraction
    start = np.full((1, model.grid.r.size), law.reference.temperature)
    rate = float(model.grid.areas @ film_rate(law, bench, made, model.land, start)[0] / area)
    spent = float(slurry.slurry_consumption(rate, area)) * (
        1.0 / carried + (1.0 / captured if captured > 0 else np.inf)
    )
    return slurry.balanced_fresh(spent, law.reference.fresh_fraction, FRESH_HALF)
