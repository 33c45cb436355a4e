"""How the thickness that is left answers to each setting: derivatives of a run, carried from step to step.

What a zone or the ring does to the contact pressure is the derivative of the contact problem
(``physics.pressure.slopes``). What that pressure does to each place's rate, to the heat of the pad and to the fresh
slurry is worked out once for all settings, as these parts answer to little changes of what they hang on; what is then
left, and how warm the pad is, is carried through the steps that follow. The film's share of the load is held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.slopes import Layer, Slopes, pressure_slopes
from planish.physics.removal import factors as rate_factors
from planish.physics.slurry import heat
from planish.predict.wafer import step_plan
from planish.predict.wafer.conditions import chemical_factor, fresh_share, pad_heat, summit_layer
from planish.predict.wafer.films import cumulative, polish_stack
from planish.predict.wafer.lubrication import lubricate
from planish.predict.wafer.step_plan import zone_table

if TYPE_CHECKING:
    from planish.predict.wafer.film_rate import FilmRate
    from planish.tuning.course import Course, Passed, Run

Array = NDArray[np.float64]
_COARSE = 9  # times per step: the temperature bends the curves but little
_NUDGE = 1e-5  # relative: of what a part hangs on
_TABLE = 1e-4  # the same over which the summits' table is read
_KELVIN = 1e-3


class Bends(NamedTuple):
    """How the influence of a step's own settings changes with them, what later steps make of it aside.

    ``which`` of the step's settings (k,): zones, ring, time; ``second`` (n_r, k, k) in SI.
    """

    which: NDArray[np.int_]
    second: Array


class Answers(NamedTuple):
    """``first``: the influence (steps, zones + 2, n_r); ``second``: a record a step."""

    first: Array
    second: tuple[Bends, ...]


@dataclass(slots=True)
class _Carried:
    """Change of each film (films, n_r, k) [m] and of the pad rings' temperature (n, k) [K], by k settings in SI."""

    left: Array
    warmth: Array


def influence(course: Course, run: Run, wanted: NDArray[np.bool_]) -> Array:
    """Return how the thickness left answers to each setting.

    Parameters
    ----------
    course
        The recipe.
    run
        Where.
    wanted
        Which settings, (steps, zones + 2): zones, ring, time.

    Returns
    -------
    Array
        (steps, zones + 2, n_r): [m/Pa], for times [m/s]; 0 where not wanted.

    Notes
    -----
    The softening of a warm pad enters the rate, not the contact pressure of the steps that follow.
    """
    return influence_on(course, run, wanted, bends=False)[0].first


def influence_and_bends(course: Course, run: Run, wanted: NDArray[np.bool_]) -> Answers:
    """Return how the thickness left answers to each setting, and how these answers bend.

    Parameters
    ----------
    course, run, wanted
        As for :func:`influence`.

    Returns
    -------
    Answers
        Second derivatives within each step, as for a film that does not clear; its rate there a power of the pressure.
    """
    return influence_on(course, run, wanted, bends=True)[0]


def influence_on(
    course: Course, run: Run, wanted: NDArray[np.bool_], coming: Array | None = None, *, bends: bool
) -> tuple[Answers, Array]:
    """Return how the thickness left answers to each setting, and to what changes of the films that come in.

    Parameters
    ----------
    course, run, wanted
        As for :func:`influence`.
    coming
        Changes of each film that comes in, (films, n_r, k) in m per whatever makes them; none unless given.
    bends
        Whether second derivatives are wanted too.

    Returns
    -------
    tuple[Answers, Array]
        As for :func:`influence_and_bends` (without ``second`` unless wanted); and changes of each film that is left,
        (films, n_r, k + m): first by what makes those that come in, then by the m wanted settings in order.
    """
    steps, places = np.nonzero(wanted)
    films, nodes = course.incoming.shape
    before = 0 if coming is None else coming.shape[2]
    carried = _Carried(
        np.zeros((films, nodes, before + steps.size)),
        np.zeros((course.rings.middles.size, before + steps.size)),
    )
    if coming is not None:
        carried.left[:, :, :before] = coming
    second = []
    for index, passed in enumerate(run.steps):
        own = np.flatnonzero(steps == index)
        pressures = before + own[places[own] < wanted.shape[1] - 1]
        times = before + own[places[own] == wanted.shape[1] - 1]
        contact = pressure_answers(course, passed, places[pressures - before], bends=bends)
        step = _Own(passed, float(run.settings.time[index]), pressures, contact, times)
        bent = _through(course, step, carried)
        if bends:
            second.append(Bends(places[own], -bent))
    made = np.zeros((*wanted.shape, nodes))
    made[steps, places] = carried.left[:, :, before:].sum(axis=0).T
    return Answers(made, tuple(second)), carried.left


class _Own(NamedTuple):
    """A step of a run, its ``time`` [s], and which of all settings are its own ``pressures`` and ``times``."""

    passed: Passed
    time: float
    pressures: NDArray[np.int_]
    contact: Slopes
    times: NDArray[np.int_]


def _through(course: Course, step: _Own, carried: _Carried) -> Array:
    """Take changes through a step: those that it finds, and those of its own pressures and time.

    Returns the second derivatives of what the film on top loses by its own settings (n_r, k, k), where they were asked for.
    """
    passed, time, pressures, contact, times = step
    found, rings = passed.found, course.rings
    share = np.linspace(0.0, 1.0, _COARSE)
    heating = pad_heat(found, passed.temperatures)
    gone = np.exp(-heating.pace * (share * time)[:, None])  # (times, rings)
    warmth = gone[:, :, None] * carried.warmth[None]
    warmth[:, :, pressures] += (1.0 - gone)[:, :, None] * _steady(course, passed, contact)[None]
    warmth[:, :, times] -= ((share[:, None] * heating.pace * heating.excess) * gone)[:, :, None]
    seen = (heating.steady + heating.excess * gone) @ rings.to_wafer.T
    over = rings.to_wafer @ warmth
    by_pressure = contact.wafer / found.pressure[:, None]
    fresher = _fresher(course, passed, by_pressure)
    bent = np.zeros((by_pressure.shape[0], 0, 0))
    curves: list[Array] = []
    changed: list[Array] = []
    for material in course.film_materials:
        rate = found.rates[material]
        now = rate.at(seen)
        warmer = (rate.at(seen + _KELVIN) - now) / _KELVIN
        change = warmer[:, :, None] * over
        if pressures.size:
            local = (_pressed(course, passed, material, rate).at(seen) - now) / _NUDGE
            spent = (replace(rate, chemical=rate.chemical * (1.0 + _NUDGE)).at(seen) - now) / _NUDGE
            change[:, :, pressures] += local[:, :, None] * by_pressure[None]
            change[:, :, pressures] += spent[:, :, None] * fresher[material][None, None, :]
        curve = cumulative(share * time, now)
        steps = 0.5 * (change[1:] + change[:-1]) * (time / (_COARSE - 1))
        grown = np.concatenate([np.zeros((1, *change.shape[1:])), np.cumsum(steps, axis=0)])
        if contact.bends is not None and not curves:
            power = local.mean(axis=0) / now.mean(axis=0) if pressures.size else np.ones(by_pressure.shape[0])
            late = _Late(curve[-1], grown[-1], change[-1], (now[-1] - now[-2]) * (_COARSE - 1) / time)
            bent = _bent(step, power, by_pressure, late)
        grown[:, :, times] += (curve / time)[:, :, None]
        curves.append(curve)
        changed.append(grown)
    _polished(passed, curves, changed, share * time, carried)
    carried.warmth = warmth[-1]
    return bent


class _Late(NamedTuple):
    """At the end of a step: what is ``lost`` (n_r,), how that ``grew`` and how fast it now grows by settings (n_r, k), and how the rate rises."""

    lost: Array
    grew: Array
    pace: Array
    rise: Array


def _bent(step: _Own, power: Array, by_pressure: Array, late: _Late) -> Array:
    """Return second derivatives of what is lost, pressures first, then the time: of pressure^power times the rest."""
    bends = step.contact.bends
    assert bends is not None  # asked for
    count, total = step.pressures.size, step.pressures.size + step.times.size
    made = np.zeros((power.size, total, total))
    local = power[:, None] * by_pressure
    rest = late.grew[:, step.pressures] / late.lost[:, None] - local  # heat and slurry
    curve = local[:, :, None] * local[:, None, :]
    curve *= 1.0 - 1.0 / power[:, None, None]
    curve += power[:, None, None] * bends
    curve += rest[:, :, None] * (local + rest)[:, None, :] + local[:, :, None] * rest[:, None, :]
    made[:, :count, :count] = late.lost[:, None, None] * curve
    if step.times.size:
        made[:, :count, count] = made[:, count, :count] = late.pace[:, step.pressures]
        made[:, count, count] = late.rise
    return made


def _polished(
    passed: Passed, curves: list[Array], changed: list[Array], times: Array, carried: _Carried
) -> None:
    """Take the changes of the removal curves to what is left."""
    left = passed.left
    if np.all(curves[0][-1] <= left[0]):  # nothing clears
        carried.left[0] -= changed[0][-1]
        return
    base = left - polish_stack(left, curves, times)[0][:, -1, :]
    for column in range(carried.left.shape[2]):
        size = 1e-12 / max(1e-300, max(float(np.abs(each[-1, :, column]).max()) for each in changed))
        size = min(size, 1e-12 / max(1e-300, float(np.abs(carried.left[:, :, column]).max())))
        other = np.maximum(left + size * carried.left[:, :, column], 0.0)
        bent = [curve + size * each[:, :, column] for curve, each in zip(curves, changed, strict=True)]
        after = other - polish_stack(other, bent, times)[0][:, -1, :]
        carried.left[:, :, column] = (np.maximum(after, 0.0) - np.maximum(base, 0.0)) / size


def _steady(course: Course, passed: Passed, contact: Slopes) -> Array:
    """Return the change of where the pad rings' temperature leads [K], (n, k)."""
    plan, found = passed.plan, passed.found
    rubbed = np.concatenate([found.lubrication.carried[:, None] * contact.wafer, contact.ring])
    power = heat.friction_power_density(
        course.rig.slurry.friction_boundary, rubbed[: plan.all_speed.size].T, plan.all_speed
    )
    return np.asarray((plan.duty * (power @ plan.seen.T)).T / plan.heat_conductance[:, None])


def _pressed(course: Course, passed: Passed, material: str, rate: FilmRate) -> FilmRate:
    """Return the rate where the contact pressure is higher by the nudge everywhere, heat and slurry as they were."""
    found, model, rig = passed.found, course.model, course.rig
    land = step_plan.summit_land(rig, passed.met.groove_depth, model.land)
    least = 1e-3 * float(passed.plan.shares @ found.pressure)
    solid = found.solid * (1.0 + _NUDGE)
    real, _ = passed.met.summits.real(np.maximum(solid, least) / land)
    by_summits = rate_factors.factor_real_pressure(
        real, rate.law.reference.real_pressure, rig.slurry.summit_power
    )
    return replace(rate, pressure=solid / model.land, mechanical=passed.plan.grains[material] * by_summits)


def _fresher(course: Course, passed: Passed, by_pressure: Array) -> dict[str, Array]:
    """Return, by material, the relative change of its chemical factor, (k,), by relative changes of the pressure (n_r, k).

    More is spent where more is removed, and summits pressed closer let less slurry under the wafer.
    """
    found, plan, top, rig = passed.found, passed.plan, passed.top, course.rig
    none = np.zeros(by_pressure.shape[1])
    if top is None or not 0.0 < found.fresh < 1.0 or not none.size:
        return dict.fromkeys(course.film_materials, none)
    rate, fresh = found.rates[top], found.fresh
    reference = np.full((1, 1), rate.law.reference.temperature)
    still = replace(rate, softening=0.0)
    now = still.at(reference)[0]
    local = (replace(_pressed(course, passed, top, rate), softening=0.0).at(reference)[0] - now) / _NUDGE
    mean = float(plan.shares @ now)
    more = (plan.shares * local) @ by_pressure / mean
    used = 1.0 / fresh - 1.0  # spent over supplied
    nudged = replace(still, chemical=chemical_factor(rig, top, fresh * (1.0 + _NUDGE))).at(reference)[0]
    rises = used * (float(plan.shares @ nudged) / mean - 1.0) / (_NUDGE * fresh)
    by_rate = -used * more / (1.0 / fresh**2 + rises)
    closer = lubricate(
        plan,
        rig,
        course.model,
        passed.met.summits,
        passed.met.groove_depth,
        found.pressure * (1.0 + _NUDGE),
        found.lubrication,
    )
    depth = passed.met.groove_depth
    by_gap = (fresh_share(replace(found, lubrication=closer), rig, depth, top) - fresh) / _NUDGE
    mean_pressure = (plan.shares * found.pressure) @ by_pressure / float(plan.shares @ found.pressure)
    change = by_rate + by_gap * mean_pressure
    made = {}
    for material in course.film_materials:
        here, there = (chemical_factor(rig, material, each) for each in (fresh, fresh * (1.0 + _NUDGE)))
        made[material] = (there / here - 1.0) / (_NUDGE * fresh) * change
    return made


def pressure_answers(
    course: Course, passed: Passed, which: NDArray[np.int_], *, bends: bool = False
) -> Slopes:
    """Return the contact pressure per pressure in zones and ring.

    Parameters
    ----------
    course, passed
        The recipe, and the step as it went.
    which
        Zones by number, the ring by the number after the last zone, (k,).
    bends
        Whether second derivatives are wanted too.

    Returns
    -------
    Slopes
        [1], and second derivatives over the pressure [1/Pa^2].
    """
    model, back, summits = course.model, passed.back, passed.summits
    table = zone_table(model, course.rig)
    zones, nodes = table.shape[1], table.shape[0]
    if not which.size:
        none = np.zeros((nodes, 0))
        return Slopes(none, np.zeros((model.grid.ring_r.size, 0)), none[:, :, None] if bends else None)
    loads = np.column_stack([table, np.zeros(nodes)])[:, which]
    # the table of the summits is read a little to the side: what is described moves with the load
    beside = summit_layer(
        course.rig, model, passed.met, back._replace(about=back.about * (1.0 + _TABLE)), left=passed.left
    )
    lowest = back.about > back.load  # described at a share of the mean there
    mean = model.grid.areas @ loads / (model.grid.areas @ back.load)
    about = np.where(lowest[:, None], mean[None, :], loads / back.about[:, None])
    height = (beside.offset + beside.height - summits.offset - summits.height) / _TABLE
    changes = Layer(
        ((beside.length - summits.length) / _TABLE)[:, None] * about,
        ((beside.scale - summits.scale) / _TABLE)[:, None] * about,
        height[:, None] * about,
    )
    solution = passed.found.solution
    assert solution is not None  # every step of a run has solved its own
    return pressure_slopes(
        model.operator,
        model.plate,
        solution,
        Layer(summits.length, summits.scale, summits.offset + summits.height),
        loads,
        np.where(which == zones, 1.0, 0.0),
        changes,
        give=passed.softness.give,
        turned=about if bends else None,
    )
