"""How many wafers pass the machine of a setup, how long do they wait, and how does its time split? As a simulation sees it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.cost.flow import Chance, Change, Passed, pass_wafers
from planish.cost.items import States
from planish.cost.pace import Station, bottleneck
from planish.cost.per_wafer import WAFERS, lot_of_cost
from planish.cost.sheet import SOURCES, WEEK, Sheet, sheet
from planish.cost.used import Used, used
from planish.engine.record import shortened
from planish.errors import DataError, refuse
from planish.results.result import Result
from planish.setup.given import as_described, asked_of
from planish.setup.si import Prices
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.results.asked import Asked
    from planish.setup.given import SetupLike

LEAST, MOST = 20, 200_000
BATCHES = 20  # into which the wafers are split for the standard error of the pace
SETTLED = 0.1  # of the wafers that leave before the pace is measured
FLOW_SOURCES = ("Discrete events: the simpy library; the bottleneck's law of a flow line, derived here",)
STILL = "times at the stations do not scatter; a wafer holds its place until the next station is free"
DRAWN = (
    "time up between unscheduled stops, and time to repair, are drawn from exponential distributions of the stated means "
    "(common practice, no source)"
)


@dataclass(frozen=True, slots=True, repr=False)
class WaferFlow(Result):
    """Wafers that passed a machine.

    Attributes
    ----------
    title
        Of the setup.
    line
        Stations.
    left
        When each wafer of product was gone [s].
    inside, waited
        Mean time of a wafer in the machine, and before it [s]; None where a wafer is always waiting.
    states
        Shares of the calendar, with the hours of a week that are no operation.
    passed
        What the simulation saw.
    expected
        The sheet of the cost, in closed form.
    arrival
        Mean time between arrivals [s]; None where a wafer is always waiting.
    """

    kind: ClassVar[str] = "flow of wafers"

    title: str
    line: tuple[Station, ...]
    left: NDArray[np.float64]
    inside: float
    waited: float | None
    states: States
    passed: Passed
    expected: Sheet
    arrival: float | None
    notes: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        return (
            f"{shortened(self.title, 60)!r}: {self.pace()[0]:.4g} wafers an hour over {self.left.size} wafers"
        )

    def pace(self) -> tuple[float, float]:
        """Return the wafers of product an hour once the machine has settled, and their standard error.

        The error is that of the means of twenty batches, one after the other.
        """
        skip = int(SETTLED * self.left.size)
        # Whole rounds of the platens, so that where the count begins in a round does not matter.
        places = max(one.places for one in self.line)
        count = (self.left.size - 1 - skip) // places * places
        mean = 3600.0 * count / float(self.left[skip + count] - self.left[skip])
        edges = self.left[np.linspace(skip, self.left.size - 1, BATCHES + 1).astype(int)]
        each = 3600.0 * ((self.left.size - 1 - skip) / BATCHES) / np.diff(edges)
        return mean, float(each.std(ddof=1) / np.sqrt(BATCHES))

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return [
            *SOURCES[1:2],
            "Discrete events: the simpy library; the bottleneck's law of a flow line, derived here",
        ]

    def _content(self) -> dict[str, Any]:
        mean, error = self.pace()
        times = self.expected.times
        foreseen = 3600.0 / times.total
        if self.arrival is not None:
            foreseen = min(foreseen, 3600.0 / self.arrival)
        return {
            "wafers_per_hour": mean,
            "wafers_per_hour_error": error,
            "expected_wafers_per_hour": foreseen,
            "wafers_per_week": mean * self.states.operating * WEEK / 3600.0,
            "cycle_s": times.cycle,
            "bottleneck": bottleneck(self.line).name,
            "in_machine_time_s": self.inside,
            "waiting_time_s": self.waited,
            "span_time_s": float(self.left[-1]),
            "product": self.left.size,
            "monitors": self.passed.monitors,
            "changes": self.passed.changes,
            "stops": self.passed.stops,
            "states": self.states.rows(),
            "stations": [
                {
                    "station": one.name,
                    "places": one.places,
                    "stay_time_s": one.time,
                    "kept_after_time_s": one.after,
                    "busy_percent": 100.0 * busy,
                    "blocked_percent": 100.0 * blocked,
                }
                for one, busy, blocked in zip(self.line, self.passed.busy, self.passed.blocked, strict=True)
            ],
            "done_s": self.left,
        }


def flow_wafers(
    setup: SetupLike,
    wafers: int = 2000,
    *,
    lot: int = WAFERS,
    arrival: float | None = None,
    stops_by_chance: bool = True,
    seed: int = 0,
    progress: Callable[[int, int], None] | None = None,
) -> WaferFlow:
    """Let wafers pass the machine of a setup, with its changes of parts and unscheduled stops.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file; its table ``[cost]`` gives stations, times and stops.
    wafers
        Of product that pass.
    lot
        Wafers of the lot that shows the lives of the parts.
    arrival
        Mean time between wafers, which then arrive each on its own [s]; None: one is always waiting.
    stops_by_chance
        Whether stops and repairs scatter; else each comes at its mean.
    seed
        Of what is drawn.
    progress
        Called now and then with (wafers done, wafers in all), of lot and flow together.

    Returns
    -------
    WaferFlow
        Pace with its error, waiting, states, stations.

    Raises
    ------
    SetupError
        As :func:`planish.cost_of`.
    DataError
        For numbers that cannot be, and for wafers that arrive faster than the machine takes them.
    ModelError
        For values without a solution.
    """
    as_whole(wafers, "wafers", LEAST, MOST)
    as_whole(seed, "seed", 0, 2**63 - 1)
    if arrival is not None and not 0 < arrival < 1e7:
        raise DataError(refuse("time between arrivals [s]", arrival, "above 0 and below 1e7"))
    described = as_described(setup)
    done = progress or (lambda now, of: None)
    shown = lot_of_cost(described, lot, progress=lambda now, of: done(now, lot + wafers))
    prices = shown.rig.prices or Prices()
    taken = used(shown, prices)
    expected = sheet(taken, prices)
    if arrival is not None and arrival <= expected.times.total:
        raise DataError(
            refuse(
                "time between arrivals [s]",
                arrival,
                f"above {expected.times.total:.4g}, which the machine takes a wafer",
                "wafers that come faster wait without end; leave it out for a machine that never waits",
            )
        )
    passed = pass_wafers(
        expected.line,
        wafers,
        changes_of(taken, prices),
        Chance(arrival, prices.failure_every, prices.repair, stops_by_chance, seed=seed),
        lambda now, of: done(lot + now, lot + wafers),
    )
    return WaferFlow(
        title=shown.rig.title,
        line=expected.line,
        left=passed.left,
        inside=float((passed.left - passed.entered).mean()),
        waited=None if arrival is None else float((passed.entered - passed.arrived).mean()),
        states=_calendar(passed, expected.states),
        passed=passed,
        expected=expected,
        arrival=arrival,
        notes=tuple(_notes(prices, arrival, stops_by_chance)),
        asked=asked_of(
            [described],
            seed=seed,
            options={"wafers": wafers, "lot": lot, "arrival": arrival, "stops_by_chance": stops_by_chance},
        ),
    )


def changes_of(taken: Used, prices: Prices) -> tuple[Change, ...]:
    """Return the changes of parts that stop a machine.

    Parameters
    ----------
    taken
        With the lives.
    prices
        With the times of changes, and the monitors of a new pad.

    Returns
    -------
    tuple[Change, ...]
        Those that take time or monitors.
    """
    found = taken.lives
    rows = (
        ("pad", found.pad.wafers, (prices.pad_change or 0.0) + taken.break_in, prices.monitors or 0),
        ("disk", found.disk.wafers, prices.disk_change or 0.0, 0),
        ("ring", found.ring.wafers, prices.head_change or 0.0, 0),
        ("membrane", found.membrane.wafers, prices.head_change or 0.0, 0),
    )
    return tuple(
        Change(name, life, time, monitors)
        for name, life, time, monitors in rows
        if life is not None and (time or monitors)
    )


def _calendar(passed: Passed, planned: States) -> States:
    """Return shares of the calendar: what was seen fills what is left for operation."""
    whole = sum(passed.states.values())
    share = {number: planned.operating * time / whole for number, time in passed.states.items()}
    return States(share[1], share[2], planned.engineering, share[4], share[5], planned.non_scheduled)


def _notes(prices: Prices, arrival: float | None, by_chance: bool) -> list[str]:
    told = [STILL]
    if prices.failure_every is None or not prices.repair:
        told.append("no unscheduled stops: the setup gives no cost.failure_every and cost.repair")
    else:
        told.append(
            DRAWN if by_chance else "unscheduled stops come at their mean, each as long as the mean repair"
        )
    told.append(
        "a wafer is always waiting to be loaded"
        if arrival is None
        else "wafers arrive each on its own, the gaps drawn from an exponential distribution"
    )
    told.append("wafers inside the machine go on where they stood when a stop is over; none is lost by it")
    return told
