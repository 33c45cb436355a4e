"""A rotary polisher as a setup describes it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from planish import units
from planish.physics.motion.rotary import Rotary
from planish.setup.finding import Finding, wrong
from planish.setup.part import own_parts
from planish.setup.polisher import (
    DISPENSE,
    FLATNESS,
    FLATNESS_TEXT,
    WAVES,
    WAVES_TEXT,
    MotionKind,
    PolisherSection,
)
from planish.setup.quantity import Quantity
from planish.setup.recipe import StepSection


class RotaryPolisher(PolisherSection):
    """A turning platen; the carrier turns beside its axis."""

    edge_key: ClassVar[str] = "platen_diameter"

    motion: Literal["rotary"] = Field(description="how the pad moves")
    platen_diameter: Annotated[
        float, Quantity("length", low="50 mm", high="2000 mm", typical=("400 mm", "1000 mm"))
    ] = Field(description="diameter of platen and pad")
    centre_offset: Annotated[
        float, Quantity("length", low="0 mm", least="0.01 mm", high="1000 mm", typical=("100 mm", "300 mm"))
    ] = Field(description="distance of the carrier axis from the platen axis")
    oscillation_amplitude: Annotated[
        float, Quantity("length", low="0 mm", high="200 mm", typical=("0 mm", "30 mm"))
    ] = Field(description="how far the carrier swings to each side along the offset")
    oscillation_frequency: Annotated[
        float, Quantity("frequency", low="0 1/min", high="120 1/min", typical=("0 1/min", "30 1/min"))
    ] = Field(description="how often it swings to and fro")
    delivery: Literal["top", "through-pad"] = Field(
        description="slurry dropped on top, or fed up through the pad"
    )
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the platen axis")
    flatness: FLATNESS = Field(0.0, description=FLATNESS_TEXT)
    flatness_waves: WAVES = Field(1.0, description=WAVES_TEXT)

    def machine(self) -> Rotary:
        """Return the machine in SI."""
        return Rotary(
            centre_offset=self.centre_offset,
            platen_radius=self.platen_diameter / 2.0,
            oscillation_amplitude=self.oscillation_amplitude,
            oscillation_frequency=self.oscillation_frequency,
            delivery=self.delivery,
            dispense_radius=self.dispense_radius,
            flatness=self.flatness,
            flatness_waves=self.flatness_waves,
        )

    def problems(self, table: dict[str, Any], radius: float) -> Iterator[Finding]:
        """Yield a swing without a frequency.

        Parameters
        ----------
        table
            The polisher's, as written.
        radius
            Of the wafer [m]; not used.

        Yields
        ------
        Finding
            At most one finding.
        """
        if self.oscillation_amplitude > 0.0 and self.oscillation_frequency == 0.0:
            yield wrong("polisher.oscillation_frequency", table["oscillation_frequency"], "above 0 1/min",
                        "the carrier is said to swing")  # fmt: skip

    def step_notes(self, step: StepSection, place: str) -> Iterator[Finding]:
        """Yield what turning platen and carrier do to one another.

        Parameters
        ----------
        step
            Of the recipe.
        place
            Its path.

        Yields
        ------
        Finding
            At most one note.
        """
        if step.platen_speed is None:
            return
        if step.platen_speed == step.carrier_speed and step.platen_speed != 0.0:
            text = (
                f"{place}: platen and carrier both at {units.show(step.carrier_speed, 'angular_speed')}: the speed "
                "is the same everywhere, but locked turns let wafer points retrace their path; "
                "a few rpm apart is usual"
            )
            yield Finding("note", f"{place}.carrier_speed", text)
        elif step.platen_speed * step.carrier_speed < 0.0:
            text = f"{place}: platen and carrier turn against each other: the wafer edge is much faster than its centre"
            yield Finding("note", f"{place}.carrier_speed", text)


# Our own speeds, a main one and two thirds of it for the gentle steps: about 1.9 m/s at the carrier axis, to 10 rpm
# (90 rpm on an offset of 200 mm: 1.88 m/s); the carrier 7 rpm slower, which makes it a prime, so that a wafer point
# comes back on its path only once a minute and slides evenly within 1 %.
ROTARY = MotionKind(
    machine=Rotary,
    model=RotaryPolisher,
    what="rotary polisher (turning platen)",
    part=lambda diameter: own_parts("polisher")["rotary-200" if diameter < 0.21 else "rotary-300"],
    gentle={"platen_speed": "60 rpm", "carrier_speed": "53 rpm"},
    main={"platen_speed": "90 rpm", "carrier_speed": "83 rpm"},
)
