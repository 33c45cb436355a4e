"""What one recipe step does to the wafer at every radius: pressure, slurry, friction, heat, and so the rate.

The same code serves one wafer and a lot: only the state of the pad that is handed in differs, and
the way in which the pressure is found (``lot_step`` starts from the last wafer's).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.solve import PressureSolution, solve_pressure
from planish.physics.removal import factors as rate_factors
from planish.physics.slurry import delivery, heat
from planish.physics.surface import asperities, summit_flow
from planish.predict.wafer import step_plan, warm_pad
from planish.predict.wafer.contact_model import ContactModel
from planish.predict.wafer.film_rate import FilmRate
from planish.predict.wafer.films import cumulative
from planish.predict.wafer.lubrication import Lubrication, lubricate
from planish.predict.wafer.pad_surface import PadState, Summits
from planish.predict.wafer.step_plan import BackLoad, StepPlan, back_load, plan_step
from planish.predict.wafer.uneven import bow_height, turning_past
from planish.predict.wafer.warm_pad import (
    AS_STATED,
    Softness,
    expected_heating,
    expected_time,
    mean_temperature,
    soft,
    softens,
    softness,
)

if TYPE_CHECKING:
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    *step_plan.SOURCES,
    *warm_pad.SOURCES,
    "Rate laws are calibrated on a grooved pad, whose summits carry the whole load: assumption of our own",
)


@dataclass(slots=True)
class Conditions:
    """What summits, film and slurry make of a contact pressure: over wafer nodes (n_r,) unless said otherwise.

    Attributes
    ----------
    plan
        What the step fixes.
    pressure, ring_pressure
        With which head and ring press on the pad [Pa]; (ring nodes,) the second, empty where the ring is off.
    solid
        What of ``pressure`` summits carry [Pa].
    real_pressure, real_fraction
        On the summits [Pa]; real contact fraction of the nominal area.
    flowing, plasticity
        Share of the load that lies on summits that flow; their plasticity index, one number.
    modulus_left
        What warmth leaves of the modulus of the summits.
    lubrication, friction
        The film, and the coefficient of friction of the wafer as a whole [1].
    fresh
        Share of fresh slurry under the wafer.
    heat_power, pass_power
        Of the pad rings (n,) and of the finer bins of passes (n_f,) [W/m^2].
    rates
        By material.
    solution, balance_error
        Of the pressure problem, where it was solved for this step alone, and its relative force error.
    """

    plan: StepPlan
    pressure: Array
    ring_pressure: Array
    solid: Array
    real_pressure: Array
    real_fraction: Array
    flowing: Array
    plasticity: float
    lubrication: Lubrication
    friction: float
    fresh: float
    heat_power: Array
    pass_power: Array
    rates: dict[str, FilmRate]
    modulus_left: float = 1.0
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
    top: str | None,
    left: Array | None = None,
    goal: float = 0.0,
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
    top
        Material that spends the slurry; None where none is left.
    left
        Of each film as the step begins [m], (films, n_r), as its stress may bend the wafer; as the wafer came
        where None.
    goal
        What must go [m] in a step that stops on an amount: about how long it takes, and so how warm the pad gets.
    conditioning
        False keeps the disk off the pad.

    Returns
    -------
    Conditions
        At the pad's present state.
    """
    plan = plan_step(rig, step, model, rings, conditioning=conditioning)
    back = back_load(rig, step, model)
    warm, left_of = warm_state(rig, plan, back, rings, state, top=top, goal=goal)
    solution = contact_pressure(rig, step, model, warm, start, left=left, give=left_of.give, back=back)
    made = meet(
        plan,
        rig,
        model,
        warm.summits,
        state.groove_depth,
        solution.pressure,
        solution.ring_pressure,
        top=top,
        warm=left_of,
    )
    made.solution, made.balance_error = solution, solution.balance_error
    return made


def warm_state(
    rig: Rig,
    plan: StepPlan,
    back: BackLoad,
    rings: PadRings,
    state: PadState,
    *,
    top: str | None,
    goal: float = 0.0,
) -> tuple[PadState, Softness]:
    """Return the pad as soft as a step finds it, and what warmth leaves of its stiffness.

    Parameters
    ----------
    rig
        The setup.
    plan, back
        What the step fixes, and what presses the wafer in it.
    rings, state
        The pad's, as stated.
    top, goal
        As for :func:`step_conditions`.

    Returns
    -------
    tuple[PadState, Softness]
        The same state where nothing softens.
    """
    left_of = _softness(rig, plan, back, rings, state, top, goal)
    summits = soft(state.summits, left_of.summits)
    return (state if summits is state.summits else replace(state, summits=summits)), left_of


def _softness(
    rig: Rig,
    plan: StepPlan,
    back: BackLoad,
    rings: PadRings,
    state: PadState,
    top: str | None,
    goal: float,
) -> Softness:
    """Return how soft the step finds the pad, which is as warm as the step before left it."""
    if not softens(rig):
        return AS_STATED
    time = expected_time(rig, plan, back, top, goal)
    track = plan.shares @ rings.to_wafer
    heating = expected_heating(rig, plan, back)
    return softness(rig, mean_temperature(heating, state.temperatures, track, time))


def contact_pressure(
    rig: Rig,
    step: Step,
    model: ContactModel,
    state: PadState,
    start: PressureSolution | None = None,
    *,
    left: Array | None = None,
    give: float = 1.0,
    back: BackLoad | None = None,
) -> PressureSolution:
    """Return the contact pressure of a step on the pad in its present state.

    Parameters
    ----------
    rig, step, model, state, start, left
        As for :func:`step_conditions`; the summits as soft as they are.
    give
        How much more the pad stack gives way than stated.
    back
        What presses the wafer, where that is known already.

    Returns
    -------
    PressureSolution
        Over wafer and ring nodes.
    """
    back = back_load(rig, step, model) if back is None else back
    layer = summit_layer(rig, model, state, back, left=left)
    return solve_pressure(
        model.operator,
        model.plate,
        back.load,
        back.ring,
        asperity_length=layer.length,
        asperity_pressure=layer.scale,
        asperity_offset=layer.offset,
        foundation_offset=layer.height,
        give=give,
        start=start,
        tol=1e-11,
    )


class SummitLayer(NamedTuple):
    """The thin layer of summits of a contact problem, over wafer nodes (n_r,).

    Attributes
    ----------
    length, scale, offset
        lambda [m], p0 [Pa] and offset [m] of p = p0 exp(-(g - offset)/lambda).
    height
        How much higher [m] the unloaded pad lies than on average; 0 where it is flat.
    """

    length: Array
    scale: Array
    offset: Array
    height: Array | float


def summit_layer(
    rig: Rig, model: ContactModel, state: PadState, back: BackLoad, *, left: Array | None = None
) -> SummitLayer:
    """Return the summits that a load meets.

    Parameters
    ----------
    rig, model, state, left
        As for :func:`contact_pressure`.
    back
        What presses the wafer.

    Returns
    -------
    SummitLayer
        About that load.
    """
    land = step_plan.summit_land(rig, state.groove_depth, model.land)
    length, scale, offset = state.summits.layer(back.about / land)
    height = state.height + back.raised + bow_height(rig, model, left)
    uneven = turning_past(rig, model)
    if uneven is not None:
        height = height + uneven.raised(length, back.about)
    return SummitLayer(length, scale * land, offset, height)


def meet(
    plan: StepPlan,
    rig: Rig,
    model: ContactModel,
    summits: Summits,
    groove_depth: float,
    pressure: Array,
    ring_pressure: Array,
    rate_factor: float = 1.0,
    *,
    top: str | None,
    warm: Softness = AS_STATED,
    last: Lubrication | None = None,
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
    top
        Material that spends the slurry; None where none is left.
    warm
        What warmth leaves of the pad's stiffness: ``summits`` have it already.
    last
        The film under the wafer before on this step, reused to save time.

    Returns
    -------
    Conditions
        Of the step.
    """
    liquid = rig.slurry
    land = step_plan.summit_land(rig, groove_depth, model.land)
    mean_pressure = float(plan.shares @ pressure)
    film = lubricate(plan, rig, model, summits, groove_depth, pressure, last)
    solid = pressure * film.carried
    standing = np.maximum(solid, 1e-3 * mean_pressure) / land
    real, fraction = summits.real(standing)
    drag = liquid.viscosity * film.shear  # [Pa s/m]: shear stress over sliding speed
    rubbed = np.concatenate([solid, ring_pressure])[: plan.all_speed.size]
    power = heat.friction_power_density(liquid.friction_boundary, rubbed, plan.all_speed, drag)
    made = Conditions(
        plan=plan,
        pressure=pressure,
        ring_pressure=ring_pressure,
        solid=solid,
        real_pressure=real,
        real_fraction=fraction * land,
        flowing=summits.flowing_share(standing),
        plasticity=_plasticity(rig, film.gap.tail),
        lubrication=film,
        friction=liquid.friction_boundary * film.share + drag * plan.mean_speed / mean_pressure,
        modulus_left=warm.summits,
        fresh=1.0,
        heat_power=heat.ring_power_density(plan.duty, plan.seen, power),
        pass_power=heat.ring_power_density(plan.passes.duty, plan.passes.seen, power),
        rates={},
    )
    for material, speed in plan.law_speeds.items():
        law = rig.removal[material]
        made.rates[material] = FilmRate(
            law=law,
            coefficients=plan.coefficients[material],
            # Laws are calibrated with the grooves in the pad: their pressure is over all but the holes.
            pressure=solid / model.land,
            speed=speed,
            friction=liquid.friction_boundary,
            mechanical=plan.grains[material]
            * rate_factors.factor_real_pressure(real, law.reference.real_pressure, liquid.summit_power),
            chemical=1.0,
            overall=rate_factor * model.land,
            dissolved=plan.dissolved[material],
            # p_r goes as the modulus of summits: at each place and moment of the step as warm as the pad is there
            softening=0.0 if warm is AS_STATED else liquid.summit_power * rig.pad.layers[0].softening,
            warmth=warm.temperature,
        )
    made.fresh = fresh_share(made, rig, groove_depth, top)
    for material, rate in made.rates.items():
        rate.chemical = chemical_factor(rig, material, made.fresh)
    return made


def _plasticity(rig: Rig, spread: float) -> float:
    """Return the plasticity index of summits whose heights in contact spread by so much [m]."""
    surface = rig.pad.surface
    return summit_flow.plasticity_index(
        spread,
        tip_radius=surface.tip_radius,
        modulus=asperities.plane_modulus(surface.modulus, surface.poisson),
        flow_pressure=surface.flow_pressure,
    )


def chemical_factor(rig: Rig, material: str, fresh: float) -> float:
    """Return the chemical factor on a material's law at the reference temperature.

    Parameters
    ----------
    rig
        The setup.
    material
        Of a film.
    fresh
        Share of fresh slurry under the wafer [1].

    Returns
    -------
    float
        [1].
    """
    reference, half = rig.removal[material].reference.fresh_fraction, rig.slurry.fresh_half
    return rate_factors.fresh_factor(fresh, reference, half)


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


def peak_temperature(found: Conditions, temperatures: Array, duration: float) -> float:
    """Return the highest temperature of the pad's surface under the wafer in a step.

    Parameters
    ----------
    found
        Of the step.
    temperatures
        Of the pad rings as it begins [K], (n,).
    duration
        Of the step [s].

    Returns
    -------
    float
        [K]: the mean of the warmest place, which rises or falls all through a step, and what a pass adds to it.
    """
    plan, passes = found.plan, found.plan.passes
    begin = passes.of_rings @ temperatures
    ends = heat.relaxation(begin, found.pass_power, passes.conductance, passes.sink, plan.heat_capacity)
    surface = np.maximum(begin, ends.at(duration)) + found.pass_power * passes.rise
    return float(np.max(surface, where=passes.duty > 0, initial=0.0))


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
    rates = (float(found.rates[material].at(seen[None, :])[0] @ weights) for material in going)
    return max(rates, default=0.0)


def removal_curve(found: Conditions, material: str, times: Array, seen: Array) -> Array:
    """Return what would be removed of a film as time goes on.

    Parameters
    ----------
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
    return cumulative(times, found.rates[material].at(seen))


def fresh_share(made: Conditions, rig: Rig, groove_depth: float, top: str | None) -> float:
    """Return the share of fresh slurry under the wafer: supply and spending brought into balance.

    Parameters
    ----------
    made
        The step's conditions but for the slurry.
    rig
        The setup.
    groove_depth
        Of the pad now [m].
    top
        Material that spends the slurry, at the rate of its reference temperature; None: nothing does.

    Returns
    -------
    float
        [1].
    """
    plan, machine, liquid = made.plan, rig.polisher, rig.slurry
    resistance = 0.0  # to fresh slurry under the wafer [s/m^3]
    if machine.delivery == "through-pad":
        captured = plan.step.flow * plan.place_share
    else:
        share, film = step_plan.groove_area(rig), made.lubrication.height
        carried = float(delivery.carried_flow(plan.pad_speed, rig.wafer.radius, film, groove_depth, share))
        exchange = delivery.exchange_flow(
            carried,
            natural=liquid.natural_exchange,
            disk_radius=plan.disk_width,
            disk_speed=plan.pad_speed,
            depth=delivery.liquid_depth(film, groove_depth, share),
        )
        captured = float(
            delivery.captured_flow(
                plan.step.flow, exchange, position_share=plan.place_share, entry_share=liquid.entry_share
            )
        )
        resistance = 1.0 / carried if carried > 0 else np.inf
    resistance += 1.0 / captured if captured > 0 else np.inf
    if not np.isfinite(resistance):
        return 0.0
    if top is None:
        return 1.0
    rate = made.rates[top]
    whole = resistance * float(delivery.slurry_consumption(1.0, plan.area, liquid.capacity))
    parts = rate.mean_parts(plan.shares)
    if parts is not None:
        still, growing = parts
        most = (
            whole * growing * rate_factors.fresh_limit(rate.law.reference.fresh_fraction, liquid.fresh_half)
        )
        return delivery.balanced_fresh_linear(whole * still, most, liquid.fresh_half)
    mean = rate.mean_at_reference(plan.shares)
    return delivery.balanced_fresh(lambda fresh: whole * mean(chemical_factor(rig, top, fresh)))
