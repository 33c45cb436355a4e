"""Wafer after wafer on one pad: glazing and renewal, wear, dulling, heat and chance, until something ends it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics import scratches
from planish.physics.motion import motion, sweep
from planish.physics.pressure import series as contact_series
from planish.physics.pressure.series import Interpolation, WornPad, wear_to
from planish.physics.removal import laws as removal
from planish.physics.slurry import film as slurry
from planish.physics.slurry import heat
from planish.physics.surface import asperities, summit_balance
from planish.physics.surface import conditioning as disk_physics
from planish.predict.lot import variation as lot_variation
from planish.predict.lot.events import Event, EventLike, read_events
from planish.predict.lot.pad import (
    LotPad,
    age,
    cut_rates,
    height_map,
    mean_tail,
    new_pad,
    renew_pad,
    sharpness,
)
from planish.predict.lot.pad_rings import PadRings, pad_rings
from planish.predict.lot.result import Limits, LotResult, Records, empty_records
from planish.predict.lot.step import LotStep, plan_lot_step, run_step
from planish.predict.lot.variation import Draws, Variation, draw
from planish.predict.raised import lot_notes
from planish.predict.wafer import conditions
from planish.predict.wafer.contact_model import (
    CELLS,
    ContactModel,
    pad_base,
    pad_layers,
    pad_operator,
    prepare,
)
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.step_plan import AIR_CONDUCTANCE, platen_path, summit_land
from planish.results.plain import unique
from planish.setup.given import as_bench, as_described, asked_of

if TYPE_CHECKING:
    from planish.physics.pressure.solve import PadOperator
    from planish.setup.given import SetupLike
    from planish.setup.si import Bench, Step

Array = NDArray[np.float64]
MODULES = (
    motion,
    asperities,
    summit_balance,
    disk_physics,
    sweep,
    contact_series,
    removal,
    slurry,
    heat,
    scratches,
    conditions,
    lot_variation,
)
HANDLING_TIME = 30.0  # [s] between wafers: unload, rinse, load (common practice, no source)
MOST_WAFERS = 100_000
STATES = 4  # worn states of the pad that the elastic operator is built for; between them a cubic
EWMA_WEIGHT = 0.3
RUN_TO_RUN_MOST = 10.0  # times a timed step's own time


def polish_lot(
    setup: SetupLike,
    wafers: int = 200,
    seed: int = 0,
    *,
    conditioning: bool = True,
    events: Iterable[EventLike] = (),
    adjust: str = "fixed",
    variation: Variation | None = None,
    limits: Limits | None = None,
    handling_time: float = HANDLING_TIME,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    cells: int = CELLS,
) -> LotResult:
    """Polish ``wafers`` wafers one after the other on one pad.

    Parameters
    ----------
    setup:
        A loaded setup, its SI records, or the path of a setup file.
    wafers, seed:
        How many, and the seed of everything that varies by chance.
    conditioning:
        False switches all conditioning off: in situ, between wafers and events.
    events:
        What happens between wafers, see :func:`planish.predict.lot.events.read_events`.
    adjust:
        "fixed": the recipe as written (steps that stop on an amount stop there).
        "run-to-run": after the first wafer every step is timed, and the longest one is adjusted
        from the measured removal by an exponentially weighted average of the rate (weight 0.3), up to
        its own ``max_time`` (a timed one: ten times its time).
    variation:
        Spreads of what varies by chance; ``Variation.none()`` for none.
    limits:
        When the pad or disk counts as used up.
    handling_time:
        Between wafers [s]; the pad cools meanwhile.
    workers:
        Threads that build the pad's elastic operators. The wafers follow one another, so
        the numbers are the same for any number.
    progress:
        Called now and then with (wafers done, wafers in all).
    cells:
        Wafer nodes of the pressure solution.

    Raises
    ------
    ModelError
        For arguments that make no sense or values without a solution, and where the pad is worn
        through before the lot ends.
    """
    described = as_described(setup)
    bench = as_bench(described)
    _check(wafers, adjust, handling_time, workers)
    happenings = read_events(events, wafers)
    draws = draw(variation or Variation(), wafers, seed)
    run = _Run(bench, conditioning, limits or Limits(), handling_time, workers, wafers, cells)
    records = empty_records(wafers, run.model.grid.r.size, run.rings.middles.size, len(bench.steps))
    control = _Control(adjust == "run-to-run", tuple(_longest(step) for step in bench.steps))
    at = 0
    for wafer in range(wafers):
        monitor = False
        while at < len(happenings) and happenings[at].wafer == wafer + 1:
            monitor |= run.happen(happenings[at], draws, wafer)
            at += 1
        run.polish(wafer, draws, monitor, control, records)
        if progress is not None and (wafer % 50 == 49 or wafer + 1 == wafers):
            progress(wafer + 1, wafers)
    options: dict[str, object] = {
        "wafers": wafers,
        "conditioning": conditioning,
        "events": happenings,
        "adjust": adjust,
        "variation": variation,
        "limits": limits,
        "handling_time": handling_time,
        "cells": cells,
    }
    asked = asked_of([described], seed=seed, options=options)
    return replace(run.result(records, happenings, seed, adjust), asked=asked)


@dataclass(slots=True)
class _Control:
    """Run-to-run adjusting of the polish time: an EWMA of the measured rate, within the steps' longest times."""

    active: bool
    most: tuple[float, ...]
    target: float = 0.0
    rate: float = 0.0
    base: tuple[float, ...] = ()

    def durations(self) -> tuple[float | None, ...]:
        """Return the times of the steps for the next wafer; empty before the first."""
        if not self.active or not self.base:
            return ()
        longest = int(np.argmax(self.base))
        others = sum(self.base) - self.base[longest]
        main = max(self.target / self.rate - others, 0.1 * self.base[longest])
        main = min(main, self.most[longest])
        return tuple(main if index == longest else time for index, time in enumerate(self.base))

    def learn(self, measured: float, times: list[float]) -> None:
        """Take in the removal measured [m] and the times [s] of the wafer just polished."""
        if not self.active or measured <= 0:
            return
        rate = measured / sum(times)
        if not self.base:
            self.base, self.target, self.rate = tuple(times), measured, rate
        else:
            self.rate += EWMA_WEIGHT * (rate - self.rate)


class _Run:
    """The state of one lot and what is done to it."""

    def __init__(
        self,
        bench: Bench,
        conditioning: bool,
        limits: Limits,
        handling_time: float,
        workers: int,
        wafers: int,
        cells: int,
    ) -> None:
        self.bench, self.conditioning, self.limits = bench, conditioning, limits
        self.handling_time = handling_time
        self.model: ContactModel = prepare(bench, cells=cells)
        self.said: list[str] = []  # what happened once, beside what the records tell
        self.rings: PadRings = pad_rings(bench, self.model.grid)
        grid = self.model.grid
        for step in bench.steps:
            if not np.max(step.zone_pressures) > 0:
                raise ModelError(
                    refuse(f"step {step.name}: zone pressures", "all 0", "above 0 in one zone at least")
                )
        highest = max(float(np.max(step.zone_pressures)) for step in bench.steps)
        self.pad: LotPad = new_pad(
            bench,
            self.rings,
            grid.areas,
            max(highest, 1e3) / summit_land(bench, bench.pad.grooves.depth, self.model.land),
        )
        inside = grid.r <= bench.wafer.radius - bench.wafer.edge_exclusion
        self.weights: Array = np.where(inside, grid.areas, 0.0) / grid.areas[inside].sum()
        self.inside = inside
        self.heights: Array = height_map(bench, self.rings, grid.r)
        self.track: Array = grid.areas @ self.rings.to_wafer / grid.areas.sum()
        self.under: NDArray[np.bool_] = self.track > 1e-3 * self.track.max()
        cuts = [
            cut_rates(bench, self.rings, step) if conditioning else np.zeros(self.track.size)
            for step in bench.steps
        ]
        self.longest = int(
            np.argmax([step.stop_value if step.stop == "time" else step.max_time for step in bench.steps])
        )
        self.ex_situ_cut: Array = cuts[self.longest]
        self.worn_states, operators = self._operators(cuts, workers, wafers)
        self.between = Interpolation(self.worn_states)
        self.pads: dict[bool, WornPad] = {}
        self.plans: list[LotStep] = [
            plan_lot_step(
                bench,
                step,
                self.model,
                self.rings,
                operators,
                self.pads,
                self.pad,
                cut,
                conditioning=conditioning,
            )
            for step, cut in zip(bench.steps, cuts, strict=True)
        ]
        self.temperatures: Array = np.full(self.track.size, bench.ambient.platen_temperature)
        self.incoming: Array = np.stack([mean_profile(film, grid.r) for film in bench.wafer.films])
        self.batch = 1.0
        self.use = self._broken_in()
        self._at_rest()

    def _operators(self, cuts: list[Array], workers: int, wafers: int) -> tuple[Array, list[PadOperator]]:
        """Return the worn states [m] and the elastic operators at them; one alone where wear is negligible."""
        bench, grid = self.bench, self.model.grid
        grooves, top = bench.pad.grooves, bench.pad.layers[0].thickness
        most = min(grooves.depth, 0.9 * top) if grooves.pattern != "none" and grooves.depth > 0 else 0.6 * top
        fastest = max(float(np.max(cut)) for cut in cuts)
        longest = sum(step.stop_value if step.stop == "time" else step.max_time for step in bench.steps)
        expected = fastest * wafers * (longest + self.handling_time)
        if expected < 0.01 * most:
            return np.array([0.0]), [self.model.operator]
        worn = most * np.linspace(0.0, 1.0, STATES)

        def build(state: float) -> PadOperator:
            layers = pad_layers(bench, max(grooves.depth - state, 0.0), top - state)
            return pad_operator(grid, layers, pad_base(bench))

        with ThreadPoolExecutor(max_workers=workers) as pool:
            return worn, [self.model.operator, *pool.map(build, worn[1:].tolist())]

    def _broken_in(self) -> float:
        """Use of the disk [s] in breaking a pad in."""
        disk = self.bench.conditioner
        return disk.break_in_time if self.conditioning and disk is not None else 0.0

    def _at_rest(self) -> None:
        """Work out how the pad loses heat between wafers: to the platen and the air, no flow, no wafer."""
        through, base = platen_path(self.bench)
        conductance, sink = heat.combined_sink(
            [through, AIR_CONDUCTANCE], [base, self.bench.ambient.temperature]
        )
        self.rest_rate = float(conductance) / self.plans[0].fixed.heat_capacity
        self.rest_sink = float(sink)

    def rest(self, time: float) -> None:
        """Let the pad cool for ``time`` [s]."""
        self.temperatures = self.rest_sink + (self.temperatures - self.rest_sink) * np.exp(
            -self.rest_rate * time
        )

    def condition(self, time: float) -> None:
        """Condition without a wafer for ``time`` [s] at the speeds of the longest step."""
        disk = self.bench.conditioner
        if not self.conditioning or disk is None or time <= 0:
            return
        cut = self.ex_situ_cut * sharpness(self.bench, self.pad) * time
        still = np.zeros(self.pad.groups.duty.size)
        age(self.pad, self.bench, still, still, cut)
        self.pad.disk_use += time

    def happen(self, event: Event, draws: Draws, wafer: int) -> bool:
        """Do what the event says; returns whether the wafer is a monitor."""
        if event.kind == "pad":
            renew_pad(self.pad)
            self.pad.disk_use += self._broken_in()
        elif event.kind == "disk":
            self.pad.disk_use = 0.0
        elif event.kind == "slurry":
            self.batch = float(draws.batch[wafer]) if event.value is None else event.value
        elif event.kind == "idle" and event.value is not None:
            self.rest(event.value)
        elif event.kind == "condition" and event.value is not None:
            self.condition(event.value)
            self.rest(event.value)
        return event.kind == "monitor"

    def polish(self, wafer: int, draws: Draws, monitor: bool, control: _Control, records: Records) -> None:
        """Polish one wafer and note what came of it."""
        bench, pad, model = self.bench, self.pad, self.model
        disk = bench.conditioner
        if wafer > 0:
            between = self.handling_time
            if disk is not None and disk.mode == "ex-situ":
                between = max(between, disk.ex_situ_time)
                self.condition(disk.ex_situ_time)
            self.rest(between)
        incoming = self.incoming
        if not monitor:
            bow = 1.0 + draws.bow[wafer] * (2.0 * (model.grid.r / bench.wafer.radius) ** 2 - 1.0)
            incoming = incoming * (draws.incoming[wafer] * bow)
        left = incoming.copy()
        times: list[float] = []
        outcomes = []
        wanted = control.durations() or (None,) * len(self.plans)
        worn = float(self.track @ pad.worn)
        groove = max(bench.pad.grooves.depth - worn, 0.0)
        land = summit_land(bench, groove, model.land)
        height = worn - self.heights @ pad.worn
        shares = self.between.at(min(worn, float(self.worn_states[-1])))
        wear_to(list(self.pads.values()), [plan.series for plan in self.plans], shares)
        self._note_wear(wafer, worn)
        for plan, duration in zip(self.plans, wanted, strict=True):
            try:
                found = run_step(
                    plan,
                    bench,
                    model,
                    self.rings,
                    pad,
                    groove_depth=groove,
                    height=height,
                    temperatures=self.temperatures,
                    left=left,
                    weights=self.weights,
                    rate_factor=self.batch * float(draws.process[wafer]),
                    duration=duration,
                )
            except ModelError as error:
                by_then = f"{float(pad.worn.max()) * 1e3:.4g} of the pad's {bench.pad.layers[0].thickness * 1e3:g} mm"
                raise ModelError(f"wafer {wafer + 1}: {error}; by then {by_then} are worn away") from None
            left = np.maximum(left - found.removed, 0.0)
            self.temperatures = found.end_temperatures
            times.append(found.duration)
            outcomes.append(found)
            sharp = sharpness(bench, pad)
            on_groups = plan.group_seen @ np.concatenate([found.pressure, found.ring_pressure]) / land
            age(pad, bench, on_groups, plan.group_sliding * found.duration, plan.cut * sharp * found.duration)
            if disk is not None:
                pad.disk_use += found.duration * plan.fixed.disk_width / disk.disk_radius
        self._still_there(wafer)
        if any(t is not None and t >= most for t, most in zip(wanted, control.most, strict=True)):
            self._say_once(
                wafer,
                "the polish time of run-to-run stands at its limit: the rate no longer gives the target",
            )
        removed = incoming.sum(axis=0) - left.sum(axis=0)
        mean = float(removed @ self.weights)
        control.learn(mean * float(draws.measurement[wafer]), times)
        records.note(self, wafer, outcomes, times, removed, left, mean, monitor, draws)

    def _still_there(self, wafer: int) -> None:
        """Refuse to go on where the top pad is worn through: nothing here says how its sub-pad polishes."""
        top = self.bench.pad.layers[0].thickness
        deepest = int(np.argmax(self.pad.worn))
        if self.pad.worn[deepest] >= top:
            sooner = f"ask for fewer wafers, change the pad before that (event '{wafer} pad'), or "
            remedy = (sooner if wafer else "") + "condition less"
            raise ModelError(
                f"wafer {wafer + 1}: the pad is worn through at {self.rings.middles[deepest] * 1e3:.4g} mm from its "
                f"middle (all {top * 1e3:.4g} mm of its top layer): {remedy}"
            )

    def _say_once(self, wafer: int, words: str) -> None:
        """Note what happened on a wafer, the first time only."""
        if not any(words in note for note in self.said):
            self.said.append(f"from wafer {wafer + 1}: {words}")

    def _note_wear(self, wafer: int, worn: float) -> None:
        """Say once where a pad is worn further than its elastic operators were made for."""
        known = float(self.worn_states[-1]) if self.worn_states.size > 1 else np.inf
        if worn > known:
            self._say_once(
                wafer,
                f"the pad is worn by more than {known * 1e3:.3g} mm: how it gives way is kept as it was there",
            )

    def result(self, records: Records, events: tuple[Event, ...], seed: int, adjust: str) -> LotResult:
        """Return what became of the lot."""
        bench, grid = self.bench, self.model.grid
        return LotResult(
            bench=bench,
            seed=seed,
            adjust=adjust,
            conditioning=self.conditioning and bench.conditioner is not None,
            events=events,
            limits=self.limits,
            radius=self.model.grid.r,
            areas=self.model.grid.areas,
            ring_middles=self.rings.middles,
            under=self.under,
            records=records,
            summit_edges=self.pad.edges,
            summit_fresh=self.pad.fresh,
            summit_last=self.pad.groups.track @ self.pad.probability,
            cut_rate=self.ex_situ_cut,
            said=tuple(unique([*lot_notes(bench, records.seen(bench, grid.r, grid.areas)), *self.said])),
            rests_on=tuple(
                unique([*bench.sources, *(line for module in MODULES for line in module.SOURCES)])
            ),
        )


def _longest(step: Step) -> float:
    """Return the longest time [s] that run-to-run may give a step."""
    return RUN_TO_RUN_MOST * step.stop_value if step.stop == "time" else step.max_time


def _check(wafers: int, adjust: str, handling_time: float, workers: int) -> None:
    if isinstance(wafers, bool) or not isinstance(wafers, int | np.integer) or not 1 <= wafers <= MOST_WAFERS:
        raise ModelError(refuse("wafers", wafers, f"a whole number from 1 to {MOST_WAFERS}"))
    if adjust not in ("fixed", "run-to-run"):
        raise ModelError(refuse("adjust", adjust, "'fixed' or 'run-to-run'"))
    if not 0 <= handling_time <= 86400:
        raise ModelError(refuse("handling_time [s]", handling_time, "0 to 86400"))
    if isinstance(workers, bool) or not isinstance(workers, int | np.integer) or not 1 <= workers <= 256:
        raise ModelError(refuse("workers", workers, "a whole number from 1 to 256"))


__all__ = ["Limits", "LotResult", "Variation", "mean_tail", "polish_lot"]
