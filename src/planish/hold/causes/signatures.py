"""What each way of changing does to the figures of the wafers, by polishing with it: differences of two lots, nothing typed in.

The lot of the setup, with its pad and disk changes and without chance, is followed once. A change of pressure, slurry or film
acts at once: the wafer is polished again, with it, on the pad as it then is. A change of pad or disk adds up: the lot is
followed again from the wafer since which it is changed. Between onsets that were followed so, the course since the onset is
taken from the last one before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import PlanishError
from planish.hold.causes.ways import Way, ways_of
from planish.predict.lot.advance import advance
from planish.predict.lot.plan import LotPlan, plan_lot
from planish.predict.lot.state import LotState, first_state
from planish.predict.lot.variation import Chance

if TYPE_CHECKING:
    from collections.abc import Callable

    from planish.hold.causes.seen import Rings
    from planish.predict.lot.events import Event
    from planish.predict.lot.row import Row
    from planish.setup.si import Rig

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
PLAIN = Chance(1.0, 0.0, 1.0, 1.0, 1.0)
ANCHORS = 5  # wafers at which what acts at once is looked at
FOLLOWED = 6  # onsets that a lasting change is followed from, beside those at a change of parts
ASIDE = ("time", "temperature", "friction", "groove")
"""Figures beside the rings, in order: ``groove`` is the mean groove depth [um]."""


@dataclass(frozen=True, slots=True, repr=False)
class Course(Record):
    """When the wafers were polished, and what happened.

    Attributes
    ----------
    at
        (wafers,): which wafer of the lot each measured one is, from 0.
    events
        Of the lot.
    window
        Index of the first measured wafer at which a change may have begun.
    """

    at: Whole
    events: tuple[Event, ...]
    window: int

    def changes(self, kind: str) -> dict[int, int]:
        """Return at which measured wafer (from 0, in the window) each change of a part shows first, and its lot wafer."""
        found: dict[int, int] = {}
        for event in self.events:
            if event.kind == kind:
                row = int(np.searchsorted(self.at, event.wafer - 1))
                if self.window <= row < self.at.size:
                    found[row] = event.wafer - 1
        return found


@dataclass(frozen=True, slots=True, repr=False)
class Shapes(Record):
    """What changes do to the figures.

    Attributes
    ----------
    ways
        All that were followed.
    nominal
        (wafers, figures): the lot without a change.
    way, onset
        (K,): of each shape the number of its way, and the measured wafer since which it acts.
    shape
        (wafers, figures, K): what a size of 1 does.
    prior
        (K,): share of each shape before the data; all sum to 1.
    directions
        (3, figures): what a film thicker by its own thickness, one of a bowl as high, and a rate higher by itself do.
    said
        What could not be followed.
    """

    ways: tuple[Way, ...]
    nominal: Array
    way: Whole
    onset: Whole
    shape: Array
    prior: Array
    directions: Array
    said: tuple[str, ...]


class Follower:
    """The lot of a setup as the gauge sees it."""

    def __init__(self, rig: Rig, course: Course, rings: Rings, *, torque: bool, cells: int) -> None:
        self.rig, self.course, self.rings, self.torque, self.cells = rig, course, rings, torque, cells
        self.wafers = int(course.at[-1]) + 1
        self.plan = plan_lot(rig, self.wafers, events=course.events, cells=cells)
        self.states: list[LotState] = []
        state, rows = first_state(self.plan), []
        for _ in range(self.wafers):
            self.states.append(state)
            state, row = advance(state, self.plan, PLAIN)
            rows.append(self.figures(self.plan, row))
        self.nominal = np.stack(rows)

    def planned(self, rig: Rig, *, new_pad: bool = False) -> LotPlan:
        """Return the plan of a changed setup; its pad's summits are those that there are unless a new pad brings others.

        Parameters
        ----------
        rig
            The changed setup.
        new_pad
            Whether the change came with a pad.
        """
        plan = plan_lot(rig, self.wafers, events=self.course.events, cells=self.cells)
        # The heights at which summits are followed go with the highest pressure: a pad in use keeps its own.
        return plan if new_pad else replace(plan, summits=self.plan.summits)

    def figures(self, plan: LotPlan, row: Row, chance: Chance = PLAIN) -> Array:
        """Return the figures (2 rings + 4,) of a wafer.

        Parameters
        ----------
        plan
            Of its lot.
        row
            What became of it.
        chance
            It met: the films that came in.
        """
        grid = plan.model.grid.r
        bow = 1.0 + chance.bow * (2.0 * (grid / plan.rig.wafer.radius) ** 2 - 1.0)
        incoming = plan.incoming.sum(axis=0) * chance.incoming * bow
        rings = [
            np.interp(self.rings.radius, grid, 1e9 * each) for each in (incoming, incoming - row.removed)
        ]
        friction = row.friction
        if self.torque:
            loads = np.array([_load(plan.rig, step) for step in range(len(plan.rig.steps))])
            friction = float(np.array(row.step_time) * loads @ np.array(row.step_friction)) / row.time
        aside = [100 * np.log(max(row.time, 1e-9)), row.temperature, 100 * np.log(max(friction, 1e-12)),
                 1e6 * row.groove_mean]  # fmt: skip
        return np.concatenate([*rings, aside])

    def at_once(self, plan: LotPlan, chance: Chance = PLAIN) -> Array:
        """Return what a plan or a chance does at once to the measured wafers (wafers, figures).

        Parameters
        ----------
        plan
            Under which each is polished, on the pad of the lot as it was.
        chance
            That each meets.
        """
        at = self.course.at
        picked = np.unique(at[np.linspace(0, at.size - 1, min(ANCHORS, at.size)).round().astype(int)])
        found = []
        for wafer in picked:
            row = advance(self.states[wafer], plan, chance)[1]
            found.append(self.figures(plan, row, chance) - self.nominal[wafer])
        table = np.stack(found)
        return np.stack([np.interp(at, picked, column) for column in table.T], axis=1)

    def since(self, plan: LotPlan, wafer: int) -> Array:
        """Return what a plan does to the measured wafers (wafers, figures) where it holds since a wafer of the lot.

        Parameters
        ----------
        plan
            Of the change.
        wafer
            From which on, counted from 0.
        """
        out = np.zeros_like(self.nominal)
        state = self.states[wafer]
        for each in range(wafer, self.wafers):
            state, row = advance(state, plan, PLAIN)
            out[each] = self.figures(plan, row) - self.nominal[each]
        return out[self.course.at]


def _load(rig: Rig, number: int) -> float:
    """Return the force [N] of a step on wafer and ring."""
    step, outer = rig.steps[number], rig.head.zone_outer_radii
    areas = np.pi * np.diff(np.concatenate([[0.0], outer**2]))
    load = float(areas @ step.zone_pressures)
    if rig.head.ring is not None:
        inner = rig.wafer.radius + rig.head.ring.gap
        load += np.pi * ((inner + rig.head.ring.width) ** 2 - inner**2) * step.ring_pressure
    return load


def shapes_of(
    rig: Rig,
    course: Course,
    rings: Rings,
    *,
    torque: bool = False,
    cells: int,
    progress: Callable[[int, int], None] | None = None,
) -> Shapes:
    """Follow all changes.

    Parameters
    ----------
    rig
        The setup.
    course
        When the wafers were polished, and what happened.
    rings
        Where they were measured.
    torque
        Whether the friction is a torque.
    cells
        Wafer nodes of the pressure solution.
    progress
        Called with (ways done, ways in all).

    Returns
    -------
    Shapes
        One a way and onset.
    """
    lot = Follower(rig, course, rings, torque=torque, cells=cells)
    film = 1e-9 * float(np.mean(lot.nominal[course.at, : rings.radius.size]))
    ways = ways_of(rig, film)
    found: list[tuple[int, int, Array]] = []
    said: list[str] = []
    for number, way in enumerate(ways):
        try:
            found += [(number, onset, shape) for onset, shape in _followed(lot, way)]
        except PlanishError as error:
            said.append(f"{way.name}: not looked at, the model has no solution with it ({error})")
        if progress is not None:
            progress(number + 1, len(ways))
    of_way = np.array([each[0] for each in found], dtype=np.int64)
    onset = np.array([each[1] for each in found], dtype=np.int64)
    by_rate = lot.at_once(lot.plan, PLAIN._replace(process=1.01)).mean(axis=0) / 0.01
    by_film = lot.at_once(lot.plan, PLAIN._replace(incoming=1.01)).mean(axis=0) / 0.01
    by_bow = lot.at_once(lot.plan, PLAIN._replace(bow=0.01)).mean(axis=0) / 0.01
    return Shapes(
        tuple(ways),
        lot.nominal[course.at],
        of_way,
        onset,
        np.stack([each[2] for each in found], axis=2),
        prior_of(ways, of_way, onset, course),
        np.stack([by_film, by_bow, by_rate]),
        tuple(said),
    )


def prior_of(ways: Sequence[Way], way: Whole, onset: Whole, course: Course) -> Array:
    """Return the share of each shape before the data: causes alike, their ways alike, onsets as the parts' changes say.

    Parameters
    ----------
    ways
        All.
    way, onset
        (K,) of the shapes.
    course
        With the changes of parts.

    Returns
    -------
    Array
        (K,), summing to 1.
    """
    from planish.hold.causes.ways import AT_DISK_CHANGE, AT_PAD_CHANGE

    share = np.zeros(way.size)
    present = {ways[number].cause for number in np.unique(way)}
    for cause in present:
        mine = [number for number in np.unique(way) if ways[number].cause == cause]
        held = {"pad": AT_PAD_CHANGE, "disk": AT_DISK_CHANGE}.get(cause, 0.0)
        changed = list(course.changes(cause)) if held else []
        for number in mine:
            of = np.flatnonzero(way == number)
            at_change = np.isin(onset[of], changed)
            even = np.full(of.size, 1.0 / of.size)
            if at_change.any():
                even = (1.0 - held) * even + held * at_change / at_change.sum()
            share[of] = even / len(mine) / len(present)
    return np.asarray(share / share.sum())


def _followed(lot: Follower, way: Way) -> list[tuple[int, Array]]:
    course = lot.course
    onsets = range(course.window, course.at.size)
    if not way.lasting:
        effect = _acting(lot, way)
        return [(onset, _from(effect, onset)) for onset in onsets]
    assert way.changed is not None  # all that lasts is a change of the setup
    pads, disks = course.changes("pad"), course.changes("disk")
    begins = pads if way.only_new_pad else {**disks, **pads}
    anchors = dict(begins)
    if not way.only_new_pad:
        some = np.linspace(course.window, course.at.size - 1, FOLLOWED + 1).round().astype(int)[:-1]
        anchors |= {int(row): int(course.at[row]) for row in some if int(row) not in begins}
    if not anchors:
        return []
    plan = lot.planned(way.changed(lot.rig), new_pad=way.only_new_pad)
    effects = {row: lot.since(plan, wafer) / way.step for row, wafer in anchors.items()}
    if way.only_new_pad:
        return list(effects.items())
    out = []
    for onset in onsets:
        last = max(row for row in effects if row <= onset)
        out.append((onset, np.concatenate([np.zeros((onset, effects[last].shape[1])),
                                           effects[last][last : effects[last].shape[0] - (onset - last)]])))  # fmt: skip
    return out


def _acting(lot: Follower, way: Way) -> Array:
    """Return what a size of 1 does at once (wafers, figures)."""
    count = lot.rings.radius.size
    if way.how == "rig":
        assert way.changed is not None  # said by its kind
        return lot.at_once(lot.planned(way.changed(lot.rig))) / way.step
    if way.how == "rate":
        return lot.at_once(lot.plan, PLAIN._replace(process=1.0 + way.step)) / way.step
    if way.how == "film":
        rho = lot.plan.model.grid.r / lot.rig.wafer.radius
        shape = (np.ones_like(rho), 2 * rho**2 - 1, 6 * rho**4 - 6 * rho**2 + 1)[int(str(way.which))]
        thicker = replace(lot.plan, incoming=lot.plan.incoming * (1.0 + way.step * shape))
        return lot.at_once(thicker) / way.step
    place, kind = way.which if isinstance(way.which, tuple) else ("", "")
    nominal = lot.nominal[lot.course.at]
    reads = np.full_like(nominal, float(np.mean(nominal[:, :count]))) if kind == "shift" else nominal.copy()
    reads[:, 2 * count :] = 0.0
    if place == "after":
        reads[:, :count] = 0.0
    return reads


def _from(effect: Array, onset: int) -> Array:
    out = effect.copy()
    out[:onset] = 0.0
    return out
