"""What one recipe step does to the wafer at every radius: pressure, slurry, friction, heat, and so the rate.

The same code serves one wafer and a lot: only the state of the pad that is handed in differs, and
the way in which the pressure is found (``lot_step`` starts from the last wafer's).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.solve import PressureSolution, solve_pressure
from planish.physics.removal import factors as rate_factors
from planish.physics.removal import laws as removal
from planish.physics.slurry import film as slurry
from planish.physics.slurry import heat
from planish.predict.wafer import step_plan
from planish.predict.wafer.contact_model import ContactModel
from planish.predict.wafer.films import cumulative
from planish.predict.wafer.pad_surface import FreshSummits, PadState, Summits
from planish.predict.wafer.step_plan import StepPlan, back_load, plan_step, speeds
from planish.predict.wafer.uneven import bow_height, turning_past

if TYPE_CHECKING:
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.si import Removal, Rig, Step

__all__ = [
    "FRESH_HALF",
    "REFERENCE_LAND",
    "SOURCES",
    "Conditions",
    "FreshSummits",
    "PadState",
    "Summits",
    "contact_pressure",
    "fastest_rate",
    "film_rate",
    "mechanical_part",
    "meet",
    "pad_heat",
    "rate_at",
    "removal_curve",
    "speeds",
    "step_conditions",
]

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    *step_plan.SOURCES,
    "Grooved reference pad with lands of at most 2.5 mm for the regime factor: assumption of our own",
)

REFERENCE_LAND = 2.5e-3  # [m]
NATURAL_EXCHANGE = 0.2
FRESH_HALF = 0.25  # fresh share at which the rate would be half its limit


@dataclass(slots=True)
class Conditions:
    """What summits, film and slurry make of a contact pressure: over wafer nodes (n_r,) unless said otherwise.

    Attributes
    ----------
    plan
        What the step fixes.
    pressure, ring_pressure
        Of contact [Pa]; (ring nodes,) the second, empty where the ring is off.
    real_pressure, real_fraction
        On the summits [Pa]; real contact fraction of the nominal area.
    film_thickness, solid_share, friction
        Of the lubrication under the wafer as a whole [m], [1], [1].
    fresh
        Share of fresh slurry under the wafer.
    heat_power
        Of the pad rings (n,) [W/m^2].
    mechanical, factors
        By material: ``removal.mechanical_part`` at these pressures, and all factors of the rate but
        that of temperature.
    solution, balance_error
        Of the pressure problem, where it was solved for this step alone, and its relative force error.
    """

    plan: StepPlan
    pressure: Array
    ring_pressure: Array
    real_pressure: Array
    real_fraction: Array
    film_thickness: float
    solid_share: float
    friction: float
    fresh: float
    heat_power: Array
    mechanical: dict[str, Array]
    factors: dict[str, Array]
    solution: PressureSolution | None = None
    balance_error: float = 0.0

    @property
    def speed(self) -> Array:
        """Mean sliding speed [m/s]."""
        return self.plan.speed


def step_conditions(
    rig: Rig,
    step: Step,
    model: ContactModel,
    rings: PadRings,
    state: PadState,
    start: PressureSolution | None = None,
    *,
    left: Array | None = None,
    conditioning: bool = True,
) -> Conditions:
    """Return the conditions of a step.

    Parameters
    ----------
    rig, step
        The setup, and which step of its recipe.
    model
        Of the contact.
    rings
        Of the pad.
    state
        Of the pad.
    start
        Solution of a similar step, reused to save time.
    left
        Of each film as the step begins [m], (films, n_r), as its stress may bend the wafer; as the wafer came
        where None.
    conditioning
        False keeps the disk off the pad.

    Returns
    -------
    Conditions
        At the pad's present state.
    """
    plan = plan_step(rig, step, model, rings, conditioning=conditioning)
    solution = contact_pressure(rig, step, model, state, start, left=left)
    made = meet(
        plan,
        rig,
        model,
        state.summits,
        state.groove_depth,
        solution.pressure,
        solution.ring_pressure,
    )
    made.solution, made.balance_error = solution, solution.balance_error
    return made


def contact_pressure(
    rig: Rig,
    step: Step,
    model: ContactModel,
    state: PadState,
    start: PressureSolution | None = None,
    *,
    left: Array | None = None,
) -> PressureSolution:
    """Return the contact pressure of a step on the pad in its present state.

    Parameters
    ----------
    rig, step, model, state, start, left
        As for :func:`step_conditions`.

    Returns
    -------
    PressureSolution
        Over wafer and ring nodes.
    """
    back = back_load(rig, step, model)
    land = step_plan.summit_land(rig, state.groove_depth, model.land)
    length, scale, offset = state.summits.layer(back.about / land)
    height = state.height + back.raised + bow_height(rig, model, left)
    uneven = turning_past(rig, model)
    if uneven is not None:
        height = height + uneven.raised(length, back.about)
    return solve_pressure(
        model.operator,
        model.plate,
        back.load,
        back.ring,
        asperity_length=length,
        asperity_pressure=scale * land,
        asperity_offset=offset,
        foundation_offset=height,
        start=start,
        tol=1e-11,
    )


def meet(
    plan: StepPlan,
    rig: Rig,
    model: ContactModel,
    summits: Summits,
    groove_depth: float,
    pressure: Array,
    ring_pressure: Array,
    rate_factor: float = 1.0,
) -> Conditions:
    """Return what follows from a contact pressure on the pad as it is.

    Parameters
    ----------
    plan
        What the step fixes.
    rig
        The setup.
    model
        Of the contact.
    summits, groove_depth
        Of the pad now; depth [m].
    pressure, ring_pressure
        Of contact [Pa], over wafer nodes and over ring nodes (empty, or 0, where the ring is off).
    rate_factor
        On every film's rate: this slurry's, this wafer's.

    Returns
    -------
    Conditions
        Of the step.
    """
    liquid = rig.slurry
    land = step_plan.summit_land(rig, groove_depth, model.land)
    mean_pressure = float(plan.shares @ pressure)
    real, fraction = summits.real(np.maximum(pressure, 1e-3 * mean_pressure) / land)
    film, solid, solid_reference = _films(plan, rig, summits, groove_depth, mean_pressure)
    floor = liquid.friction_floor
    friction = floor + float(
        slurry.mixed_friction(
            slurry.Film(np.asarray(film), np.asarray(solid)),
            liquid.viscosity,
            plan.mean_speed,
            mean_pressure,
            liquid.friction_boundary - floor,
        )
    )
    pressed = np.concatenate([pressure, ring_pressure])[: plan.all_speed.size]
    power = heat.friction_power_density(friction, pressed, plan.all_speed)
    made = Conditions(
        plan=plan,
        pressure=pressure,
        ring_pressure=ring_pressure,
        real_pressure=real,
        real_fraction=fraction * land,
        film_thickness=film,
        solid_share=solid,
        friction=friction,
        fresh=1.0,
        heat_power=heat.ring_power_density(plan.duty, plan.seen, power),
        mechanical={},
        factors={},
    )
    for material in plan.law_speeds:
        law = rig.removal[material]
        # Laws are calibrated with the grooves in the pad: their pressure is over all but the holes.
        made.mechanical[material] = mechanical_part(plan, rig, material, pressure / model.land, friction)
        made.factors[material] = (
            rate_factor * solid / max(solid_reference, 1e-12) * plan.abrasive[material] * model.land
        ) * rate_factors.factor_real_pressure(real, law.reference.real_pressure)
    made.fresh = _fresh(made, rig, groove_depth)
    for material in made.factors:
        reference = rig.removal[material].reference.fresh_fraction
        made.factors[material] *= float(rate_factors.fresh_factor(made.fresh, reference, FRESH_HALF))
    return made


def pad_heat(found: Conditions, temperatures: Array) -> heat.Relaxation:
    """Return how the pad rings warm up in the step.

    Parameters
    ----------
    found
        Of the step.
    temperatures
        Of the rings now [K], (n,).

    Returns
    -------
    heat.Relaxation
        Temperatures at any time.
    """
    plan = found.plan
    return heat.relaxation(
        temperatures, found.heat_power, plan.heat_conductance, plan.heat_sink, plan.heat_capacity
    )


def mechanical_part(plan: StepPlan, rig: Rig, material: str, pressure: Array, friction: float) -> Array:
    """Return what of a law's rate does not change with temperature (``removal.mechanical_part``).

    Parameters
    ----------
    plan
        What the step fixes.
    rig
        The setup.
    material
        Of the film.
    pressure
        Of contact [Pa], (n_r,).
    friction
        Coefficient [1].

    Returns
    -------
    Array
        (n_r,).
    """
    law = rig.removal[material]
    return removal.mechanical_part(law.law, law.coefficients, pressure, plan.law_speeds[material], friction)


def film_rate(rig: Rig, found: Conditions, material: str, temperatures: Array) -> Array:
    """Return the removal rate of a film.

    Parameters
    ----------
    rig
        The setup.
    found
        Of the step.
    material
        Of the film.
    temperatures
        Pad temperatures that the wafer sees [K], (n_t, n_r).

    Returns
    -------
    Array
        [m/s], (n_t, n_r).
    """
    return rate_at(rig.removal[material], found.mechanical[material], found.factors[material], temperatures)


def rate_at(law: Removal, mechanical: Array, factors: Array, temperatures: Array) -> Array:
    """Return the removal rate of a film; every factor is exactly 1 at the reference condition of the law.

    Parameters
    ----------
    law
        Of the film.
    mechanical, factors
        As in :class:`Conditions`, (n_r,).
    temperatures
        Of the pad [K], (n_t, n_r) or (n_t, 1).

    Returns
    -------
    Array
        [m/s], (n_t, n_r).
    """
    rate = factors * removal.rate_with_chemistry(law.law, law.coefficients, mechanical, temperatures)
    if law.activation_energy == 0:
        return np.broadcast_to(rate, (temperatures.shape[0], factors.size))
    return np.asarray(
        rate * rate_factors.thermal_factor(temperatures, law.reference.temperature, law.activation_energy)
    )


def fastest_rate(rig: Rig, found: Conditions, removed: Array, seen: Array, weights: Array) -> float:
    """Return the highest mean rate among the films that lose anything in a step, however soon they are gone.

    Parameters
    ----------
    rig
        The setup.
    found
        Of the step.
    removed
        Of each film in the step [m], (films, n_r).
    seen
        Pad temperatures at the end of the step [K], (n_r,).
    weights
        Of the wafer nodes, (n_r,).

    Returns
    -------
    float
        [m/s], 0 where nothing goes.
    """
    going = {film.material for film, gone in zip(rig.wafer.films, removed, strict=True) if gone.any()}
    rates = (float(film_rate(rig, found, material, seen[None, :])[0] @ weights) for material in going)
    return max(rates, default=0.0)


def removal_curve(rig: Rig, found: Conditions, material: str, times: Array, seen: Array) -> Array:
    """Return what would be removed of a film as time goes on.

    Parameters
    ----------
    rig
        The setup.
    found
        Of the step.
    material
        Of the film.
    times
        [s], (n_t,).
    seen
        Pad temperatures then [K], (n_t, n_r).

    Returns
    -------
    Array
        [m], (n_t, n_r).
    """
    return cumulative(times, film_rate(rig, found, material, seen))


def _films(
    plan: StepPlan, rig: Rig, summits: Summits, groove_depth: float, mean_pressure: float
) -> tuple[float, float, float]:
    """Return (film thickness [m], share of load on summits, that share at the law's reference condition)."""
    land = step_plan.lubrication_land(rig, groove_depth)
    reference = next(iter(rig.removal.values())).reference
    made = []
    for pressure, speed, length in (
        (mean_pressure, plan.mean_speed, land),
        (reference.pressure, reference.speed, min(land, REFERENCE_LAND)),
    ):
        tail, _, gap = summits.layer(np.array([pressure]))
        lift = slurry.SLIDER * rig.slurry.viscosity * speed * length / pressure
        made.append(slurry.mixed_film_at(lift, max(float(gap[0]), 1e-6), float(tail[0])))
    return *made[0], made[1][1]


def _fresh(made: Conditions, rig: Rig, groove_depth: float) -> float:
    """Return the share of fresh slurry under the wafer: supply and spending brought into balance.

    The factors in ``made`` are those at the reference share; the rate is taken at the reference temperature.
    """
    plan, machine = made.plan, rig.polisher
    resistance = 0.0  # to fresh slurry under the wafer [s/m^3]
    if machine.delivery == "through-pad":
        captured = plan.step.flow * plan.place_share
    else:
        share, film = step_plan.groove_area(rig), made.film_thickness
        carried = float(slurry.carried_flow(plan.pad_speed, rig.wafer.radius, film, groove_depth, share))
        exchange = slurry.exchange_flow(
            carried,
            natural=NATURAL_EXCHANGE,
            disk_radius=plan.disk_width,
            disk_speed=plan.pad_speed,
            depth=slurry.liquid_depth(film, groove_depth, share),
        )
        captured = float(slurry.captured_flow(plan.step.flow, exchange, position_share=plan.place_share))
        resistance = 1.0 / carried if carried > 0 else np.inf
    resistance += 1.0 / captured if captured > 0 else np.inf
    first = rig.wafer.films[0].material
    law = rig.removal[first]
    usual = made.factors[first] * removal.rate_with_chemistry(
        law.law, law.coefficients, made.mechanical[first], law.reference.temperature
    )
    rate = float(plan.shares @ usual)
    spent = float(slurry.slurry_consumption(rate, plan.area)) * resistance
    return slurry.balanced_fresh(spent, law.reference.fresh_fraction, FRESH_HALF)
