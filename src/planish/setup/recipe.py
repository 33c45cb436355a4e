"""The recipe: any number of steps."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from planish.setup.quantity import Descriptive, Name, Quantity, Section, refused

ZONES = Quantity("pressure", low="0 psi", least="0.005 psi", high="60 psi", typical=("0.3 psi", "10 psi"))
PRESSURE = Annotated[float, ZONES]
BEARING = Annotated[
    float, Quantity("pressure", low="0 psi", least="0.01 psi", high="100 psi", typical=("1 psi", "60 psi"))
]
TURNING = Annotated[
    float,
    Quantity(
        "angular_speed", low="-1000 rpm", high="1000 rpm", typical=("5 rpm", "200 rpm"), either_way=True
    ),
]
AMOUNT = Annotated[
    float, Quantity("thickness", low="0 nm", least="0.01 nm", high="200 um", typical=("2 nm", "10000 nm"))
]
SECONDS = Annotated[
    float, Quantity("time", above="0 s", least="0.001 s", high="36000 s", typical=("1 s", "600 s"))
]

# what may move the pad: each motion names its own
SPEEDS = ("platen_speed", "belt_speed", "orbit_speed")
STOPS = ("time", "stop_on_removed", "stop_on_remaining")


class ZonePressures:
    """Annotation of a step's zone pressures: one text, a list of texts, or a table by zone name."""

    quantity = ZONES

    def read(self, value: Any) -> float | tuple[float, ...] | dict[str, float]:
        """Return pressures [Pa] in the shape they were given."""
        if isinstance(value, list | tuple):
            return tuple(self._one(item, index) for index, item in enumerate(value))
        if isinstance(value, dict):
            return {name: self._one(item, name) for name, item in value.items()}
        return self.quantity.read(value)

    def _one(self, value: Any, at: int | str) -> float:
        try:
            return self.quantity.read(value)
        except PydanticCustomError as error:
            context = error.context or {}
            raise refused(context["allowed"], context["remedy"], at=at, value=value) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        one = self.quantity.__get_pydantic_json_schema__(schema, handler)
        return {
            "anyOf": [one, {"type": "array", "items": one}, {"type": "object", "additionalProperties": one}],
        }


class StepSection(Section):
    """One step: pressures, speeds, flow, and what ends it."""

    name: Annotated[Name, Descriptive()] = Field(description="name of the step")
    zone_pressures: Annotated[float | tuple[float, ...] | dict[str, float], ZonePressures()] = Field(
        description="pressure of every zone: one value for all, a list inside out, or a table by zone name"
    )
    ring_pressure: PRESSURE = Field(0.0, description="pressure of the retaining ring on the pad")
    platen_speed: TURNING | None = Field(None, description="rotary: turning speed of the platen")
    belt_speed: (
        Annotated[
            float,
            Quantity("speed", low="-10 m/s", high="10 m/s", typical=("0.3 m/s", "5 m/s"), either_way=True),
        ]
        | None
    ) = Field(None, description="linear: speed of the belt")
    orbit_speed: (
        Annotated[
            float,
            Quantity(
                "angular_speed",
                low="-3000 rpm",
                high="3000 rpm",
                typical=("100 rpm", "900 rpm"),
                either_way=True,
            ),
        ]
        | None
    ) = Field(None, description="orbital: orbits per time")
    carrier_speed: TURNING = Field(description="turning speed of the carrier")
    flow: Annotated[
        float,
        Quantity(
            "flow",
            low="0 ml/min",
            least="0.1 ml/min",
            high="5000 ml/min",
            typical=("30 ml/min", "600 ml/min"),
        ),
    ] = Field(description="slurry flow")
    conditioning: bool = Field(False, description="whether the disk is used in this step")
    time: SECONDS | None = Field(None, description="step ends after this time")
    stop_on_removed: AMOUNT | None = Field(None, description="step ends when this much is gone, on average")
    stop_on_remaining: AMOUNT | None = Field(
        None, description="step ends when this much is left, on average, of the film then on top"
    )
    max_time: SECONDS | None = Field(None, description="longest time where a stop condition ends the step")
    bearing_pressures: list[BEARING] | None = Field(
        None,
        description="linear: support pressures in this step, inside out; the bearing's own where not given",
    )


class RecipeSection(Section):
    """The recipe."""

    step: list[StepSection] = Field(description="steps in order", min_length=1, max_length=200)
