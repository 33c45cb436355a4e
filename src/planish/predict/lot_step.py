"""One recipe step on the pad as it now is, made for being asked thousands of times.

The physics is that of ``conditions`` (a test holds the two together); what a
step fixes - loads, speeds, shares, heat losses - is worked out once in
:func:`plan_step`, and only what the pad's state changes is worked out again.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt
from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.physics import motion, removal, slurry
from planish.physics.contact_series import SeriesStep, WornPad, series_step, solve_next, worn_pad
from planish.physics.plate import bearing_lift, zone_load
from planish.predict import conditions
from planish.predict.contact_model import ContactModel, groove_share
from planish.predict.films import cumulative, polish_stack
from planish.predict.lot_pad import LotPad, WornSummits, worn_summits

if TYPE_CHECKING:
    from planish.physics.pressure import PadOperator
    from planish.predict.pad_rings import PadRings
    from planish.setup.si import Bench, Removal, Step

Array = NDArray[np.float64]
GRID = (
    12,
    40,
)  # times at which a step is looked at: where the rate hardly, and where it strongly, follows heat
STRONG = 15e3  # [J/mol] activation energy from which the finer grid is taken


@dataclass(slots=True)
class StepPlan:
    """What a step fixes.

    Over wafer nodes (n_r,): ``load``, ``about`` [Pa], ``raised`` [m], ``speed`` [m/s],
    ``law_speeds`` by material. Over all nodes pressed: ``all_speed``, ``seen`` (n, nodes).
    Over pad groups (g,): ``group_nominal`` [Pa], ``group_sliding`` [m/s] times share of time.
    ``cut`` (n,) [m/s] of a sharp disk for as long as it works in this step; ``grid`` of times, 0 to 1.
    """

    step: Step
    series: SeriesStep
    load: Array
    about: Array
    raised: Array | float
    speed: Array
    mean_speed: float
    law_speeds: dict[str, Array]
    all_speed: Array
    group_nominal: Array
    group_seen: Array
    group_sliding: Array
    seen: Array
    duty: Array
    heat_conductance: Array
    heat_sink: Array
    heat_capacity: float
    pad_speed: float
    place_share: float
    disk_width: float
    cut: Array
    factors: dict[str, float]
    grid: Array
    last_duration: float = 0.0


@dataclass(slots=True)
class StepOutcome:
    """What the step did: profiles over wafer nodes, and numbers."""

    pressure: Array
    ring_pressure: Array
    removed: Array  # (films, n_r) [m]
    duration: float
    temperature: float  # mean over the wafer and the step [K]
    peak_temperature: float
    end_temperatures: Array
    real_pressure: float
    real_fraction: float
    friction: float
    fresh: float
    film_thickness: float


def plan_step(
    bench: Bench,
    step: Step,
    model: ContactModel,
    rings: PadRings,
    operators: list[PadOperator],
    pads: dict[bool, WornPad],
    pad: LotPad,
    cut: Array,
    *,
    conditioning: bool,
) -> StepPlan:
    """Work out what ``step`` fixes.

    ``operators`` of the pad's worn states; ``pads`` made of them, with and without a pressed
    ring, is filled in here; ``cut`` (n,) [m/s] of a sharp disk.
    """
    grid, machine = model.grid, bench.polisher
    fresh = conditions.PadState(
        summits=conditions.FreshSummits(model.summits),
        groove_depth=bench.pad.grooves.depth,
        temperatures=np.full(rings.middles.shape, bench.ambient.platen_temperature),
    )
    first = conditions.step_conditions(bench, step, model, rings, fresh, conditioning=conditioning)
    load = zone_load(grid.r, bench.head.zone_outer_radii, step.zone_pressures, bench.head.wall_width)
    pressed = step.ring_pressure if grid.has_ring else 0.0
    if (pressed > 0) not in pads:
        pads[pressed > 0] = worn_pad(operators, model.plate, pressed > 0)
    series = series_step(pads[pressed > 0], operators, model.plate, load, pressed)
    series.pressure = np.concatenate([first.pressure, first.solution.ring_pressure])[: series.load.size]
    raised: Array | float = 0.0
    if not model.base.rigid and machine.bearing is not None:
        zones = machine.bearing.pressures if step.bearing_pressures is None else step.bearing_pressures
        raised = bearing_lift(grid.r, machine.bearing.outer_radii, zones, model.base)
    geometry = conditions.motion_numbers(bench, step)
    nodes = grid.r if not grid.has_ring else np.concatenate([grid.r, grid.ring_r])
    all_speed = motion.mean_speed_at(machine.motion, nodes, **geometry)
    wafer_only = series.load.size == grid.r.size
    seen = rings.seen[:, : grid.r.size] if wafer_only else rings.seen
    group_seen = pad.groups.seen[:, : grid.r.size] if wafer_only else pad.groups.seen
    touched = group_seen.sum(axis=1)
    if wafer_only:
        all_speed = all_speed[: grid.r.size]
    nominal = np.concatenate([load, np.full(all_speed.size - load.size, pressed)])
    safe = np.maximum(touched, 1e-12)
    disk = bench.conditioner
    works = conditioning and step.conditioning and disk is not None and disk.mode != "ex-situ"
    share = 0.0 if not works or disk is None else (disk.share if disk.mode == "partial" else 1.0)
    law_speeds, factors = {}, {}
    for film in bench.wafer.films:
        law = bench.removal[film.material]
        speed = first.speed
        if law.law == "power" and law.coefficients["beta"]:
            beta = law.coefficients["beta"]
            speed = motion.speed_moment(*first.amplitudes, beta) ** (1.0 / beta)
        law_speeds[film.material] = speed
        factors[film.material] = conditions.abrasive_factor(bench, law)
    return StepPlan(
        step=step,
        series=series,
        load=load,
        about=np.maximum(load, 0.05 * float(grid.areas @ load / grid.areas.sum())),
        raised=raised,
        speed=first.speed,
        mean_speed=float(grid.areas @ first.speed / grid.areas.sum()),
        law_speeds=law_speeds,
        all_speed=all_speed,
        group_nominal=group_seen @ nominal / safe,
        group_seen=group_seen / safe[:, None],
        group_sliding=group_seen @ all_speed * pad.groups.duty,
        seen=seen,
        duty=rings.duty,
        heat_conductance=first.heat_conductance,
        heat_sink=first.heat_sink,
        heat_capacity=first.heat_capacity,
        pad_speed=conditions.pad_speed(bench, step),
        place_share=_place_share(bench),
        disk_width=0.0 if disk is None else disk.disk_radius * share,
        cut=cut * share,
        factors=factors,
        grid=_time_grid(bench),
    )


def run_step(
    plan: StepPlan,
    bench: Bench,
    model: ContactModel,
    rings: PadRings,
    pad: LotPad,
    *,
    groove_depth: float,
    height: Array | float,
    temperatures: Array,
    left: Array,
    weights: Array,
    rate_factor: float,
    duration: float | None,
) -> StepOutcome:
    """Run the step on the pad as it is (the summits are read, not aged).

    ``height`` (n_r,) [m] of the pad under the nodes, ``left``
    (films, n_r) [m], ``weights`` (n_r,) of the mean inside the edge exclusion,
    ``duration`` [s] overrides the step's own stop where given.
    """
    land = model.land * (1.0 - _groove_share(bench, groove_depth))
    summits = worn_summits(pad, plan.group_nominal / land)
    pressure, ring_pressure = _contact(plan, model.grid.areas, summits, land, height)
    met = _meet(plan, bench, model, summits, land, groove_depth, pressure, ring_pressure, rate_factor)
    heat = _Heat(plan, rings, met.power, temperatures)
    ends, times, seen, removed = _advance(plan, bench, met, heat, left, weights, duration)
    if ends < times[-1]:
        at = max(min(int(np.searchsorted(times, ends)), times.size - 1), 1)
        part = (ends - times[at - 1]) / (times[at] - times[at - 1])
        removed = np.concatenate(
            [removed[:, :at], removed[:, at - 1 : at] * (1 - part) + removed[:, at : at + 1] * part], axis=1
        )
        seen = np.concatenate([seen[:at], seen[at - 1 : at] * (1 - part) + seen[at : at + 1] * part])
        times = np.append(times[:at], ends)
    plan.last_duration = ends
    mean = seen @ weights
    return StepOutcome(
        pressure=pressure,
        ring_pressure=ring_pressure,
        removed=removed[:, -1],
        duration=ends,
        temperature=float(np.trapezoid(mean, times)) / ends if ends > 0 else float(mean[0]),
        peak_temperature=float(seen.max()),
        end_temperatures=heat.rings_at(ends),
        real_pressure=float(met.real @ weights),
        real_fraction=float(met.fraction @ weights) * land,
        friction=met.friction,
        fresh=met.fresh,
        film_thickness=met.film,
    )


@dataclass(slots=True)
class _Met:
    """What summits, film and slurry make of a contact pressure; rates by material without the thermal factor."""

    real: Array
    fraction: Array
    film: float
    friction: float
    fresh: float
    power: Array
    mechanical: dict[str, Array]
    bases: dict[str, Array]


def _meet(
    plan: StepPlan,
    bench: Bench,
    model: ContactModel,
    summits: WornSummits,
    land: float,
    groove_depth: float,
    pressure: Array,
    ring_pressure: Array,
    rate_factor: float,
) -> _Met:
    areas, solid_area = model.grid.areas, model.land  # the laws are calibrated with grooves in the pad
    area = float(areas.sum())
    mean_pressure = float(areas @ pressure) / area
    real, fraction = summits.real(np.maximum(pressure, 1e-3 * mean_pressure) / land)
    film, solid, solid_reference = _films(plan, bench, summits, groove_depth, mean_pressure)
    shear = bench.slurry.viscosity * plan.mean_speed / film
    floor = bench.slurry.friction_floor
    friction = floor + (bench.slurry.friction_boundary - floor) * solid + shear / mean_pressure
    power = plan.duty * (plan.seen @ (friction * np.concatenate([pressure, ring_pressure]) * plan.all_speed))
    mechanical, bases = {}, {}
    for material in plan.law_speeds:
        law = bench.removal[material]
        scale = rate_factor * solid / max(solid_reference, 1e-12) * plan.factors[material] * solid_area
        bases[material] = scale * removal.factor_real_pressure(real, law.reference.real_pressure)
        mechanical[material] = _mechanical(plan, bench, material, pressure / solid_area, friction)
    first = bench.wafer.films[0].material
    law = bench.removal[first]
    at_reference = _rate(law, mechanical[first], bases[first], np.array([[law.reference.temperature]]))
    fresh = _fresh_share(plan, bench, film, groove_depth, float(areas @ at_reference[0]) / area, area, law)
    for material in bases:
        reference = bench.removal[material].reference.fresh_fraction
        bases[material] *= float(removal.fresh_factor(fresh, reference, conditions.FRESH_HALF))
    return _Met(real, fraction, film, friction, fresh, power, mechanical, bases)


class _Heat:
    """Pad temperatures during the step: every ring relaxes to where heating and cooling balance."""

    def __init__(self, plan: StepPlan, rings: PadRings, power: Array, start: Array) -> None:
        self.steady = plan.heat_sink + power / plan.heat_conductance
        self.excess = start - self.steady
        self.pace = plan.heat_conductance / plan.heat_capacity
        self.to_wafer = rings.to_wafer.T

    def rings_at(self, time: float) -> Array:
        """Ring temperatures (n,) [K] after ``time`` [s]."""
        return np.asarray(self.steady + self.excess * np.exp(-self.pace * time))

    def seen(self, times: Array) -> Array:
        """Pad temperatures (n_t, n_r) [K] that the wafer meets at ``times``."""
        return np.asarray((self.steady + self.excess * np.exp(-self.pace * times[:, None])) @ self.to_wafer)


def _advance(
    plan: StepPlan, bench: Bench, met: _Met, heat: _Heat, left: Array, weights: Array, duration: float | None
) -> tuple[float, Array, Array, Array]:
    """Return (end of the step [s], times, temperatures seen, removed (films, n_t, n_r) [m] by each time)."""
    step = plan.step
    timed = duration is not None or step.stop == "time"
    longest = step.stop_value if step.stop == "time" else step.max_time
    horizon = longest if duration is None else duration
    if not timed and plan.last_duration > 0:
        horizon = min(1.3 * plan.last_duration, longest)
    counted, goal = slice(None), step.stop_value
    if step.stop == "remaining":  # of the film that is on top as the step begins
        thickness = left @ weights
        top = int(np.argmax(thickness > 0))
        counted, goal = slice(top, top + 1), float(thickness[top]) - step.stop_value
    while True:
        times = plan.grid * max(horizon, 1e-9)
        seen = heat.seen(times)
        removed = _remove(bench, met.mechanical, met.bases, seen, times, left)
        if timed:
            return horizon, times, seen, removed
        by_time = removed[counted].sum(axis=0) @ weights
        if by_time[-1] < goal:
            if horizon >= longest:
                return longest, times, seen, removed
            horizon = longest
            continue
        ends = float(np.interp(goal, by_time, times)) if goal > 0 else 0.0
        if ends == 0 or ends >= 0.6 * horizon:
            return ends, times, seen, removed
        # Stopped early on a grid made for a longer step: look again, closer.
        horizon = 1.1 * ends


def _contact(
    plan: StepPlan, areas: Array, summits: WornSummits, land: float, height: Array | float
) -> tuple[Array, Array]:
    """Contact pressure [Pa] at wafer and ring nodes; the ring stands on the mean of the wafer's summits."""
    count = areas.size
    length, scale, offset = summits.layer(plan.about / land)
    scale = scale * land
    raised = offset + plan.raised + height
    more = plan.series.load.size - count
    if more:
        share = areas / areas.sum()
        length = np.concatenate([length, np.full(more, exp(float(share @ np.log(length))))])
        scale = np.concatenate([scale, np.full(more, exp(float(share @ np.log(scale))))])
        raised = np.concatenate([raised, np.full(more, float(share @ raised))])
    p = solve_next(plan.series, length, scale, raised)
    return p[:count], p[count:]


def _films(
    plan: StepPlan, bench: Bench, summits: WornSummits, groove_depth: float, mean_pressure: float
) -> tuple[float, float, float]:
    """(film thickness [m], share of load on summits, that share at the law's reference condition)."""
    liquid = bench.slurry
    length = conditions.lubrication_land(bench, groove_depth)
    reference = next(iter(bench.removal.values())).reference
    made = []
    for p, v, along in (
        (mean_pressure, plan.mean_speed, length),
        (reference.pressure, reference.speed, min(length, conditions.REFERENCE_LAND)),
    ):
        tail, _, gap = summits.layer(np.array([p]))
        lift = 0.1 * liquid.viscosity * v * along / p
        made.append(mixed_film(lift, max(float(gap[0]), 1e-6), float(tail[0])))
    return made[0][0], made[0][1], made[1][1]


def _fresh_share(
    plan: StepPlan, bench: Bench, film: float, groove_depth: float, rate: float, area: float, law: Removal
) -> float:
    """Share of fresh slurry under the wafer, as in ``conditions``: supply against spending."""
    machine, radius, flow = bench.polisher, bench.wafer.radius, plan.step.flow
    carried = np.inf
    if machine.delivery == "through-pad":
        outer = machine.pad_radius or machine.platen_radius or machine.belt_width / 2
        captured = flow * slurry.position_share_through(radius, max(outer, radius))
    else:
        grooves = bench.pad.grooves
        share = groove_share(grooves.pattern, grooves.width, grooves.pitch)
        carried = float(slurry.carried_flow(plan.pad_speed, radius, film, groove_depth, share))
        exchange = slurry.exchange_flow(
            carried,
            natural=conditions.NATURAL_EXCHANGE,
            disk_radius=plan.disk_width,
            disk_speed=plan.pad_speed,
            depth=film + groove_depth * share,
        )
        captured = float(slurry.captured_flow(flow, exchange, position_share=plan.place_share))
    supply = 1.0 / carried + (1.0 / captured if captured > 0 else np.inf)
    spent = float(slurry.slurry_consumption(rate, area)) * supply
    return float(slurry.balanced_fresh(spent, law.reference.fresh_fraction, conditions.FRESH_HALF))


def _mechanical(plan: StepPlan, bench: Bench, material: str, pressure: Array, friction: float) -> Array:
    """Return the law's rate (n_r,) [m/s], or for the two-step law friction times power (n_r,) to be gone on with."""
    law = bench.removal[material]
    if law.law == "two-step":
        return np.asarray(friction * pressure * plan.law_speeds[material])
    return removal.removal_rate(law.law, law.coefficients, pressure, plan.law_speeds[material])


def _rate(law: Removal, mechanical: Array, base: Array, temperatures: Array) -> Array:
    """Rate [m/s] (n_t, n_r) of a material at the temperatures (n_t, n_r) or (n_t, 1) [K]."""
    if law.law == "two-step":
        c = law.coefficients
        k1 = c["a"] * np.exp(-c["e_a"] / removal.GAS_CONSTANT / temperatures)
        rate = base * (c["molar_volume"] * removal.two_step(k1, c["k_m"] * mechanical))
    else:
        rate = base * mechanical
    if law.activation_energy == 0:
        return np.broadcast_to(rate, (temperatures.shape[0], base.size))
    over = law.activation_energy / removal.GAS_CONSTANT
    return np.asarray(rate * np.exp(over / law.reference.temperature - over / temperatures))


def _remove(
    bench: Bench,
    mechanical: dict[str, Array],
    bases: dict[str, Array],
    seen: Array,
    times: Array,
    left: Array,
) -> Array:
    """Removed (films, n_t, n_r) [m] by each time."""
    films = bench.wafer.films
    curves: dict[str, Array] = {}
    for film in films:
        if film.material not in curves:
            rate = _rate(bench.removal[film.material], mechanical[film.material], bases[film.material], seen)
            curves[film.material] = cumulative(times, rate)
        if film is films[0] and np.all(curves[film.material][-1] <= left[0]):
            removed = np.zeros((len(films), *seen.shape))
            removed[0] = curves[film.material]
            return removed
    return polish_stack(left, [curves[film.material] for film in films], times)[0]


def _groove_share(bench: Bench, groove_depth: float) -> float:
    grooves = bench.pad.grooves
    return groove_share(grooves.pattern, grooves.width, grooves.pitch) if groove_depth > 0 else 0.0


def _time_grid(bench: Bench) -> Array:
    """Times from 0 to 1, closer at the start, where the pad warms up."""
    laws = [bench.removal[film.material] for film in bench.wafer.films]
    energy = max(law.activation_energy + law.coefficients.get("e_a", 0.0) for law in laws)
    return np.linspace(0.0, 1.0, GRID[energy >= STRONG] + 1) ** 2


def _place_share(bench: Bench) -> float:
    machine = bench.polisher
    if machine.motion == "rotary":
        share = slurry.position_share_rotary(
            machine.dispense_radius, machine.centre_offset, bench.wafer.radius
        )
    else:
        share = slurry.position_share_linear(machine.dispense_radius, bench.wafer.radius)
    return float(share)


@njit(cache=True)  # type: ignore[untyped-decorator]
def mixed_film(lift: float, gap: float, tail: float) -> tuple[float, float]:
    """``slurry.mixed_film`` for one place: (thickness [m], share of load on summits); ``lift`` [m^2]."""
    h = max(gap, sqrt(lift))
    for _ in range(100):
        solid, fluid = exp(-(h - gap) / tail), lift / h**2
        step = (solid + fluid - 1.0) / (solid / tail + 2.0 * fluid / h)
        h += step
        if abs(step) <= 1e-14 * h:
            break
    return h, min(max(1.0 - lift / h**2, 0.0), 1.0)
