"""The cleaning after polishing: what brushes, sound and rinses do, step by step."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Descriptive, Name, Quantity, Section, Unsaid, ratio

SLIP = Quantity("speed", low="0.001 m/s", high="30 m/s", typical=("0.1 m/s", "5 m/s"))
INTENSITY = Quantity("intensity", low="1e-4 W/cm^2", high="100 W/cm^2", typical=("0.1 W/cm^2", "5 W/cm^2"))
FREQUENCY = Quantity("frequency", low="0.01 MHz", high="100 MHz", typical=("0.02 MHz", "3 MHz"))
TURNING = Quantity("angular_speed", low="1 rpm", high="9000 rpm", typical=("50 rpm", "3000 rpm"))
FLOW = Quantity("flow", low="0.6 ml/min", high="60000 ml/min", typical=("100 ml/min", "3000 ml/min"))

KINDS: dict[str, tuple[str, ...]] = {
    "brush": ("slip",),
    "sound": ("intensity", "frequency"),
    "rinse": ("turning", "flow"),
}
"""The keys of each kind of step, in the order in which its physics takes them."""


USUAL = (
    {"kind": "brush", "slip": "1 m/s", "coverage": "95 %"},
    {"kind": "sound", "intensity": "1 W/cm^2", "frequency": "1 MHz"},
    {"kind": "rinse", "turning": "1000 rpm", "flow": "1000 ml/min"},
)
"""Steps to begin with (common practice, no source)."""


class CleanStepSection(Section):
    """One step of the cleaning."""

    name: Annotated[Name, Descriptive()] = Field("", description="name of the step; its kind where not given")
    kind: Literal["brush", "sound", "rinse"] = Field(
        description="a brush that slips over the wafer, sound in the liquid, or a rinse on the turning wafer"
    )
    slip: Annotated[float, SLIP] | None = Field(
        None, description="brush: speed at which it slips over the wafer"
    )
    intensity: Annotated[float, INTENSITY] | None = Field(None, description="sound: intensity at the wafer")
    frequency: Annotated[float, FREQUENCY] | None = Field(None, description="sound: its frequency")
    turning: Annotated[float, TURNING] | None = Field(None, description="rinse: turning speed of the wafer")
    flow: Annotated[float, FLOW] | None = Field(None, description="rinse: flow on the wafer")
    coverage: Annotated[float, ratio("0", "1", typical=("50 %", "100 %"))] = Field(
        1.0, description="share of the wafer that it reaches"
    )


class CleanSection(Section):
    """The cleaning after polishing; leave the table out for none."""

    step: list[CleanStepSection] = Field(description="steps in order", min_length=1, max_length=50)
    hamaker: Annotated[
        float, Quantity("energy", low="1e-24 J", high="1e-17 J", typical=("1e-21 J", "1e-19 J")), Unsaid()
    ] = Field(
        1e-20, description="Hamaker constant of particle, liquid and film; the order of silica on oxide"
    )
    viscosity: Annotated[
        float,
        Quantity("viscosity", low="0.01 mPa*s", high="1000 mPa*s", typical=("0.5 mPa*s", "5 mPa*s")),
        Unsaid(),
    ] = Field(1e-3, description="of the cleaning liquid; that of water where not given")
    adhesion_spread: Annotated[float, ratio("0.01", "5", typical=("0.3", "1.5")), Unsaid()] = Field(
        0.7,
        description="how widely particles of one size differ in how firmly they hold: sd of its logarithm",
    )
