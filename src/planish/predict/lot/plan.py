"""What is fixed for a whole lot: machine and pad at the wafer's nodes, the steps, what happens when."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from math import ceil, log2
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import ModelError, refuse
from planish.physics.pressure.series import (
    Interpolation,
    SeriesStep,
    Solved,
    WornPad,
    begin,
    series_step,
    worn_pad,
)
from planish.physics.removal.laws import LAWS
from planish.physics.slurry import heat
from planish.predict.lot.events import Event
from planish.predict.lot.pad import SummitPlan, cut_rates, height_map, plan_summits
from planish.predict.lot.pad_rings import PadRings, pad_rings
from planish.predict.wafer.conditions import contact_pressure
from planish.predict.wafer.contact_model import (
    CELLS,
    ContactModel,
    pad_layers,
    pad_operator,
    prepare,
)
from planish.predict.wafer.counted import Counted, counted
from planish.predict.wafer.disk import DiskWork, disk_work
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.pad_surface import fresh_state
from planish.predict.wafer.step_plan import (
    BackLoad,
    StepPlan,
    back_load,
    plan_step,
    platen_path,
    summit_land,
)
from planish.predict.wafer.uneven import Uneven, turning_past
from planish.predict.wafer.warm_pad import expected_heating, softens

if TYPE_CHECKING:
    from planish.physics.pressure.ring_influence import PadOperator
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]
HANDLING_TIME = 30.0  # [s] between wafers: unload, rinse, load (common practice, no source)
GAP_STATES = 1e-4  # [m] gained beside the ring, and twice as much each time: where its operator is built
STATES = 4  # worn states of the pad that the elastic operator is built for; between them a cubic
RUN_TO_RUN_MOST = 10.0  # times a timed step's own time
# Times at which a step is looked at: where the rate hardly, and where it strongly, follows heat.
GRID = (12, 40)
STRONG = 15e3  # [J/mol] activation energy from which the finer grid is taken


@dataclass(frozen=True, slots=True, repr=False)
class LotStep(Record):
    """What a step fixes for the whole lot.

    ``fixed`` and ``back`` as for one wafer; ``begin`` is where its pressures start. Over pad groups (g,):
    ``group_nominal`` [Pa], ``group_sliding`` [m/s] times share of time; ``group_seen`` (g, nodes pressed)
    of a group's time under the carrier. ``cut`` (n,) [m/s] of a sharp disk for as long as it works in this
    step, ``disk_share`` of the step; ``grid`` of times, 0 to 1; ``most`` [s] that run-to-run may give it;
    ``heating``: where its heat leads (``warm_pad.expected_heating``).
    """

    fixed: StepPlan
    back: BackLoad
    series: SeriesStep
    begin: Solved
    with_ring: bool
    group_nominal: Array
    group_seen: Array
    group_sliding: Array
    cut: Array
    disk_share: float
    grid: Array
    most: float
    heating: tuple[Array, Array]


@dataclass(frozen=True, slots=True)
class RingWear:
    """How the gap between wafer and ring widens: ``rate`` [m/s] while it polishes.

    ``gained`` (k,) [m], 0 first: where the pad's operator beside the worn ring is made; between them it is straight.
    """

    rate: float
    gained: Array

    def shares(self, time: float) -> Array:
        """Return the shares (k,), summing to 1, of what the ring's wear makes of the pad after ``time`` [s]."""
        gain = self.rate * time
        at = min(max(int(np.searchsorted(self.gained, gain)), 1), self.gained.size - 1)
        part = (gain - self.gained[at - 1]) / (self.gained[at] - self.gained[at - 1])
        shares = np.zeros(self.gained.size)
        shares[at - 1 : at + 1] = 1.0 - part, part
        return shares


@dataclass(frozen=True, slots=True, repr=False)
class LotPlan(Record):
    """What is fixed for a lot.

    ``weights`` (n_r,) average over what is ``counted``, the disc inside the edge exclusion; ``track`` (n,) over the
    pad rings that the wafer passes (``under``); ``softens``: whether its pad does as it warms; ``uneven`` is what turns
    past, None where all is flat; ``ring``
    how its gap widens, None where it does not; ``heights`` (n_r, n): :func:`height_map`; ``pads`` with and
    without a pressed ring; ``worn_states`` [m] they were made at, ``between`` interpolates; ``disk``: what it does;
    ``incoming`` (films, n_r) [m]; ``ex_situ_cut`` (n,) [m/s] of a sharp disk without a wafer; ``rest_rate``
    [1/s] and ``rest_sink`` [K]: how the pad cools between wafers.
    """

    rig: Rig
    conditioning: bool
    adjust: bool
    events: tuple[Event, ...]
    handling_time: float
    model: ContactModel
    rings: PadRings
    summits: SummitPlan
    counted: Counted
    weights: Array
    heights: Array
    softens: bool
    track: Array
    uneven: Uneven | None
    ring: RingWear | None
    under: NDArray[np.bool_]
    pads: dict[bool, WornPad]
    worn_states: Array
    between: Interpolation
    steps: tuple[LotStep, ...]
    incoming: Array
    disk: DiskWork | None
    ex_situ_cut: Array
    rest_rate: float
    rest_sink: float

    def sharpness(self, disk_use: float) -> float:
        """Return how sharply the disk cuts after ``disk_use`` [s], 1 when new; 0 without a disk."""
        return 0.0 if self.disk is None else self.disk.sharpness(disk_use)

    @property
    def broken_in(self) -> float:
        """Use of the disk [s] in breaking a pad in."""
        disk = self.rig.conditioner
        return disk.break_in_time if self.conditioning and disk is not None else 0.0

    def events_before(self, wafer: int) -> list[Event]:
        """Return what happens just before ``wafer`` (from 1)."""
        return [event for event in self.events if event.wafer == wafer]


def plan_lot(
    rig: Rig,
    wafers: int,
    *,
    conditioning: bool = True,
    adjust: bool = False,
    events: tuple[Event, ...] = (),
    handling_time: float = HANDLING_TIME,
    workers: int = 1,
    cells: int = CELLS,
) -> LotPlan:
    """Work out what is fixed for a lot.

    Parameters
    ----------
    rig
        The setup in SI.
    wafers
        How many.
    conditioning
        False switches all conditioning off.
    adjust
        Whether the longest step is adjusted from wafer to wafer.
    events
        What happens between wafers, in order.
    handling_time
        Between wafers [s].
    workers
        Threads that build the pad's elastic operators.
    cells
        Wafer nodes of the pressure solution.

    Returns
    -------
    LotPlan
        For ``advance``.

    Raises
    ------
    ModelError
        For a step without pressure, or values without a solution.
    """
    for step in rig.steps:
        if not np.max(step.zone_pressures) > 0:
            raise ModelError(
                refuse(f"step {step.name}: zone pressures", "all 0", "above 0 in one zone at least")
            )
    model = prepare(rig, cells=cells)
    grid = model.grid
    rings = pad_rings(rig, grid)
    highest = max(float(np.max(step.zone_pressures)) for step in rig.steps)
    land = summit_land(rig, rig.pad.grooves.depth, model.land)
    summits = plan_summits(rig, rings, grid.areas, max(highest, 1e3) / land)
    disc = counted(grid.r, grid.areas, rig.wafer.radius - rig.wafer.edge_exclusion)
    track = grid.areas @ rings.to_wafer / grid.areas.sum()
    cuts = [cut_rates(rig, rings, step) if conditioning else np.zeros(track.size) for step in rig.steps]
    times = [planned_time(step) for step in rig.steps]
    worn_states, operators = _operators(rig, model, max(float(np.max(cut)) for cut in cuts), workers)
    ring = _ring_wear(rig, wafers * sum(times))
    if ring is not None:
        operators = [*operators, *(_worn_ring(rig, gained, cells) for gained in ring.gained[1:].tolist())]
    ring_pressed = [back_load(rig, step, model).ring > 0 for step in rig.steps]
    steps = tuple(
        _plan_lot_step(rig, step, model, rings, operators, summits, cut, conditioning=conditioning)
        for step, cut in zip(rig.steps, cuts, strict=True)
    )
    through, base = platen_path(rig)
    conductance, sink = heat.combined_sink([through, rig.ambient.air_loss], [base, rig.ambient.temperature])
    return LotPlan(
        rig=rig,
        conditioning=conditioning,
        adjust=adjust,
        events=events,
        handling_time=handling_time,
        model=model,
        rings=rings,
        summits=summits,
        counted=disc,
        weights=disc.weights,
        heights=height_map(rig, rings, grid.r),
        softens=softens(rig),
        track=track,
        uneven=turning_past(rig, model),
        ring=ring,
        under=track > 1e-3 * track.max(),
        pads={pressed: worn_pad(operators, model.plate, pressed) for pressed in set(ring_pressed)},
        worn_states=worn_states,
        between=Interpolation(worn_states),
        steps=steps,
        incoming=np.stack([mean_profile(film, grid.r) for film in rig.wafer.films]),
        disk=disk_work(rig),
        ex_situ_cut=cuts[int(np.argmax(times))],
        rest_rate=float(conductance) / steps[0].fixed.heat_capacity,
        rest_sink=float(sink),
    )


def _ring_wear(rig: Rig, time: float) -> RingWear | None:
    """Return how the ring's gap widens in a lot of ``time`` [s] of polishing; its outer edge stays where it is."""
    ring = rig.head.ring
    if ring is None or ring.gap_wear_rate == 0.0:
        return None
    most = ring.gap_wear_rate * time
    if most >= ring.width:
        raise ModelError(
            refuse("ring gap gained in the lot [m]", most, f"less than the ring's width, {ring.width:g}",
                   "ask for fewer wafers, or lower head.ring.gap_wear_rate")
        )  # fmt: skip
    # the same places however long the lot is: a wafer's answer must not depend on how many follow
    gained = GAP_STATES * 2.0 ** np.arange(1 + max(0, ceil(log2(most / GAP_STATES))))
    return RingWear(ring.gap_wear_rate, np.append(0.0, np.unique(np.minimum(gained, 0.99 * ring.width))))


def _worn_ring(rig: Rig, gained: float, cells: int) -> PadOperator:
    """Return the new pad's operator where the gap beside the wafer has gained so much [m]."""
    ring = rig.head.ring
    assert ring is not None  # one that wears
    worn = replace(ring, gap=ring.gap + gained, width=ring.width - gained)
    return prepare(replace(rig, head=replace(rig.head, ring=worn)), cells=cells).operator


def planned_time(step: Step) -> float:
    """Return the longest time [s] that a step of the recipe takes."""
    return step.stop_value if step.stop == "time" else step.max_time


def _operators(
    rig: Rig, model: ContactModel, fastest: float, workers: int
) -> tuple[Array, list[PadOperator]]:
    """Return the worn states [m] and the elastic operators at them; one alone where no disk cuts."""
    grooves, top = rig.pad.grooves, rig.pad.layers[0].thickness
    most = min(grooves.depth, 0.9 * top) if grooves.pattern != "none" and grooves.depth > 0 else 0.6 * top
    if fastest <= 0.0:
        return np.array([0.0]), [model.operator]
    worn = most * np.linspace(0.0, 1.0, STATES)

    def build(state: float) -> PadOperator:
        layers = pad_layers(rig, max(grooves.depth - state, 0.0), top - state)
        return pad_operator(model.grid, layers, rig.polisher.base())

    with ThreadPoolExecutor(max_workers=workers) as pool:
        return worn, [model.operator, *pool.map(build, worn[1:].tolist())]


def _plan_lot_step(
    rig: Rig,
    step: Step,
    model: ContactModel,
    rings: PadRings,
    operators: list[PadOperator],
    summits: SummitPlan,
    cut: Array,
    *,
    conditioning: bool,
) -> LotStep:
    """Work out what ``step`` fixes; ``operators`` of the pad's worn states, ``cut`` (n,) [m/s] of a sharp disk."""
    plan = plan_step(rig, step, model, rings, conditioning=conditioning)
    back = back_load(rig, step, model)
    series = series_step(operators, model.plate, back.load, back.ring)
    fresh = fresh_state(rig, model.summits, rings.middles.size)
    first = contact_pressure(rig, step, model, fresh)
    pressure = np.concatenate([first.pressure, first.ring_pressure])[: series.load.size]
    group_seen = summits.groups.seen[:, : plan.all_speed.size]
    safe = np.maximum(group_seen.sum(axis=1), 1e-12)
    nominal = np.concatenate([back.load, np.full(plan.all_speed.size - back.load.size, back.ring)])
    disk = rig.conditioner
    share = 0.0 if disk is None else plan.disk_width / disk.disk_radius
    return LotStep(
        fixed=plan,
        back=back,
        series=series,
        begin=begin(series, pressure),
        with_ring=back.ring > 0,
        group_nominal=group_seen @ nominal / safe,
        group_seen=group_seen / safe[:, None],
        group_sliding=group_seen @ plan.all_speed * summits.groups.duty,
        cut=cut * share,
        disk_share=share,
        grid=_time_grid(rig),
        heating=expected_heating(rig, plan, back),
        most=RUN_TO_RUN_MOST * step.stop_value if step.stop == "time" else step.max_time,
    )


def _time_grid(rig: Rig) -> Array:
    """Times from 0 to 1, closer at the start, where the pad warms up."""
    laws = [rig.removal[film.material] for film in rig.wafer.films]
    energy = max(
        law.activation_energy + law.coefficients.get(LAWS.get(law.law).activation, 0.0) for law in laws
    )
    return np.linspace(0.0, 1.0, GRID[energy >= STRONG] + 1) ** 2
