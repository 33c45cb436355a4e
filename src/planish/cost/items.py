"""What the sheet of a cost is made of: things that a wafer uses up, times that it takes, states of the machine."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a wafer uses up.

    ``price`` of one of it (a litre of slurry or water, an hour of the machine or of people, a year of upkeep), None where
    none is given; ``amount`` of it for a wafer of product, None where nothing tells; ``life`` in wafers polished, and what
    ends it; ``group``: fixed, recurring, or yield for what is lost with scrapped wafers.
    """

    name: str
    price: float | None
    amount: float | None
    life: int | None = None
    end: str = ""
    group: str = "recurring"

    @property
    def cost(self) -> float | None:
        """What a wafer of product bears; None where price or amount are not known."""
        return None if self.price is None or self.amount is None else self.price * self.amount


@dataclass(frozen=True, slots=True)
class Times:
    """What one wafer of product takes of the machine [s].

    ``polish`` and ``between`` wafers, shared out over the platens; ``waiting`` of the platens for a slower station;
    ``monitors``; ``changes`` and breaking-in; ``failures``, unscheduled stops.
    """

    polish: float
    between: float
    monitors: float
    changes: float
    waiting: float = 0.0
    failures: float = 0.0

    @property
    def cycle(self) -> float:
        """From one wafer to the next while nothing stops the machine [s]."""
        return self.polish + self.between + self.waiting

    @property
    def total(self) -> float:
        """All of it [s]."""
        return self.cycle + self.monitors + self.changes + self.failures


@dataclass(frozen=True, slots=True)
class States:
    """Which share of the calendar a machine spends in each of the six equipment states, 0 to 1."""

    productive: float
    standby: float
    engineering: float
    scheduled_down: float
    unscheduled_down: float
    non_scheduled: float

    @property
    def operating(self) -> float:
        """Share in which product is to be made, stops and all."""
        return self.productive + self.standby + self.scheduled_down + self.unscheduled_down

    def rows(self) -> list[dict[str, object]]:
        """Return a row a state: its number, name, share, and hours a week."""
        return [
            {
                "state": number,
                "name": name.replace("_", " "),
                "share_percent": 100.0 * getattr(self, name),
                "week_h": 168.0 * getattr(self, name),
            }
            for number, name in enumerate(self.__slots__, 1)
        ]
