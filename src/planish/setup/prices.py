"""What things cost where the setup is run: prices, lives and times of the table ``[cost]``, none of them assumed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from planish.setup.quantity import Descriptive, Name, Quantity, Section, refused

MOST_PRICE = 1e12
MOST_COUNT = 10_000_000
BETWEEN = Quantity("time", low="0 s", least="0.1 s", high="3600 s", typical=("10 s", "120 s"))
CHANGE = Quantity("time", low="0 s", least="1 s", high="604800 s", typical=("300 s", "7200 s"))
STAY = Quantity("time", low="0 s", least="0.1 s", high="3600 s", typical=("5 s", "60 s"))
GAP = Quantity("duration", low="0.01 h", high="100000 h", typical=("20 h", "500 h"))
REPAIR = Quantity("duration", low="0 h", least="0.001 h", high="1000 h", typical=("0.5 h", "8 h"))
A_WEEK = Quantity("duration", low="0 h", least="0.01 h", high="167 h", typical=("1 h", "40 h"))
MEASURED = Quantity("ratio", low="0 %", high="100 %", typical=("5 %", "100 %"))
SCRAPPED = Quantity("ratio", low="0 %", high="99 %", typical=("0.05 %", "2 %"))
WATER = Quantity(
    "flow", low="0 ml/min", least="1 ml/min", high="100000 ml/min", typical=("500 ml/min", "5000 ml/min")
)


@dataclass(frozen=True, slots=True)
class Bare:
    """A bare number from ``least`` on: a price in the money of ``cost.currency``, or a count.

    It has no unit and no usual range: nobody can say what is usual in money that is not known.
    """

    what: str
    least: float
    most: float
    whole: bool = False

    def read(self, value: Any) -> float:
        """Return the number, or raise what pydantic turns into a finding."""
        known = isinstance(value, int if self.whole else int | float) and not isinstance(value, bool)
        if not known or not self.least <= value <= self.most:
            raise refused(f"{self.what} without quotes or unit, from {self.least:g} to {self.most:g}")
        return int(value) if self.whole else float(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "type": "integer" if self.whole else "number",
            "minimum": self.least,
            "maximum": self.most,
        }


Price = Annotated[float, Bare("a price: a bare number", 0, MOST_PRICE)]
Wafers = Annotated[int, Bare("a count: a whole number", 1, MOST_COUNT, whole=True)]
Count = Annotated[int, Bare("a count: a whole number", 0, MOST_COUNT, whole=True)]
Platens = Annotated[int, Bare("a count: a whole number", 1, 16, whole=True)]
Years = Annotated[float, Bare("years: a bare number", 0.1, 100)]


class CostSection(Section):
    """Prices, lives and times that a cost per wafer is made of; what is not given is left out of it and told."""

    currency: Annotated[Name, Descriptive()] = Field("", description="the money that all prices are in")
    pad_price: Price | None = Field(None, description="of one pad")
    disk_price: Price | None = Field(None, description="of one conditioning disk")
    ring_price: Price | None = Field(None, description="of one retaining ring")
    membrane_price: Price | None = Field(None, description="of one membrane, or film of a rigid head")
    slurry_price: Price | None = Field(None, description="of one litre of slurry as it is used")
    hour_price: Price | None = Field(
        None, description="of one hour of the machine, whether it polishes or not"
    )
    monitor_price: Price | None = Field(None, description="of one monitor wafer")
    pad_wafers: Wafers | None = Field(
        None, description="wafers after which a pad is changed, if it is not used up before"
    )
    disk_wafers: Wafers | None = Field(
        None, description="wafers after which a disk is changed, if it is not dull before"
    )
    ring_wafers: Wafers | None = Field(
        None, description="wafers after which a ring is changed, if it is not worn before"
    )
    membrane_wafers: Wafers | None = Field(None, description="wafers after which a membrane is changed")
    monitors: Count | None = Field(
        None, description="monitor wafers that are polished after each change of pad"
    )
    between: Annotated[float, BETWEEN] | None = Field(
        None, description="time from one wafer to the next without polishing: unload, rinse, load"
    )
    pad_change: Annotated[float, CHANGE] | None = Field(
        None, description="time that a change of pad takes, without breaking it in"
    )
    disk_change: Annotated[float, CHANGE] | None = Field(None, description="time that a change of disk takes")
    head_change: Annotated[float, CHANGE] | None = Field(
        None, description="time that a change of ring or membrane takes"
    )
    platens: Platens | None = Field(
        None, description="platens of the machine, each with a pad as this setup's; 1 unless given"
    )
    visits: Platens | None = Field(
        None,
        description="platens that each wafer visits in a row, sharing out the recipe's time; 1 unless given",
    )
    load: Annotated[float, STAY] | None = Field(
        None, description="time that the loading station needs for a wafer, in and out"
    )
    rinse: Annotated[float, STAY] | None = Field(
        None, description="time that a wafer is rinsed on its platen after polishing"
    )
    clean: Annotated[float, STAY] | None = Field(
        None, description="time of a wafer in the slowest chamber of the cleaner"
    )
    measure: Annotated[float, STAY] | None = Field(
        None, description="time of a wafer in the machine's own metrology"
    )
    measured: Annotated[float, MEASURED] | None = Field(
        None, description="share of the wafers that are measured there; all unless given"
    )
    failure_every: Annotated[float, GAP] | None = Field(
        None, description="mean time up between unscheduled stops of the machine"
    )
    repair: Annotated[float, REPAIR] | None = Field(None, description="mean time that such a stop takes")
    engineering: Annotated[float, A_WEEK] | None = Field(
        None, description="hours of a week in which the machine is used for trials"
    )
    idle: Annotated[float, A_WEEK] | None = Field(
        None, description="hours of a week for which nothing is scheduled"
    )
    machine_price: Price | None = Field(
        None, description="of the machine, bought and installed, written off evenly over machine_years"
    )
    machine_years: Years | None = Field(None, description="years over which the machine is written off")
    upkeep_price: Price | None = Field(None, description="of a year of floor, service and spare parts")
    labour_price: Price | None = Field(None, description="of the people for an hour of the machine")
    water_price: Price | None = Field(None, description="of one litre of water")
    water_flow: Annotated[float, WATER] | None = Field(
        None, description="water while a wafer is rinsed and changed on its platen"
    )
    wafer_price: Price | None = Field(None, description="what a wafer is worth that is scrapped here")
    scrapped: Annotated[float, SCRAPPED] | None = Field(
        None, description="share of the wafers that are scrapped at this step"
    )
