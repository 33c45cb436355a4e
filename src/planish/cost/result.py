"""The cost of a wafer: what is used up, what it costs, and how long the machine is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from planish.engine.record import shortened
from planish.results.result import Result

if TYPE_CHECKING:
    from planish.results.asked import Asked


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a wafer uses up.

    ``price`` of one of it (a litre of slurry, an hour of the machine), None where none is given; ``amount`` of it for a
    wafer of product, None where nothing tells; ``life`` in wafers polished, and what ends it.
    """

    name: str
    price: float | None
    amount: float | None
    life: int | None = None
    end: str = ""

    @property
    def cost(self) -> float | None:
        """What a wafer of product bears; None where price or amount are not known."""
        return None if self.price is None or self.amount is None else self.price * self.amount


@dataclass(frozen=True, slots=True)
class Times:
    """What one wafer of product takes [s]: its own, that of the monitors, that of changes and breaking-in."""

    polish: float
    between: float
    monitors: float
    changes: float

    @property
    def total(self) -> float:
        """All of it [s]."""
        return self.polish + self.between + self.monitors + self.changes


@dataclass(frozen=True, slots=True, repr=False)
class WaferCost(Result):
    """What a wafer of product costs.

    ``wafers`` of the lot that showed the lives; ``slurry`` [m^3] for a wafer of product; ``currency`` "" where the setup
    does not name it.
    """

    kind: ClassVar[str] = "cost of a wafer"

    title: str
    currency: str
    wafers: int
    items: tuple[Item, ...]
    times: Times
    slurry: float
    notes: tuple[str, ...]
    rests_on: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        cost = self.total
        money = "no price given" if cost is None else f"{cost:.4g} {self.currency}".strip() + " a wafer"
        return f"{shortened(self.title, 60)!r}: {money}, {3600 / self.times.total:.3g} wafers an hour"

    @property
    def total(self) -> float | None:
        """The sum of what is known; None where nothing has a price."""
        known = [item.cost for item in self.items if item.cost is not None]
        return sum(known) if known else None

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(self.rests_on)

    def _content(self) -> dict[str, Any]:
        """Return the sum, what the wafer takes, the lives, and a row an item with its share."""
        lives = {item.name: item for item in self.items if item.name not in ("slurry", "monitors", "machine")}
        times = self.times
        return {
            "wafer_cost": self.total,
            "currency": self.currency,
            "throughput_per_h": 3600.0 / times.total,
            "machine_time_s": times.total,
            "polish_time_s": times.polish,
            "between_time_s": times.between,
            "monitors_time_s": times.monitors,
            "changes_time_s": times.changes,
            "slurry_ml": 1e6 * self.slurry,
            **{f"{name}_life_wafers": item.life for name, item in lives.items()},
            **{f"{name}_end": item.end for name, item in lives.items() if item.end},
            "wafers": self.wafers,
            "items": self.rows(),
        }

    def rows(self) -> list[dict[str, object]]:
        """Return a row an item: price, life in wafers and its end, cost for a wafer, share of the sum."""
        total = self.total
        return [
            {
                "item": item.name,
                "price": item.price,
                "life_wafers": item.life,
                "end": item.end,
                "cost": item.cost,
                "share_percent": None if item.cost is None or not total else 100 * item.cost / total,
            }
            for item in self.items
        ]
