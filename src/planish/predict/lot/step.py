"""One recipe step on the pad as it now is, made for being asked thousands of times.

What a pressure makes of the step is that of ``conditions``, as for one wafer. Two things are
done in another way, for speed: the pressure is found from the last wafer's (``contact_series``),
and the end of the step is looked for on a coarser grid of times, first about where the last
wafer ended. tests/unit/test_lot.py holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.series import SeriesStep, WornPad, series_step, solve_next, worn_pad
from planish.physics.pressure.solve import onto_ring
from planish.physics.removal.laws import LAWS
from planish.physics.slurry import heat
from planish.predict.lot.pad import LotPad, WornSummits, worn_summits
from planish.predict.wafer import conditions
from planish.predict.wafer.conditions import Conditions, meet, pad_heat, removal_curve
from planish.predict.wafer.contact_model import ContactModel
from planish.predict.wafer.films import polish_stack, stop_amount
from planish.predict.wafer.step_plan import BackLoad, StepPlan, back_load, plan_step, summit_land

if TYPE_CHECKING:
    from planish.physics.pressure.solve import PadOperator
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.si import Bench, Step

Array = NDArray[np.float64]
# Times at which a step is looked at: where the rate hardly, and where it strongly, follows heat.
GRID = (12, 40)
STRONG = 15e3  # [J/mol] activation energy from which the finer grid is taken


@dataclass(slots=True)
class LotStep:
    """What a step fixes for the whole lot.

    ``fixed`` and ``back`` as for one wafer. Over pad groups (g,): ``group_nominal`` [Pa],
    ``group_sliding`` [m/s] times share of time; ``group_seen`` (g, nodes pressed) of a group's time
    under the carrier. ``cut`` (n,) [m/s] of a sharp disk for as long as it works in this step;
    ``grid`` of times, 0 to 1; ``last_duration`` [s] of the last wafer's step.
    """

    fixed: StepPlan
    back: BackLoad
    series: SeriesStep
    group_nominal: Array
    group_seen: Array
    group_sliding: Array
    cut: Array
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
    limited: bool  # the step ran into its longest time before its stop condition was met
    solid_share: float  # of the load on summits


def plan_lot_step(
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
) -> LotStep:
    """Work out what ``step`` fixes.

    ``operators`` of the pad's worn states; ``pads`` made of them, with and without a pressed
    ring, is filled in here; ``cut`` (n,) [m/s] of a sharp disk.
    """
    plan = plan_step(bench, step, model, rings, conditioning=conditioning)
    back = back_load(bench, step, model)
    if (back.ring > 0) not in pads:
        pads[back.ring > 0] = worn_pad(operators, model.plate, back.ring > 0)
    series = series_step(pads[back.ring > 0], operators, model.plate, back.load, back.ring)
    fresh = conditions.PadState(
        summits=conditions.FreshSummits(model.summits),
        groove_depth=bench.pad.grooves.depth,
        temperatures=np.full(rings.middles.shape, bench.ambient.platen_temperature),
    )
    first = conditions.contact_pressure(bench, step, model, fresh)
    series.pressure = np.concatenate([first.pressure, first.ring_pressure])[: series.load.size]
    group_seen = pad.groups.seen[:, : plan.all_speed.size]
    safe = np.maximum(group_seen.sum(axis=1), 1e-12)
    nominal = np.concatenate([back.load, np.full(plan.all_speed.size - back.load.size, back.ring)])
    disk = bench.conditioner
    return LotStep(
        fixed=plan,
        back=back,
        series=series,
        group_nominal=group_seen @ nominal / safe,
        group_seen=group_seen / safe[:, None],
        group_sliding=group_seen @ plan.all_speed * pad.groups.duty,
        cut=np.zeros_like(cut) if disk is None else cut * (plan.disk_width / disk.disk_radius),
        grid=_time_grid(bench),
    )


def run_step(
    lot_step: LotStep,
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
    land = summit_land(bench, groove_depth, model.land)
    summits = worn_summits(pad, lot_step.group_nominal / land)
    pressure, ring_pressure = _contact(lot_step, summits, land, height)
    found = meet(lot_step.fixed, bench, model, summits, groove_depth, pressure, ring_pressure, rate_factor)
    heating = pad_heat(found, temperatures)
    ends, limited, times, seen, removed = _advance(
        lot_step, bench, rings, found, heating, left, weights, duration
    )
    if ends < times[-1]:
        at = max(min(int(np.searchsorted(times, ends)), times.size - 1), 1)
        part = (ends - times[at - 1]) / (times[at] - times[at - 1])
        removed = np.concatenate(
            [removed[:, :at], removed[:, at - 1 : at] * (1 - part) + removed[:, at : at + 1] * part], axis=1
        )
        seen = np.concatenate([seen[:at], seen[at - 1 : at] * (1 - part) + seen[at : at + 1] * part])
        times = np.append(times[:at], ends)
    lot_step.last_duration = ends
    mean = seen @ weights
    return StepOutcome(
        pressure=pressure,
        ring_pressure=ring_pressure,
        removed=removed[:, -1],
        duration=ends,
        temperature=float(np.trapezoid(mean, times)) / ends if ends > 0 else float(mean[0]),
        peak_temperature=float(seen.max()),
        end_temperatures=heating.at(ends),
        real_pressure=float(found.real_pressure @ weights),
        real_fraction=float(found.real_fraction @ weights),
        friction=found.friction,
        fresh=found.fresh,
        film_thickness=found.film_thickness,
        limited=limited,
        solid_share=found.solid_share,
    )


def _advance(
    lot_step: LotStep,
    bench: Bench,
    rings: PadRings,
    found: Conditions,
    heating: heat.Relaxation,
    left: Array,
    weights: Array,
    duration: float | None,
) -> tuple[float, bool, Array, Array, Array]:
    """Return (end of the step [s], whether only its longest time ended it, times, temperatures seen, removed (films, n_t, n_r) [m] by each time)."""
    step = lot_step.fixed.step
    timed = duration is not None or step.stop == "time"
    longest = step.stop_value if step.stop == "time" else step.max_time
    horizon = longest if duration is None else duration
    if not timed and lot_step.last_duration > 0:
        horizon = min(1.3 * lot_step.last_duration, longest)
    counted, goal = stop_amount(step, left, weights)
    while True:
        times = lot_step.grid * max(horizon, 1e-9)
        seen = heating.at(times[:, None]) @ rings.to_wafer.T
        removed = _remove(bench, found, seen, times, left)
        if timed:
            return horizon, False, times, seen, removed
        by_time = removed[counted].sum(axis=0) @ weights
        if by_time[-1] < goal:
            if horizon >= longest:
                return longest, True, times, seen, removed
            horizon = longest
            continue
        ends = float(np.interp(goal, by_time, times)) if goal > 0 else 0.0
        if ends == 0 or ends >= 0.6 * horizon:
            return ends, False, times, seen, removed
        # Stopped early on a grid made for a longer step: look again, closer.
        horizon = 1.1 * ends


def _contact(
    lot_step: LotStep, summits: WornSummits, land: float, height: Array | float
) -> tuple[Array, Array]:
    """Contact pressure [Pa] at wafer and ring nodes; as ``conditions.contact_pressure``, by the series solver."""
    back, share = lot_step.back, lot_step.fixed.shares
    length, scale, offset = summits.layer(back.about / land)
    scale = scale * land
    raised = offset + back.raised + height
    ring = lot_step.series.load.size - share.size
    if ring:
        length, scale, raised = (
            onto_ring(length, share, ring, geometric=True),
            onto_ring(scale, share, ring, geometric=True),
            onto_ring(raised, share, ring, geometric=False),
        )
    p = solve_next(lot_step.series, length, scale, raised)
    return p[: share.size], p[share.size :]


def _remove(bench: Bench, found: Conditions, seen: Array, times: Array, left: Array) -> Array:
    """Removed (films, n_t, n_r) [m] by each time; films below one that lasts are not looked at."""
    films = bench.wafer.films
    curves: dict[str, Array] = {}
    for film in films:
        if film.material not in curves:
            curves[film.material] = removal_curve(bench, found, film.material, times, seen)
        if film is films[0] and np.all(curves[film.material][-1] <= left[0]):
            removed = np.zeros((len(films), *seen.shape))
            removed[0] = curves[film.material]
            return removed
    return polish_stack(left, [curves[film.material] for film in films], times)[0]


def _time_grid(bench: Bench) -> Array:
    """Times from 0 to 1, closer at the start, where the pad warms up."""
    laws = [bench.removal[film.material] for film in bench.wafer.films]
    energy = max(
        law.activation_energy + law.coefficients.get(LAWS.get(law.law).activation, 0.0) for law in laws
    )
    return np.linspace(0.0, 1.0, GRID[energy >= STRONG] + 1) ** 2
