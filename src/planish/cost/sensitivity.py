"""Which price, life or time does the cost of a wafer hang on most? Each moved up and down by the same share, one at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

from planish.cost.lives import Life
from planish.cost.per_wafer import WAFERS, lot_of_cost
from planish.cost.result import CONSUMABLES, WaferCost
from planish.cost.sheet import sheet
from planish.cost.used import Used, used
from planish.engine.record import shortened
from planish.errors import DataError, refuse
from planish.results.result import Result
from planish.setup.given import as_described, asked_of
from planish.setup.si import Prices

if TYPE_CHECKING:
    from planish.results.asked import Asked
    from planish.setup.given import SetupLike

LEAST, MOST = 0.001, 0.9
# Keys of the table [cost] that are no quantity to be moved by a share.
LEFT_OUT = ("currency", "platens", "visits", "monitors", *(f"{name}_wafers" for name in CONSUMABLES))


@dataclass(frozen=True, slots=True)
class Swing:
    """What the cost of a wafer is with one quantity moved down, and up; None where that cannot be."""

    name: str
    low: float | None
    high: float | None

    def width(self) -> float:
        """How far it moves the cost, or 0 where that is not known."""
        return abs(self.high - self.low) if self.low is not None and self.high is not None else 0.0


@dataclass(frozen=True, slots=True, repr=False)
class CostSensitivity(Result):
    """How far each quantity moves a cost: ``cost`` as it stands, ``share`` by which each is moved, the widest first."""

    kind: ClassVar[str] = "cost sensitivity"

    title: str
    currency: str
    total: float
    share: float
    swings: tuple[Swing, ...]
    notes: tuple[str, ...]
    rests_on: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        first = f", most by {self.swings[0].name}" if self.swings else ""
        return f"{shortened(self.title, 60)!r}: {self.total:.4g} {self.currency}".strip() + first

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(self.rests_on)

    def _content(self) -> dict[str, Any]:
        return {
            "cost_per_wafer": self.total,
            "currency": self.currency,
            "moved_percent": 100 * self.share,
            "swings": [
                {
                    "quantity": one.name,
                    "low_cost": one.low,
                    "high_cost": one.high,
                    "width_percent": 100 * one.width() / self.total,
                }
                for one in self.swings
            ],
        }


def cost_sensitivity(
    setup: SetupLike,
    share: float = 0.2,
    wafers: int = WAFERS,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> CostSensitivity:
    """Say what the cost of a wafer hangs on: prices, lives, times and slurry, each moved down and up by a share.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file, with prices in its table ``[cost]``.
    share
        By which each is moved, 0.001 to 0.9.
    wafers
        Of the lot that shows the lives.
    progress
        Called now and then with (wafers done, wafers in all).

    Returns
    -------
    CostSensitivity
        The widest first; what moves nothing is left out.

    Raises
    ------
    SetupError
        As :func:`planish.cost_of`.
    DataError
        For a share that cannot be, or a setup without any price.
    ModelError
        For values without a solution.
    """
    if not LEAST <= share <= MOST:
        raise DataError(refuse("share to move by", share, f"from {LEAST:g} to {MOST:g}", "as 0.2 for 20 %"))
    from planish.cost.per_wafer import cost_of_lot

    described = as_described(setup)
    lot = lot_of_cost(described, wafers, progress=progress)
    prices = lot.rig.prices or Prices()
    taken = used(lot, prices)
    whole: WaferCost = cost_of_lot(lot, wafers)
    if not whole.total:
        raise DataError(
            "cost_per_wafer: no price is given: must be one at least for the cost to hang on (see the keys of [cost])"
        )
    swings = [
        Swing(name, *(_total(moved(factor)) for factor in (1.0 - share, 1.0 + share)))
        for name, moved in _quantities(taken, prices)
    ]
    kept = sorted((one for one in swings if one.width() > 1e-9 * whole.total), key=lambda one: -one.width())
    return CostSensitivity(
        title=lot.rig.title,
        currency=prices.currency,
        total=whole.total,
        share=share,
        swings=tuple(kept),
        notes=(
            "one quantity is moved at a time, the others stay: a longer pad life is taken for free, as is more slurry",
            *whole.notes,
        ),
        rests_on=whole.rests_on,
        asked=asked_of([described], options={"share": share, "wafers": wafers}),
    )


Moved = Callable[[float], tuple[Used, Prices]]


def _total(given: tuple[Used, Prices]) -> float | None:
    from planish.errors import SetupError

    try:
        return sheet(*given).total
    except SetupError:  # such as fewer wafers on a pad than monitor it
        return None


def _quantities(taken: Used, prices: Prices) -> Iterator[tuple[str, Moved]]:
    """Yield what can be moved: what the model says, then each number of the table ``[cost]``."""

    def polish(factor: float) -> tuple[Used, Prices]:
        return replace(taken, polish=factor * taken.polish, slurry=factor * taken.slurry), prices

    def slurry(factor: float) -> tuple[Used, Prices]:
        return replace(taken, slurry=factor * taken.slurry), prices

    yield "polishing time, with its slurry", polish
    yield "slurry for a wafer", slurry
    for name in CONSUMABLES:
        life: Life = getattr(taken.lives, name)
        if life.wafers is not None:
            yield f"life of the {name}", _longer(taken, prices, name, life.wafers)
    for key in Prices.__slots__:
        value = getattr(prices, key)
        if key not in LEFT_OUT and value:
            yield f"cost.{key}", _dearer(taken, prices, key, value)


def _longer(taken: Used, prices: Prices, name: str, wafers: int) -> Moved:
    def moved(factor: float) -> tuple[Used, Prices]:
        life = replace(getattr(taken.lives, name), wafers=max(round(factor * wafers), 1))
        return replace(taken, lives=replace(taken.lives, **{name: life})), prices

    return moved


def _dearer(taken: Used, prices: Prices, key: str, value: float) -> Moved:
    def moved(factor: float) -> tuple[Used, Prices]:
        most = 1.0 if key in ("measured", "scrapped") else float("inf")
        changed: dict[str, Any] = {key: min(factor * value, most)}
        return taken, replace(prices, **changed)

    return moved
