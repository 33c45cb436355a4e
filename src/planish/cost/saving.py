"""What does another setup save? Two costs beside each other, thing by thing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from planish.cost.result import WaferCost
from planish.engine.record import shortened
from planish.errors import DataError
from planish.results.plain import unique
from planish.results.result import Result


@dataclass(frozen=True, slots=True, repr=False)
class CostSaving(Result):
    """A cost beside another one: ``here`` of the setup asked about, ``against`` of the other."""

    kind: ClassVar[str] = "saving"

    here: WaferCost
    against: WaferCost

    def _told(self) -> str:
        saved = self._difference(self.against.total, self.here.total)
        money = (
            "no price given"
            if saved is None
            else f"{saved:.4g} {self.here.currency}".strip() + " saved a wafer"
        )
        return f"{shortened(self.here.title, 60)!r}: {money}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What either cost notes; what only the other one says, as its own."""
        mine = self.here.notes
        return (*mine, *(f"the other: {note}" for note in self.against.notes if note not in mine))

    def sources(self) -> list[str]:
        """Return what both rest on, one line each."""
        return unique([*self.here.sources(), *self.against.sources()])

    @staticmethod
    def _difference(other: float | None, mine: float | None) -> float | None:
        """Return the saving; where one has no such cost at all it counts as none."""
        return None if other is None and mine is None else (other or 0.0) - (mine or 0.0)

    def rows(self) -> list[dict[str, object]]:
        """Return a row an item of either: its cost here, in the other, what is saved, and lives."""
        mine = {item.name: item for item in self.here.items}
        other = {item.name: item for item in self.against.items}
        return [
            {
                "item": name,
                "cost": mine[name].cost if name in mine else None,
                "against_cost": other[name].cost if name in other else None,
                "saved_cost": self._difference(
                    other[name].cost if name in other else None, mine[name].cost if name in mine else None
                ),
                "life_wafers": mine[name].life if name in mine else None,
                "against_life_wafers": other[name].life if name in other else None,
            }
            for name in unique([*mine, *other])
        ]

    def _content(self) -> dict[str, Any]:
        mine, other = self.here.summary(), self.against.summary()
        saved = self._difference(self.against.total, self.here.total)
        week = mine["wafers_per_week"]
        return {
            "cost_per_wafer": self.here.total,
            "against_cost_per_wafer": self.against.total,
            "saved_cost": saved,
            "saved_percent": 100 * saved / self.against.total
            if saved is not None and self.against.total
            else None,
            "saved_per_week_cost": saved * week if saved is not None and isinstance(week, float) else None,
            "currency": self.here.currency,
            "wafers_per_hour": mine["wafers_per_hour"],
            "against_wafers_per_hour": other["wafers_per_hour"],
            "items": self.rows(),
        }


def cost_saving(here: WaferCost, against: WaferCost) -> CostSaving:
    """Set a cost beside another one.

    Parameters
    ----------
    here, against
        Two costs, as of :func:`planish.cost_of`.

    Returns
    -------
    CostSaving
        What the first saves against the second.

    Raises
    ------
    DataError
        For costs in different money.
    """
    if here.currency != against.currency:
        raise DataError(
            f"cost.currency = {here.currency!r} against {against.currency!r}: must be the same money in both "
            "(set the other setup's prices, or give both the same price file)"
        )
    return CostSaving(here, against)
