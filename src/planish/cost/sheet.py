r"""The sheet of a cost: what a wafer uses up and the time that it takes, at prices. Pure sums; no model, no setup.

The structure is that of cost of ownership: fixed costs (the machine), recurring ones (what is used up, people, upkeep) and
what is lost in yield, shared out over the wafers of product, and once more over the good ones among them:

    a good wafer = (fixed + recurring + lost)/(wafers of product x (1 - share scrapped)).

Time is split as equipment states are: productive, standby, engineering, scheduled down, unscheduled down, non-scheduled.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planish.cost.items import Item, States, Times
from planish.cost.pace import Station, bottleneck, stations
from planish.errors import SetupError, refuse
from planish.predict.lot.plan import HANDLING_TIME

if TYPE_CHECKING:
    from planish.cost.used import Used
    from planish.setup.si import Prices

SOURCES = (
    "Cost of ownership, all that is paid over the life of the machine over the good parts made: Ragona, SPIE 10313, after "
    "SEMI E35 (read, its abstract)",
    "Which costs are fixed, recurring or lost in yield: common practice, no source",
    "Equipment states after SEMI E10: OPC 40100-1, 12.21 (read)",
    "Cost of a wafer: prices shared out over lives, flow and time, derived here",
)
LITRE = 1e-3  # [m^3]
HOUR = 3600.0  # [s]
WEEK = 168 * HOUR  # [s]
YEAR = 365.25 * 24 * HOUR  # [s]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A cost worked out.

    Attributes
    ----------
    items
        In the order of a machine.
    times
        Of the machine for a wafer of product.
    states
        Of the machine over a week.
    line
        Its stations.
    slurry
        For a wafer of product [m^3].
    scrapped
        Share of the wafers of product.
    """

    items: tuple[Item, ...]
    times: Times
    states: States
    line: tuple[Station, ...]
    slurry: float
    scrapped: float

    @property
    def total(self) -> float | None:
        """Sum of what is known; None where nothing has a price."""
        known = [item.cost for item in self.items if item.cost is not None]
        return sum(known) if known else None


def sheet(used: Used, prices: Prices) -> Sheet:
    """Work out a cost.

    Parameters
    ----------
    used
        What a wafer uses up.
    prices
        With lives and times that the setup states.

    Returns
    -------
    Sheet
        For a wafer of product.

    Raises
    ------
    SetupError
        Where more wafers monitor a pad than it lasts, where platens and visits do not go together, or where nothing of the
        week is left to polish in.
    """
    product = _product_share(prices, used)
    exchange = HANDLING_TIME if prices.between is None else prices.between
    line = stations(used.polish, exchange, used.conditioning, prices)
    times = _times(used, prices, line, exchange, product)
    states = _states(prices, times)
    slurry = used.slurry / product
    items = tuple(_items(used, prices, times, states, slurry, exchange, product))
    return Sheet(items, times, states, line, slurry, prices.scrapped or 0.0)


def _product_share(prices: Prices, used: Used) -> float:
    """Return which share of the wafers that are polished is product and no monitor."""
    pad = used.lives.pad
    if not prices.monitors or pad.wafers is None:
        return 1.0
    if prices.monitors >= pad.wafers:
        raise SetupError(
            refuse(
                "cost.monitors",
                prices.monitors,
                f"fewer than the {pad.wafers} wafers that a pad lasts ({pad.end})",
                "monitor less, or look at what ends the pad: planish lot",
            )
        )
    return 1.0 - prices.monitors / pad.wafers


def _times(used: Used, prices: Prices, line: tuple[Station, ...], exchange: float, product: float) -> Times:
    platens, visits, cycle = prices.platens or 1, prices.visits or 1, bottleneck(line).kept
    polish = used.polish / platens
    # What the platens take beside polishing; more where another station is slower than they are.
    beside = visits * ((prices.rinse or 0.0) + max(exchange, used.conditioning)) / platens
    found = used.lives
    changes = (
        (found.pad.wafers, (prices.pad_change or 0.0) + used.break_in),
        (found.disk.wafers, prices.disk_change or 0.0),
        (found.ring.wafers, prices.head_change or 0.0),
        (found.membrane.wafers, prices.head_change or 0.0),
    )
    changing = sum(time / life for life, time in changes if life is not None)
    monitors = cycle * (1.0 / product - 1.0)
    stopped = 0.0
    if prices.failure_every and prices.repair:
        stopped = (cycle + monitors) * prices.repair / prices.failure_every
    return Times(
        polish=polish,
        between=beside,
        waiting=max(cycle - polish - beside, 0.0),
        monitors=monitors,
        changes=changing / product,
        failures=stopped,
    )


def _states(prices: Prices, times: Times) -> States:
    engineering, idle = prices.engineering or 0.0, prices.idle or 0.0
    left = WEEK - engineering - idle
    if left <= 0:
        raise SetupError(
            refuse(
                "cost.engineering and cost.idle",
                f"{(engineering + idle) / HOUR:g} h",
                "below the 168 h of a week together",
                "something must be left to polish in",
            )
        )
    share = left / WEEK / times.total
    return States(
        productive=share * times.cycle,
        standby=0.0,
        engineering=engineering / WEEK,
        scheduled_down=share * (times.monitors + times.changes),
        unscheduled_down=share * times.failures,
        non_scheduled=idle / WEEK,
    )


def _items(
    used: Used,
    prices: Prices,
    times: Times,
    states: States,
    slurry: float,
    exchange: float,
    product: float,
) -> Iterator[Item]:
    """Yield what a wafer uses up, in the order of a machine."""
    there = {"pad": True, "disk": used.disk, "ring": used.ring, "membrane": True}
    for name in (name for name, has in there.items() if has):
        life = getattr(used.lives, name)
        share = None if life.wafers is None else 1.0 / (life.wafers * product)
        yield Item(name, getattr(prices, f"{name}_price"), share, life.wafers, life.end)
    yield Item("slurry", prices.slurry_price, slurry / LITRE)
    if prices.water_price is not None:
        wet = (prices.visits or 1) * ((prices.rinse or 0.0) + exchange)
        water = None if prices.water_flow is None else prices.water_flow * wet / product / LITRE
        yield Item("water", prices.water_price, water)
    if prices.monitors:
        known = used.lives.pad.wafers is not None
        yield Item("monitors", prices.monitor_price, 1.0 / product - 1.0 if known else None)
    if prices.hour_price is not None or prices.machine_price is None:
        yield Item("machine", prices.hour_price, times.total / HOUR, group="fixed")
    yield from _by_the_clock(prices, times, states)
    if prices.wafer_price is not None:
        yield Item("scrap", prices.wafer_price, prices.scrapped, group="yield")


def _by_the_clock(prices: Prices, times: Times, states: States) -> Iterator[Item]:
    """Yield what is paid by the hour or the year: a week's worth over a week's wafers."""
    whole = times.total / states.operating  # of the calendar, for a wafer
    if prices.machine_price is not None:
        wafers = None if prices.machine_years is None else prices.machine_years * YEAR / whole
        yield Item(
            "machine bought",
            prices.machine_price,
            None if wafers is None else 1.0 / wafers,
            None if wafers is None else int(wafers),
            "" if wafers is None else f"written off in {prices.machine_years:g} years",
            group="fixed",
        )
    if prices.upkeep_price is not None:
        yield Item("upkeep", prices.upkeep_price, whole / YEAR)
    if prices.labour_price is not None:
        yield Item("labour", prices.labour_price, whole * (1.0 - states.non_scheduled) / HOUR)
