"""One wafer of a lot: the state before it and its chance give the state after it and its row. Nothing else changes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError
from planish.predict.lot.pad import LotPad, aged, new_pad
from planish.predict.lot.row import Row
from planish.predict.lot.state import LotState, StepState, Wearing
from planish.predict.lot.step import StepOn, StepOutcome, expected_end, pad_under, run_step

if TYPE_CHECKING:
    from planish.predict.lot.events import Event
    from planish.predict.lot.plan import LotPlan
    from planish.predict.lot.variation import Chance

Array = NDArray[np.float64]


class WornThroughError(ModelError):
    """The top pad is worn through while ``wafer`` is polished."""

    def __init__(self, wafer: int, message: str) -> None:
        self.wafer = wafer
        super().__init__(message)

    def __reduce__(self) -> tuple[type[WornThroughError], tuple[int, str]]:  # it passes between processes
        return type(self), (self.wafer, str(self))


def advance(state: LotState, plan: LotPlan, draws: Chance) -> tuple[LotState, Row]:
    """Polish the next wafer.

    Parameters
    ----------
    state
        The lot after the wafers polished so far; it is left as it is.
    plan
        What is fixed for the lot.
    draws
        The chance of this wafer.

    Returns
    -------
    tuple[LotState, Row]
        The lot after this wafer, and what became of the wafer.

    Raises
    ------
    ModelError
        Where a value has no solution, or the pad is worn through.
    """
    events = plan.events_before(state.wafers + 1)
    for event in events:
        state = _happen(state, plan, event, draws)
    if state.wafers > 0:
        state = _between(state, plan)
    monitor = any(event.kind == "monitor" for event in events)
    return _polish(state, plan, draws, _incoming(plan, draws, monitor=monitor), monitor=monitor)


def _happen(state: LotState, plan: LotPlan, event: Event, draws: Chance) -> LotState:
    """Return the state after what the event says was done."""
    if event.kind == "pad":
        pad = new_pad(plan.summits, state.pad.disk_use + plan.broken_in)
        return replace(state, pad=pad, steps=tuple(replace(step, wearing=None) for step in state.steps))
    if event.kind == "disk":
        use = 0.0 if event.value is None else event.value
        return replace(state, pad=replace(state.pad, disk_use=use))
    if event.kind == "slurry":
        return replace(state, batch=draws.batch if event.value is None else event.value)
    if event.kind == "idle" and event.value is not None:
        return _rest(state, plan, event.value)
    if event.kind == "condition" and event.value is not None:
        return _rest(_condition(state, plan, event.value), plan, event.value)
    return state


def _between(state: LotState, plan: LotPlan) -> LotState:
    """Return the state after one wafer was unloaded and the next loaded."""
    disk, time = plan.rig.conditioner, plan.handling_time
    if disk is not None and disk.mode == "ex-situ":
        time = max(time, disk.ex_situ_time)
        state = _condition(state, plan, disk.ex_situ_time)
    return _rest(state, plan, time)


def _rest(state: LotState, plan: LotPlan, time: float) -> LotState:
    """Return the state after the pad cooled for ``time`` [s]."""
    kept = np.exp(-plan.rest_rate * time)
    return replace(state, temperatures=plan.rest_sink + (state.temperatures - plan.rest_sink) * kept)


def _condition(state: LotState, plan: LotPlan, time: float) -> LotState:
    """Return the state after conditioning without a wafer for ``time`` [s] at the speeds of the longest step."""
    pad = state.pad
    if not plan.conditioning or plan.rig.conditioner is None or time <= 0:
        return state
    still = np.zeros(plan.summits.groups.duty.size)
    pad = aged(
        plan.summits,
        pad,
        plan.rig,
        separation=pad.separation,
        pressure=still,
        sliding=still,
        cut=plan.ex_situ_cut * plan.sharpness(pad.disk_use) * time,
        disk_time=time,
    )
    return replace(state, pad=pad)


def _incoming(plan: LotPlan, draws: Chance, *, monitor: bool) -> Array:
    """Return the films (films, n_r) [m] of the wafer; a monitor has no variation."""
    if monitor:
        return plan.incoming
    bow = 1.0 + draws.bow * (2.0 * (plan.model.grid.r / plan.rig.wafer.radius) ** 2 - 1.0)
    return plan.incoming * (draws.incoming * bow)


def _polish(
    state: LotState, plan: LotPlan, draws: Chance, incoming: Array, *, monitor: bool
) -> tuple[LotState, Row]:
    """Take the wafer through all steps."""
    wafer, pad, temperatures = state.wafers + 1, state.pad, state.temperatures
    most = tuple(step.most for step in plan.steps)
    wanted = (plan.adjust and state.control.durations(most)) or (None,) * len(most)
    under = pad_under(plan, pad, state.ring_use)
    left = incoming
    outcomes: list[StepOutcome] = []
    wearing: list[Wearing] = []
    for step, last, duration in zip(plan.steps, state.steps, wanted, strict=True):
        on = StepOn(plan, step, last, under, temperatures, left, state.batch * draws.process, duration)
        try:
            found, pad, works = _through(on, pad)
        except ModelError as error:
            top = plan.rig.pad.layers[0].thickness
            by_then = f"{float(pad.worn.max()) * 1e3:.4g} of the pad's {top * 1e3:g} mm"
            raise ModelError(f"wafer {wafer}: {error}; by then {by_then} are worn away") from None
        left = np.maximum(left - found.removed, 0.0)
        temperatures = found.end_temperatures
        outcomes.append(found)
        wearing.append(works)
    _still_there(plan, pad, wafer)
    times = tuple(found.duration for found in outcomes)
    row = Row.of(
        plan, pad, outcomes, incoming, left, monitor=monitor, batch=state.batch, process=draws.process
    )
    control = state.control
    if plan.adjust:
        control = control.learned(float(row.mean_removed) * draws.measurement, times)
    at_limit = any(t is not None and t >= longest for t, longest in zip(wanted, most, strict=True))
    after = LotState(
        wafers=wafer,
        pad=pad,
        temperatures=temperatures,
        batch=state.batch,
        control=control,
        steps=tuple(
            StepState(found.solved, found.duration, found.lubrication, works)
            for found, works in zip(outcomes, wearing, strict=True)
        ),
        said=_told(state.said, plan, wafer, under.worn, at_limit=at_limit),
        ring_use=state.ring_use + sum(times),
    )
    return after, row


def _through(on: StepOn, pad: LotPad) -> tuple[StepOutcome, LotPad, Wearing]:
    """Take the wafer through one step, on summits as they are half-way through it: (what it did, the pad after it, what wore it).

    They are worn half-way there as the last wafer wore them; the first on its pad finds that out by a trial.
    """
    works, time = on.last.wearing, expected_end(on)
    if works is None:
        trial = run_step(on, pad)
        works, time = _wearing(on, trial), trial.duration
    midway = _worn_for(on, pad, works, 0.5 * time)
    found = run_step(on, midway)
    works = _wearing(on, found)
    rest = found.duration - 0.5 * time
    begun, rest = (
        (midway, rest) if rest >= 0.0 else (pad, found.duration)
    )  # it ended far sooner than the last
    return found, _worn_for(on, begun, works, rest, found.summits.separation), works


def _wearing(on: StepOn, found: StepOutcome) -> Wearing:
    """Return what wears the summits in a step that went so."""
    # warm summits under a pressure stand as cold ones under more, and the real pressure wears them by less
    pressure = on.step.group_seen @ found.pressure / (on.under.land * found.modulus_left)
    return Wearing(pressure, found.modulus_left)


def _worn_for(
    on: StepOn, pad: LotPad, works: Wearing, time: float, separation: Array | None = None
) -> LotPad:
    """Return the pad after so much of the step [s]: summits worn by the wafer and the ring, cut anew by the disk."""
    plan, step = on.plan, on.step
    return aged(
        plan.summits,
        pad,
        plan.rig,
        separation=pad.separation if separation is None else separation,
        pressure=works.pressure,
        sliding=step.group_sliding * time * works.modulus_left,
        cut=step.cut * plan.sharpness(pad.disk_use) * time,
        disk_time=time * step.disk_share,
    )


def _still_there(plan: LotPlan, pad: LotPad, wafer: int) -> None:
    """Refuse to go on where the top pad is worn through: nothing here says how its sub-pad polishes."""
    top = plan.rig.pad.layers[0].thickness
    deepest = int(np.argmax(pad.worn))
    if pad.worn[deepest] >= top:
        sooner = f"ask for fewer wafers, change the pad before that (event '{wafer - 1} pad'), or "
        remedy = (sooner if wafer > 1 else "") + "condition less"
        raise WornThroughError(
            wafer,
            f"wafer {wafer}: the pad is worn through at {plan.rings.middles[deepest] * 1e3:.4g} mm from its "
            f"middle (all {top * 1e3:.4g} mm of its top layer): {remedy}",
        )


def _told(
    said: tuple[str, ...], plan: LotPlan, wafer: int, worn: float, *, at_limit: bool
) -> tuple[str, ...]:
    """Return what was said, and what this wafer is the first to show."""
    known = float(plan.worn_states[-1]) if plan.worn_states.size > 1 else np.inf
    news = (
        (
            worn > known,
            f"the pad is worn by more than {known * 1e3:.3g} mm: how it gives way is kept as it was there",
        ),
        (
            at_limit,
            "the polish time of run-to-run stands at its limit: the rate no longer gives the target",
        ),
    )
    return said + tuple(
        f"from wafer {wafer}: {words}"
        for now, words in news
        if now and not any(words in note for note in said)
    )
