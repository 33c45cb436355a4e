"""What does a wafer cost? Lives, slurry and time of a lot, at the prices that the setup gives; nothing is assumed.

Consumables are shared out over the wafers that they last, slurry over what flows, the machine over the time that it is
kept. Wafers that monitor a new pad wear and cost as product does, and product bears it. The sums are those of
:mod:`planish.cost.sheet`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from planish.cost.items import Item
from planish.cost.lives import Lives
from planish.cost.result import WaferCost
from planish.cost.sheet import SOURCES, sheet
from planish.cost.used import used
from planish.predict.lot.advance import WornThroughError
from planish.predict.lot.plan import HANDLING_TIME
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.setup.given import as_described, as_rig, asked_of
from planish.setup.si import Prices
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.results.asked import Asked
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Rig

WAFERS, MOST_WAFERS = 1000, 100_000
NOT_COUNTED = (
    "not counted unless a price is given for it: people, upkeep and floor, water, scrapped wafers; never: rework, power, waste; "
    "an hour's price may hold what you put in"
)
ALIKE = "all platens polish as the setup's one pad does, and a stop stops the whole machine"
# What an item's amount comes from, where that is no life of its own.
ASKS = {
    "monitors": "cost.pad_wafers",
    "machine bought": "cost.machine_years",
    "water": "cost.water_flow",
    "scrap": "cost.scrapped",
}
LIMITS = (
    "lives end at the usual limits of a lot (common practice, no source); rate and uniformity are looked at in the "
    "{wafers} wafers that were polished, depths are drawn on beyond them"
)


def cost_of(
    setup: SetupLike, wafers: int = WAFERS, *, progress: Callable[[int, int], None] | None = None
) -> WaferCost:
    """Say what a wafer costs, and how many an hour the machine gives.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file; its table ``[cost]`` gives prices, lives and times.
    wafers
        Of the lot, on one pad and without chance, that shows the lives; 2 or more. Fewer where the pad wears through.
    progress
        Called now and then with (wafers done, wafers in all).

    Returns
    -------
    WaferCost
        What has no price, or no life, is left out of the sum and told.

    Raises
    ------
    SetupError
        Where more wafers monitor a pad than it lasts.
    DataError
        For a number of wafers that cannot be.
    ModelError
        For values without a solution, or a pad that wears through at once.
    """
    described = as_described(setup)
    lot = lot_of_cost(described, wafers, progress=progress)
    return cost_of_lot(lot, wafers, asked_of([described], options={"wafers": wafers}))


def lot_of_cost(
    setup: Setup | Rig, wafers: int, *, progress: Callable[[int, int], None] | None = None
) -> LotResult:
    """Return the lot that shows how long things last: on one pad, without chance.

    Parameters
    ----------
    setup
        Loaded, or its SI records.
    wafers
        Of the lot, 2 or more. Fewer come where the pad wears through.
    progress
        Called now and then with (wafers done, wafers in all).

    Raises
    ------
    PlanishError
        As :func:`cost_of`.
    """
    rig = as_rig(setup)
    as_whole(wafers, "wafers", 2, MOST_WAFERS)
    return _lot(setup, wafers, _between(rig.prices or Prices()), progress)


def cost_of_lot(lot: LotResult, wafers: int, asked: Asked | None = None) -> WaferCost:
    """Say what a wafer costs, as a lot that is there already shows it.

    Parameters
    ----------
    lot
        Of :func:`lot_of_cost`.
    wafers
        As many as it was asked for.
    asked
        The call behind the answer.

    Raises
    ------
    SetupError
        Where more wafers monitor a pad than it lasts.
    """
    rig = lot.rig
    prices = rig.prices or Prices()
    taken = used(lot, prices)
    worked = sheet(taken, prices)
    return WaferCost(
        title=rig.title,
        currency=prices.currency,
        wafers=lot.wafers,
        sheet=worked,
        notes=tuple(_notes(rig, lot, taken.lives, prices, worked.items, wafers)),
        rests_on=(*SOURCES, *lot.sources()),
        asked=asked,
    )


def _between(prices: Prices) -> float:
    return HANDLING_TIME if prices.between is None else prices.between


def _lot(
    setup: Setup | Rig, wafers: int, between: float, progress: Callable[[int, int], None] | None
) -> LotResult:
    """Return the lot, as long as was asked for or as the pad lasts."""
    while True:
        try:
            return polish_lot(
                setup, wafers, variation=Variation.none(), handling_time=between, progress=progress
            )
        except WornThroughError as worn:
            if worn.wafer < 4:
                raise
            wafers = min(wafers, worn.wafer) - 1


def _notes(
    rig: Rig, lot: LotResult, found: Lives, prices: Prices, items: tuple[Item, ...], asked: int
) -> Iterator[str]:
    keys = {"machine": "hour_price", "monitors": "monitor_price"}
    unpriced = [
        (item.name, keys.get(item.name, f"{item.name}_price")) for item in items if item.price is None
    ]
    if unpriced:
        named = ", ".join(f"{name} (cost.{key})" for name, key in unpriced)
        yield f"no price is given, so left out of the sum: {named}"
    for item in items:
        if item.price is not None and item.amount is None:
            lacks = "how much of it a wafer takes" if item.name in ASKS else "how long one lasts"
            key = ASKS.get(item.name, f"cost.{item.name}_wafers")
            yield f"{item.name}: nothing here tells {lacks}, so left out of the sum: say {key}"
    yield from _idle(rig, prices)
    if prices.between is None:
        yield f"cost.between not given: {HANDLING_TIME:g} s between wafers taken (common practice, no source)"
    changed = {"pad_change": found.pad, "disk_change": found.disk, "head_change": found.ring}
    silent = [
        f"cost.{key}"
        for key, life in changed.items()
        if life.wafers is not None and getattr(prices, key) is None
    ]
    if silent:
        yield f"times that are not given count as none: {', '.join(silent)}"
    if lot.wafers < asked:
        yield f"the pad wears through: its lot ends after {lot.wafers} of the {asked} wafers asked for"
    for cause in found.beyond:
        yield f"{cause} from the first wafer on: no matter of the pad, so it ends no pad here"
    if found.pad.drawn:
        yield (
            f"pad: not used up in {lot.wafers} wafers, its life is drawn on from their wear; rate or uniformity may leave "
            "their limits before it: a longer lot shows that"
        )
    yield LIMITS.format(wafers=lot.wafers)
    yield ALIKE
    yield NOT_COUNTED
    yield from lot.notes


def _idle(rig: Rig, prices: Prices) -> Iterator[str]:
    """Yield what is priced and not there."""
    if rig.conditioner is None and (prices.disk_price is not None or prices.disk_wafers is not None):
        yield "the setup has no conditioner: what cost says of disks counts for nothing"
    if rig.head.ring is None and (prices.ring_price is not None or prices.ring_wafers is not None):
        yield "the head has no retaining ring: what cost says of rings counts for nothing"
    if not prices.monitors and prices.monitor_price is not None:
        yield "cost.monitors not given: no wafer monitors a new pad, and its price counts for nothing"
    pairs = {
        ("failure_every", "repair"): "no unscheduled stop is counted",
        ("measured", "measure"): "no wafer is measured in the machine",
        ("water_flow", "water_price"): "water is not counted",
        ("machine_years", "machine_price"): "the machine is not written off",
        ("scrapped", "wafer_price"): "a scrapped wafer is worth nothing beyond what it cost here",
    }
    for (given, lacking), told in pairs.items():
        if getattr(prices, given) is not None and getattr(prices, lacking) is None:
            yield f"cost.{given} given, cost.{lacking} not: {told}"
