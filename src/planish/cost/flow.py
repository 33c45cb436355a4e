r"""Wafers pass a machine one by one: a simulation of its stations, of changes of parts and of stops that chance brings.

Discrete events (the simpy library keeps the calendar). A wafer holds its place at a station until the next one has a place
for it, so that a slow cleaner blocks the platens. A platen is kept beyond the wafer by exchange or conditioning. Pads, disks,
rings and membranes are changed after as many wafers as they last, each change followed by its monitors; meanwhile, and while it
is repaired, the whole machine stands still and goes on where it stopped. Time up between unscheduled stops and time to repair
are drawn from exponential distributions (the usual assumption for want of better: common practice, no source), or taken at
their means.

The state of the machine at any time is the first that holds: unscheduled down; scheduled down (a change, or its monitors
under way); productive (a wafer inside); standby.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.cost.pace import Station

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Process = Generator[Any, Any, None]

PRODUCTIVE, STANDBY, SCHEDULED, UNSCHEDULED = 1, 2, 4, 5  # as equipment states are numbered


@dataclass(frozen=True, slots=True)
class Change:
    """A part that is changed: after so many wafers, in a time [s], with monitors before product goes on."""

    name: str
    wafers: int
    time: float
    monitors: int = 0


@dataclass(frozen=True, slots=True)
class Chance:
    """What scatters.

    Attributes
    ----------
    arrival
        Mean time between wafers that arrive, each on its own [s]; None where one is always waiting.
    failure_every, repair
        Mean time up between unscheduled stops, and mean time of one [s]; None for none.
    stops
        Whether stops come by chance; else each at its mean.
    times
        Whether times at the stations are drawn from an exponential distribution; else each is as it says.
    seed
        Of all draws.
    """

    arrival: float | None = None
    failure_every: float | None = None
    repair: float | None = None
    stops: bool = True
    times: bool = False
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Passed:
    """What a simulation saw.

    Attributes
    ----------
    arrived, entered, left
        Times of each wafer of product, in the order of leaving [s]: at the machine, at its first station, gone.
    states
        Time in each state by its number, up to the last wafer [s].
    busy, blocked
        Share of the time of its places that a station works (or is made ready), and that a finished wafer waits there.
    monitors, stops, changes
        How many there were.
    """

    arrived: NDArray[np.float64]
    entered: NDArray[np.float64]
    left: NDArray[np.float64]
    states: dict[int, float]
    busy: tuple[float, ...]
    blocked: tuple[float, ...]
    monitors: int
    stops: int
    changes: int


def pass_wafers(
    line: tuple[Station, ...],
    wafers: int,
    changes: tuple[Change, ...] = (),
    chance: Chance = Chance(),
    progress: Callable[[int, int], None] | None = None,
) -> Passed:
    """Let wafers pass a line of stations.

    Parameters
    ----------
    line
        Stations in the order of a wafer.
    wafers
        Of product, until which it goes on.
    changes
        Of parts, counted over the wafers that leave the first visit to a platen, monitors among them.
    chance
        What scatters.
    progress
        Called now and then with (wafers done, wafers in all).

    Returns
    -------
    Passed
        The same for the same seed.
    """
    machine = _Machine(line, wafers, changes, chance, progress)
    machine.env.run(until=machine.done)
    return machine.told()


class _Machine:
    """The machine at work: what stands in the calendar, and what is counted."""

    def __init__(
        self,
        line: tuple[Station, ...],
        wafers: int,
        changes: tuple[Change, ...],
        chance: Chance,
        progress: Callable[[int, int], None] | None,
    ) -> None:
        import simpy

        self.env = simpy.Environment()
        self.line, self.wafers, self.changes, self.chance, self.progress = (
            line,
            wafers,
            changes,
            chance,
            progress,
        )
        # A stream each, so that what is drawn for one thing moves nothing else.
        seeds = np.random.SeedSequence(chance.seed).spawn(3)
        self.arrivals, self.services, self.failures = (np.random.default_rng(one) for one in seeds)
        self.places = [simpy.Resource(self.env, one.places) for one in line]
        self.counted = next((at for at, one in enumerate(line) if one.platen), 0)
        self.mending = simpy.Resource(self.env, 1)
        self.up, self.down = self.env.event(), self.env.event()
        self.up.succeed()
        self.is_up = True
        self.done = self.env.event()
        self.rows: list[tuple[float, float, float]] = []
        self.busy, self.blocked = [0.0] * len(line), [0.0] * len(line)
        self.inside = self.polished = self.sent = self.monitors = self.stops = self.changed = 0
        self.owed = self.checking = self.failed = self.changing = 0
        self.shares = [0.0] * len(line)
        self.state, self.since = STANDBY, 0.0
        self.spent = dict.fromkeys((PRODUCTIVE, STANDBY, SCHEDULED, UNSCHEDULED), 0.0)
        self.env.process(self._feed())
        if chance.failure_every and chance.repair:
            self.env.process(self._fail(chance.failure_every, chance.repair))

    def _clock(self) -> None:
        """Note how long the machine was in the state that may now end."""
        self.spent[self.state] += self.env.now - self.since
        self.since = self.env.now
        if self.failed:
            self.state = UNSCHEDULED
        elif self.changing or self.checking or self.owed:
            self.state = SCHEDULED
        else:
            self.state = PRODUCTIVE if self.inside else STANDBY

    def _feed(self) -> Process:
        """Bring wafers: as they arrive, or whenever the first station is free; monitors that are owed go first."""
        gaps: Iterator[float] = repeat(0.0)
        if self.chance.arrival is not None:
            mean = self.chance.arrival
            gaps = (self.arrivals.exponential(mean) for _ in repeat(None))
        for gap in gaps:
            if gap:
                yield self.env.timeout(gap)
            arrived = self.env.now
            if self.chance.arrival is not None:
                self.env.process(self._wafer(arrived, None))
                continue
            first = self.places[0].request()
            yield first
            self.env.process(self._wafer(self.env.now, first))

    def _wafer(self, arrived: float, held: Any) -> Process:
        """Take one wafer through the line."""
        if held is None:
            held = self.places[0].request()
            yield held
        monitor = self.owed > 0
        if monitor:
            self.owed -= 1
            self.checking += 1
            self.monitors += 1
        entered, previous = self.env.now, 0
        self.inside += 1
        self._clock()
        for at, station in enumerate(self.line):
            if at:
                if not self._stops_at(at, station):
                    continue
                finished = self.env.now
                wanted = self.places[at].request()
                yield wanted
                self.blocked[previous] += self.env.now - finished
                self._let_go(previous, held)
                held = wanted
            previous = at
            yield from self._work(at, station.time)
            if at == self.counted:
                self._count()
        self._let_go(previous, held)
        self.inside -= 1
        self.checking -= monitor
        self._clock()
        if monitor and self.chance.arrival is not None:
            # What came as product is still to be done: a monitor took its turn.
            self.env.process(self._wafer(arrived, None))
        elif not monitor:
            self._left(arrived, entered)

    def _stops_at(self, at: int, station: Station) -> bool:
        """Return whether this wafer stops there: as many of all as the station's share says, evenly."""
        self.shares[at] += station.share
        if self.shares[at] < 1.0 - 1e-9:
            return False
        self.shares[at] -= 1.0
        return True

    def _left(self, arrived: float, entered: float) -> None:
        self.rows.append((arrived, entered, self.env.now))
        count = len(self.rows)
        if self.progress is not None and count % 100 == 0:
            self.progress(count, self.wafers)
        if count == self.wafers:
            self.done.succeed()

    def _let_go(self, at: int, held: Any) -> None:
        """Free the place of a wafer that is gone, once it is ready for the next."""
        if self.line[at].after:
            self.env.process(self._ready(at, held))
        else:
            self.places[at].release(held)

    def _ready(self, at: int, held: Any) -> Process:
        yield from self._work(at, self.line[at].after)
        self.places[at].release(held)

    def _work(self, at: int, time: float) -> Process:
        """Work for a time, which stands still while the machine does."""
        left = self.services.exponential(time) if self.chance.times and time else time
        self.busy[at] += left
        while True:
            if not self.is_up:
                yield self.up
                continue
            began, down = self.env.now, self.down
            yield self.env.timeout(left) | down
            if not down.triggered or self.env.now - began >= left:
                return
            left -= self.env.now - began

    def _count(self) -> None:
        """Count a wafer that was polished, and change what has done its wafers."""
        self.polished += 1
        for change in self.changes:
            if self.polished % change.wafers == 0:
                # Its monitors are the next wafers that come in, even those that come while it is still changed.
                self.changing += 1
                self.owed += change.monitors
                self.env.process(self._change(change))

    def _change(self, change: Change) -> Process:
        with self.mending.request() as turn:
            yield turn
            self._stop()
            yield self.env.timeout(change.time)
            self.changing -= 1
            self.changed += 1
            self._go()

    def _fail(self, every: float, repair: float) -> Process:
        draw = self.failures.exponential if self.chance.stops else float
        while True:
            yield from self._while_up(draw(every))
            with self.mending.request() as turn:
                yield turn
                self.failed = 1
                self._stop()
                yield self.env.timeout(draw(repair))
                self.failed = 0
                self.stops += 1
                self._go()

    def _while_up(self, left: float) -> Process:
        """Wait for a time that counts only while the machine is up."""
        while True:
            if not self.is_up:
                yield self.up
                continue
            began, down = self.env.now, self.down
            yield self.env.timeout(left) | down
            if not down.triggered:
                return
            left = max(left - (self.env.now - began), 0.0)

    def _stop(self) -> None:
        self.is_up = False
        self.up = self.env.event()
        self._clock()
        self.down.succeed()

    def _go(self) -> None:
        self.is_up = True
        self.down = self.env.event()
        self._clock()
        self.up.succeed()

    def told(self) -> Passed:
        self._clock()
        whole = self.env.now
        arrived, entered, left = np.array(self.rows).T
        per_place = [whole * one.places for one in self.line]
        return Passed(
            arrived=arrived,
            entered=entered,
            left=left,
            states=self.spent,
            busy=tuple(min(one / of, 1.0) for one, of in zip(self.busy, per_place, strict=True)),
            blocked=tuple(one / of for one, of in zip(self.blocked, per_place, strict=True)),
            monitors=self.monitors,
            stops=self.stops,
            changes=self.changed,
        )
