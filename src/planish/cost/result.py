"""The cost of a wafer: what is used up, what it costs, and how long the machine is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from planish.cost.items import Item, Times
from planish.cost.pace import bottleneck
from planish.engine.record import shortened
from planish.results.result import Result

if TYPE_CHECKING:
    from planish.cost.sheet import Sheet
    from planish.results.asked import Asked

CONSUMABLES = ("pad", "disk", "ring", "membrane")
WEEK = 168 * 3600.0  # [s]


@dataclass(frozen=True, slots=True, repr=False)
class WaferCost(Result):
    """What a wafer of product costs.

    ``wafers`` of the lot that showed the lives; ``sheet`` with items, times and states; ``currency`` "" where the setup does
    not name it.
    """

    kind: ClassVar[str] = "cost of a wafer"

    title: str
    currency: str
    wafers: int
    sheet: Sheet
    notes: tuple[str, ...]
    rests_on: tuple[str, ...]
    asked: Asked | None = None

    def _told(self) -> str:
        cost = self.total
        money = "no price given" if cost is None else f"{cost:.4g} {self.currency}".strip() + " a wafer"
        return f"{shortened(self.title, 60)!r}: {money}, {3600 / self.times.total:.3g} wafers an hour"

    @property
    def items(self) -> tuple[Item, ...]:
        """What a wafer uses up."""
        return self.sheet.items

    @property
    def times(self) -> Times:
        """What it takes of the machine."""
        return self.sheet.times

    @property
    def slurry(self) -> float:
        """Slurry for a wafer of product [m^3]."""
        return self.sheet.slurry

    @property
    def total(self) -> float | None:
        """The sum of what is known; None where nothing has a price."""
        return self.sheet.total

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(self.rests_on)

    def _content(self) -> dict[str, Any]:
        """Return the sum, what the wafer takes, the lives, and a row an item with its share."""
        lives = {item.name: item for item in self.items if item.name in CONSUMABLES}
        times, total, states = self.times, self.total, self.sheet.states
        slowest = bottleneck(self.sheet.line)
        return {
            "cost_per_wafer": total,
            "cost_per_good_wafer": None if total is None else total / (1.0 - self.sheet.scrapped),
            "currency": self.currency,
            "wafers_per_hour": 3600.0 / times.total,
            "wafers_per_week": WEEK * states.operating / times.total,
            "machine_time_s": times.total,
            "cycle_s": times.cycle,
            "bottleneck": slowest.name,
            "polish_time_s": times.polish,
            "between_time_s": times.between,
            "waiting_time_s": times.waiting,
            "monitors_time_s": times.monitors,
            "changes_time_s": times.changes,
            "failures_time_s": times.failures,
            "slurry_ml": 1e6 * self.slurry,
            **{f"{name}_life_wafers": item.life for name, item in lives.items()},
            **{f"{name}_end": item.end for name, item in lives.items() if item.end},
            "wafers": self.wafers,
            "items": self.rows(),
            "groups": self.groups(),
            "states": states.rows(),
        }

    def rows(self) -> list[dict[str, object]]:
        """Return a row an item: price, life in wafers and its end, cost for a wafer, share of the sum, group."""
        total = self.total
        return [
            {
                "item": item.name,
                "price": item.price,
                "life_wafers": item.life,
                "end": item.end,
                "cost": item.cost,
                "share_percent": None if item.cost is None or not total else 100 * item.cost / total,
                "group": item.group,
            }
            for item in self.items
        ]

    def groups(self) -> list[dict[str, object]]:
        """Return a row a group of items that has a price: its cost for a wafer, and its share."""
        sums: dict[str, float] = {}
        for item in self.items:
            if item.cost is not None:
                sums[item.group] = sums.get(item.group, 0.0) + item.cost
        total = self.total
        return [
            {"group": group, "cost": cost, "share_percent": 100 * cost / total if total else None}
            for group, cost in sums.items()
        ]
