"""Would it hold? Several controls on one simulated step, beside a fixed time and the least spread that noise and delay allow."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from planish.engine.given import of_kind
from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.ageing import Ageing, Ages, ageing_of, course_of, foretold
from planish.hold.control.belief import Array, Estimator, Spreads, read_spreads
from planish.hold.control.bound import least_variance
from planish.hold.control.kalman import Kalman
from planish.hold.control.loop import Coming, Loop, advise, first_state, learn, ran
from planish.hold.control.margin import Ratios, average_limit, small_gain
from planish.hold.control.plant import Drawn, Plant, drawn
from planish.hold.control.result import ControlTrial, Tried
from planish.hold.control.steered import Limits, Steered, output_weights, read_limits, steered
from planish.hold.control.weighted import DRIFT_WEIGHT, WEIGHT, DoubleEwma, Ewma
from planish.predict.lot.events import Event
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.setup.given import as_described, as_rig
from planish.units import as_si, as_whole

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

MOST_WAFERS, MOST_SEEDS, MOST_DELAY = 5000, 200, 50
FIXED = "fixed time"


class Course(NamedTuple):
    """What comes, wafer by wafer: changes, and what the control is told beforehand."""

    changed: tuple[tuple[str, ...], ...]
    coming: tuple[Coming, ...]


class Run(NamedTuple):
    """One course under one control: ``outputs`` of all wafers (n, outputs), ``moved`` (n, moves), how many measurements were held off, and how often a limit held."""

    outputs: Array
    moved: Array
    held_off: int
    limited: int


@dataclass(frozen=True, slots=True, repr=False)
class _Scene(Record):
    step: Steered
    plant: Plant
    course: Course
    ageing: Ageing


def try_control(
    setup: SetupLike,
    *,
    wafers: int = 1000,
    seeds: int = 20,
    seed: int = 0,
    delay: int = 2,
    pad_every: int = 250,
    disk_every: int = 400,
    slurry_every: int | None = None,
    zones: bool = False,
    target: float | str | None = None,
    weight: float = WEIGHT,
    drift_weight: float = DRIFT_WEIGHT,
    spreads: Spreads | Mapping[str, float | str] | None = None,
    true_spreads: Spreads | Mapping[str, float | str] | None = None,
    gain_ratio: float = 1.0,
    incoming: float | str = 0.0,
    missing: float | str = 0.0,
    wrong: float | str = 0.0,
    limits: Limits | Mapping[str, str] | None = None,
    progress: Callable[[float], None] | None = None,
) -> ControlTrial:
    """Try run-to-run control on a simulated step, with pads and disks changed and metrology that comes late.

    Parameters
    ----------
    setup
        As for ``planish.polish``; the longest step of its recipe is controlled.
    wafers, seeds, seed
        Length of a course, how many of them, and the seed of their chance.
    delay
        By how many wafers metrology is late: a wafer is set when the one this many before the last is known.
    pad_every, disk_every, slurry_every
        Wafers from one change to the next; no new batches of slurry unless given.
    zones
        Hold what is removed under each zone, by zone pressures too; else the mean, by the time alone.
    target
        Mean to be removed [m], or text; as the setup does unless given.
    weight, drift_weight
        Of the weighted averages.
    spreads
        Of chance, as the controls are told: a record, or a table of those that differ from it.
    true_spreads
        Of the step in truth; the same unless given.
    gain_ratio
        What a move does in truth over what it is reckoned to do.
    incoming
        Relative spread of the thickness that comes in, which is measured and fed forward; the same is to be left of each.
    missing, wrong
        Shares of wafers that are not measured, and that are measured a tenth off.
    limits
        Of settings, and of their change, as :func:`~planish.hold.control.steered.read_limits` takes them; the usual room unless given.
    progress
        Called with the share done.

    Returns
    -------
    ControlTrial
        A row for a fixed time and for each control, and the bound.

    Raises
    ------
    DataError
        For numbers that cannot be.
    ModelError
        As ``planish.polish_lot``: a pad may be worn through before it is changed.
    """
    as_whole(wafers, "wafers", 10, MOST_WAFERS)
    as_whole(seeds, "seeds", 1, MOST_SEEDS)
    as_whole(seed, "seed", 0, 2**32 - 1)
    as_whole(delay, "delay [wafers]", 0, MOST_DELAY)
    as_whole(pad_every, "pad_every [wafers]", 2, MOST_WAFERS)
    as_whole(disk_every, "disk_every [wafers]", 2, MOST_WAFERS)
    if slurry_every is not None:
        as_whole(slurry_every, "slurry_every [wafers]", 1, MOST_WAFERS)
    of_kind(zones, bool, "zones", "True or False")
    if isinstance(gain_ratio, bool) or not isinstance(gain_ratio, int | float) or not 0.1 <= gain_ratio <= 3:
        raise DataError(refuse("gain_ratio", gain_ratio, "0.1 to 3", "1 where a move does what is reckoned"))
    shares = {
        name: _share(value, name, most)
        for name, value, most in (
            ("incoming", incoming, 0.2),
            ("missing", missing, 0.9),
            ("wrong", wrong, 0.3),
        )
    }
    told = read_spreads(spreads)
    true = told if true_spreads is None else read_spreads(true_spreads, "true_spreads")
    estimators: tuple[Estimator, ...] = (
        Ewma(weight, spreads=told),
        DoubleEwma(weight, drift_weight, spreads=told),
        Kalman(spreads=told),
    )
    described = as_described(setup)
    rig = as_rig(described)
    step = steered(rig, zones=zones, target=target)
    room = step.room(read_limits(limits))
    done = progress or (lambda share: None)
    changes = _changes(wafers, pad_every, disk_every, slurry_every)
    scene = _scene(
        rig, step, changes, pad_every, disk_every, true, gain_ratio, shares["incoming"], seed, done
    )
    loops = {one.name: Loop(step.gain, room, one) for one in estimators}
    runs: dict[str, list[Run]] = {FIXED: [], **{name: [] for name in loops}}
    for number in range(seeds):
        chance = drawn(scene.plant, seed, number, shares["missing"], shares["wrong"])
        runs[FIXED].append(fixed(scene.plant, chance))
        for name, loop in loops.items():
            runs[name].append(controlled(loop, step, scene.plant, scene.course, chance, delay))
        done(0.5 + 0.5 * (number + 1) / seeds)
    bound = least_variance(Kalman(spreads=true), scene.plant.aged.tolist(), scene.plant.changed, delay)
    ages = [one.aged for one in scene.course.coming]
    margins = {one.name: small_gain(one, ages, changes, delay) for one in estimators}
    margins["ewma"] = Ratios(0.0, average_limit(weight, delay))  # the exact one
    return _told(
        rig, scene, runs, bound, delay, seed, told=told, true=true, gain_ratio=gain_ratio,
        weight=weight, margins=margins,
    )  # fmt: skip


def fixed(plant: Plant, chance: Drawn) -> Run:
    """Return the course of wafers whose settings are never moved.

    Parameters
    ----------
    plant
        The true step.
    chance
        What it draws.

    Returns
    -------
    Run
        All its wafers.
    """
    return Run(chance.outputs, np.zeros((chance.outputs.shape[0], plant.gain.shape[1])), 0, 0)


def controlled(loop: Loop, step: Steered, plant: Plant, course: Course, chance: Drawn, delay: int) -> Run:
    """Return the course of wafers under a control.

    Parameters
    ----------
    loop
        The control.
    step
        As it is steered: settings are rounded by it.
    plant, chance
        The true step, and what it draws.
    course
        What the control is told beforehand.
    delay
        Wafers by which metrology is late.

    Returns
    -------
    Run
        All its wafers.
    """
    wafers = len(course.coming)
    outputs, moves = np.empty((wafers, loop.outputs)), np.empty((wafers, loop.gain.shape[1]))
    state, held_off, limited = first_state(loop), 0, 0
    for wafer, coming in enumerate(course.coming):
        advice = advise(loop, state, coming)
        limited += bool(advice.limits)
        moves[wafer] = step.moves(step.settings(advice.moved))
        outputs[wafer] = chance.outputs[wafer] + plant.gain @ moves[wafer]
        state = ran(state, str(wafer), moves[wafer], coming)
        late = wafer - delay
        if late >= 0:
            measured = None if chance.lost[late] else outputs[late] + chance.errors[late]
            state, heard = learn(loop, state, str(late), measured)
            held_off += not heard.learned and measured is not None
    return Run(outputs, moves, held_off, limited)


def _share(value: float | str, name: str, most: float) -> float:
    share = as_si(value, "ratio", name)
    if not 0 <= share <= most:
        raise DataError(refuse(name, round(share, 6), f"0 to {most:g} (relative)"))
    return share


def _changes(
    wafers: int, pad_every: int, disk_every: int, slurry_every: int | None
) -> tuple[tuple[str, ...], ...]:
    every = {"pad": pad_every, "disk": disk_every, "slurry": slurry_every}
    return tuple(
        tuple(name for name, count in every.items() if count is not None and wafer > 0 and wafer % count == 0)
        for wafer in range(wafers)
    )


def _scene(
    rig: Rig,
    step: Steered,
    changes: tuple[tuple[str, ...], ...],
    pad_every: int,
    disk_every: int,
    true: Spreads,
    gain_ratio: float,
    incoming: float,
    seed: int,
    done: Callable[[float], None],
) -> _Scene:
    """Polish the lots: the true course, and what the control reads."""
    wafers = len(changes)
    weights = output_weights(rig, zones=bool(step.zones))
    events = [
        Event(wafer + 1, name) for wafer, what in enumerate(changes) for name in what if name != "slurry"
    ]
    lot = polish_lot(rig, wafers, variation=Variation.none(), adjust="run-to-run", events=events)
    done(0.2)
    lives = [min(every, wafers) for every in (pad_every, disk_every)]
    ageing = ageing_of(rig, step, weights, lives[0], lives[1], lambda share: done(0.2 + 0.3 * share))
    course = course_of(lot, step, weights)
    mean = course @ step.shares
    new = np.array(["pad" in what for what in changes])
    first = np.maximum.accumulate(np.where(new, np.arange(wafers), 0))
    plant = Plant(course, mean - mean[first], changes, gain_ratio * step.gain, true)
    thick = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(2**31,))))
    extra = incoming * np.clip(thick.standard_normal(wafers), -3.0, 3.0)
    return _Scene(step, plant, Course(changes, _coming(step, ageing, changes, extra)), ageing)


def _coming(
    step: Steered, ageing: Ageing, changes: Sequence[tuple[str, ...]], extra: Array
) -> tuple[Coming, ...]:
    """Return what is known of each wafer before it is polished."""
    ages, found = Ages(), []
    for what, more in zip(changes, extra, strict=True):
        ages = ages.changed(what)
        base, aged = foretold(ageing, ages, step.shares)
        amount = step.wanted + more * step.incoming
        if not np.all(amount > 0):
            raise DataError(
                refuse("incoming: thickness less than what is left", f"{1e9 * amount.min():.3g} nm to remove",
                       "above 0 nm for every wafer", "take a smaller spread")
            )  # fmt: skip
        found.append(Coming(np.log(amount / step.wanted), base, aged, what))
        ages = ages.later()
    return tuple(found)


def _told(
    rig: Rig,
    scene: _Scene,
    runs: dict[str, list[Run]],
    bound: Array,
    delay: int,
    seed: int,
    *,
    told: Spreads,
    true: Spreads,
    gain_ratio: float,
    weight: float,
    margins: dict[str, Ratios],
) -> ControlTrial:
    step = scene.step
    goal = np.stack([one.goal for one in scene.course.coming])
    least = float(np.sqrt(bound.mean()))
    rows = []
    for name, several in runs.items():
        off = np.stack([run.outputs for run in several]) - goal
        sigma = float(np.sqrt(np.mean(off**2)))
        mean = off @ step.shares
        rows.append(
            Tried(
                name=name,
                sigma=sigma,
                ratio=sigma / least,
                mean=float(off.mean()),
                worst=float(np.abs(off).max()),
                uneven=float(np.sqrt(np.mean((off - mean[..., None]) ** 2 @ step.shares))),
                mean_sigma=float(np.sqrt(np.mean(mean**2))),
                held_off=sum(run.held_off for run in several) / len(several),
                limited=sum(run.limited for run in several) / len(several) / goal.shape[0],
                margin=margins.get(name),
            )
        )
    first = {name: several[0] for name, several in runs.items()}
    return ControlTrial(
        step=step,
        rows=tuple(rows),
        least=least,
        bound=np.sqrt(bound),
        changed=scene.plant.changed,
        goal=goal @ step.shares,
        removed={name: step.removed(run.outputs) @ step.shares for name, run in first.items()},
        times={name: step.time * np.exp(run.moved[:, 0]) for name, run in first.items()},
        delay=delay,
        seed=seed,
        seeds=len(runs[FIXED]),
        told=told,
        true=true,
        gain_ratio=gain_ratio,
        weight=weight,
        title=rig.title,
        rests_on=tuple(rig.sources),
        said=tuple(
            f"step {step.step} stops on an amount in the setup: here its time ends it, and the amount is not looked at"
            for one in rig.steps
            if one.name == step.step and one.stop != "time"
        ),
    )
