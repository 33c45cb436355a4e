"""One wafer, all steps and films: from a setup to removed, remaining, flatness, temperature and clearing."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import seal
from planish.physics import cleaning
from planish.physics.motion import speed
from planish.physics.pressure import layers, plate
from planish.physics.pressure import solve as pressure
from planish.physics.removal import laws as removal
from planish.physics.slurry import delivery, film, heat
from planish.physics.surface import asperities
from planish.predict.cleaning import cleaned_after, cleaning_notes
from planish.predict.lot.pad_rings import PadRings, pad_rings
from planish.predict.wafer import conditions as step_physics
from planish.predict.wafer import uneven
from planish.predict.wafer.conditions import (
    Conditions,
    fastest_rate,
    pad_heat,
    peak_temperature,
    removal_curve,
    step_conditions,
)
from planish.predict.wafer.contact_model import CELLS, ContactModel, prepare
from planish.predict.wafer.counted import counted
from planish.predict.wafer.films import on_top, polish_stack, stop_amount
from planish.predict.wafer.incoming import incoming_notes, mean_profile
from planish.predict.wafer.pad_surface import PadState, fresh_state
from planish.predict.wafer.result import TIME_LIMIT, StepRecord, WaferResult
from planish.predict.wafer.stopping import TIMES, find_stop
from planish.results.plain import unique
from planish.setup.given import as_described, as_rig, asked_of

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

Array = NDArray[np.float64]

MODULES = (speed, layers, plate, pressure, asperities, removal, delivery, film, heat, step_physics)


def polish(setup: SetupLike, *, cells: int = CELLS) -> WaferResult:
    """Polish one wafer on a pad in its as-conditioned state.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file.
    cells
        Wafer nodes of the pressure solution.

    Returns
    -------
    WaferResult
        Profiles over the wafer's radius, step by step, with units, notes and sources.

    Raises
    ------
    SetupError
        For anything else given as a setup, and for a file that cannot be used.
    ModelError
        Where the values, valid each for itself, have no solution together.
    """
    described = as_described(setup)
    rig = as_rig(described)
    model = prepare(rig, cells=cells)
    rings = pad_rings(rig, model.grid)
    state = fresh_state(rig, model.summits, rings.middles.size)
    asked = asked_of([described], options={"cells": cells})
    return replace(run_steps(rig, model, rings, state), asked=asked)


def run_steps(rig: Rig, model: ContactModel, rings: PadRings, state: PadState) -> WaferResult:
    """Run the recipe's steps on a pad in the given state.

    Parameters
    ----------
    rig
        The setup.
    model
        Of the contact.
    rings
        Of the pad.
    state
        Of the pad; its temperatures move along.

    Returns
    -------
    WaferResult
        One polished wafer.
    """
    films, cleaned = rig.wafer.films, cleaned_after(rig)
    modules = [*MODULES, *([uneven] if uneven.says_uneven(rig) else []), *([cleaning] if cleaned else [])]
    radius, areas = model.grid.r, model.grid.areas
    incoming = np.stack([mean_profile(film, radius) for film in films])
    left = incoming.copy()
    cleared = np.full(left.shape, np.inf)
    notes = [*rig.notes, *incoming_notes(films, rig.wafer.radius), *cleaning_notes(cleaned)]
    weights = counted(radius, areas, rig.wafer.radius - rig.wafer.edge_exclusion).weights
    steps: list[StepRecord] = []
    solution, elapsed = None, 0.0
    for step in rig.steps:
        top = on_top(left, areas)
        spending = None if top is None else films[top].material
        goal = 0.0 if step.stop == "time" else stop_amount(step, left, weights)[1]
        found = step_conditions(rig, step, model, rings, state, solution, top=spending, left=left, goal=goal)
        solution = found.solution
        swings = uneven.swing_rms(rig, step, model, state.summits, state.groove_depth)
        if swings >= uneven.LEAST_SWING:
            notes.append(uneven.swing_note(step.name, swings))
        record, gone = _run_step(rig, model, rings, state, found, left, weights)
        removed, when = gone
        left = np.maximum(left - removed, 0.0)
        cleared = np.where(np.isfinite(when) & ~np.isfinite(cleared), elapsed + when, cleared)
        elapsed += record.duration
        steps.append(record)
    result = WaferResult(
        rig=rig,
        radius=radius,
        areas=areas,
        films=tuple(film.name for film in films),
        incoming=incoming,
        remaining=left,
        cleared=cleared,
        steps=tuple(steps),
        said=tuple(unique(notes)),
        rests_on=tuple(unique([*rig.sources, *(line for module in modules for line in module.SOURCES)])),
        cleaned=cleaned,
    )
    happened = [one.words for one in result.raised() if one.kind == "happened"]
    return replace(result, said=tuple(unique([*notes, *happened])))


def _run_step(
    rig: Rig,
    model: ContactModel,
    rings: PadRings,
    state: PadState,
    found: Conditions,
    left: Array,
    weights: Array,
) -> tuple[StepRecord, tuple[Array, Array]]:
    step = found.plan.step
    heating = pad_heat(found, state.temperatures)
    duration = step.stop_value if step.stop == "time" else step.max_time
    times = np.linspace(0.0, duration, TIMES)
    stopped_by = "time"
    if step.stop != "time":
        stopped_by = {"removed": "removed amount", "remaining": "remaining thickness"}[step.stop]
        stop = find_stop(step, lambda at: _curves(rig, rings, found, heating, at)[0], left, weights)
        if stop is None:
            stopped_by = TIME_LIMIT
        else:
            duration = max(stop, 1e-9)
            times = np.linspace(0.0, duration, TIMES)
    curves, seen = _curves(rig, rings, found, heating, times)
    removed, when = polish_stack(left, curves, times)
    taken = removed[:, -1, :]
    for rate in found.rates.values():
        seal(rate.pressure, rate.speed, rate.mechanical)
    ring_area = model.grid.ring_areas.sum()
    record = StepRecord(
        name=step.name,
        pressure=found.pressure,
        summit_pressure=found.solid,
        ring_pressure=float(model.grid.ring_areas @ found.ring_pressure / ring_area)
        if found.ring_pressure.size
        else 0.0,
        speed=found.speed,
        rate=taken.sum(axis=0) / times[-1],
        removed=taken.sum(axis=0),
        times=times,
        temperatures=seen @ weights,
        peak_temperature=peak_temperature(found, state.temperatures, float(times[-1])),
        curves=tuple(curves),
        duration=float(times[-1]),
        fastest=fastest_rate(rig, found, taken, seen[-1], weights),
        stopped_by=stopped_by,
        fresh_fraction=found.fresh,
        friction=found.friction,
        film_thickness=found.lubrication.height,
        film_followed=found.lubrication.film.followed,
        film_torn=found.lubrication.film.torn,
        regime=str(film.regime(found.lubrication.share)),
        solid_share=found.lubrication.share,
        real_pressure=float(found.real_pressure @ weights),
        real_fraction=float(found.real_fraction @ weights),
        flowing=float(found.flowing @ weights),
        plasticity=found.plasticity,
        modulus_left=found.modulus_left,
        balance_error=found.balance_error,
        rates=found.rates,
    )
    state.temperatures = heating.at(record.duration)
    return record, (taken, when)


def _curves(
    rig: Rig, rings: PadRings, found: Conditions, heating: heat.Relaxation, times: Array
) -> tuple[list[Array], Array]:
    """Return, for each film, what would have been removed by each time, and the temperatures the wafer sees."""
    seen = heating.at(times[:, None]) @ rings.to_wafer.T
    films = rig.wafer.films
    curves = {
        material: removal_curve(found, material, times, seen) for material in {f.material for f in films}
    }
    return [curves[film.material] for film in films], seen
