"""A motion: a straight pad that goes to and fro under the carrier, its speed a cosine in time; invented."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from planish.physics.motion.linear import Linear
from planish.physics.motion.motion import Drive, Outline
from planish.setup.part import Part, PartValue
from planish.setup.polisher import DISPENSE, MotionKind, PolisherSection
from planish.setup.quantity import Quantity

PHASES = (np.arange(256) + 0.5) * (2 * np.pi / 256)


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Shuttle(Linear):
    """``belt_speed`` is the highest speed of a pad on a fixed bed, ``stroke`` [m] how far it goes to each side."""

    motion: ClassVar[str] = "shuttle"
    drive: ClassVar[Drive] = Drive("belt_speed", "pad", "m/s", "m/s", turns=False)
    polisher_word: ClassVar[str] = "bed"
    rests_on: ClassVar[str] = "bed that goes to and fro"
    place_word: ClassVar[str] = "distance from the pad's centre line"
    on_platen: ClassVar[bool] = True

    stroke: float

    @property
    def outline(self) -> Outline:
        return Outline(straight=True, edge=self.pad_edge, length=self.belt_length)

    def mean_speed(self, r, drive, carrier):
        each = [Linear.mean_speed(self, r, drive * c, carrier) for c in np.cos(PHASES)]
        return np.mean(each, axis=0)

    def speed_between(self, r, R, drive, carrier):
        return np.mean([Linear.speed_between(self, r, R, drive * c, carrier) for c in np.cos(PHASES)], axis=0)

    def path(self, r0, phi0, times, drive, carrier):
        x, y = Linear.path(self, r0, phi0, times, 0.0, carrier)
        return x - self.stroke * np.sin(drive / self.stroke * np.asarray(times)), y


class ShuttlePolisher(PolisherSection):
    """A pad that goes to and fro."""

    edge_key: ClassVar[str] = "pad_width"

    motion: Literal["shuttle"] = Field(description="how the pad moves")
    pad_width: Annotated[float, Quantity("length", low="30 mm", high="2000 mm")] = Field(description="width")
    pad_length: Annotated[float, Quantity("length", low="30 mm", high="5000 mm")] = Field(
        description="length"
    )
    stroke: Annotated[float, Quantity("length", low="1 mm", high="1000 mm")] = Field(
        description="to each side"
    )
    delivery: Literal["top", "through-pad"] = Field(description="from above, or through the pad")
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the centre line")

    def machine(self) -> Shuttle:
        # Linear counts both sides of an endless belt: once round is twice the length.
        return Shuttle(
            belt_width=self.pad_width,
            belt_length=self.pad_length,
            stroke=self.stroke,
            delivery=self.delivery,
            dispense_radius=self.dispense_radius,
        )


PART = Part(
    "polisher",
    "shuttle-300",
    "a pad that goes to and fro (invented)",
    {
        key: PartValue(value, "invented")
        for key, value in {
            "motion": "shuttle",
            "pad_width": "420 mm",
            "pad_length": "1200 mm",
            "stroke": "300 mm",
            "delivery": "top",
            "dispense_radius": "0 mm",
        }.items()
    },
)
SHUTTLE = MotionKind(
    machine=Shuttle,
    model=ShuttlePolisher,
    what="shuttle polisher (a pad that goes to and fro)",
    part=lambda diameter: PART,
    gentle={"belt_speed": "1 m/s", "carrier_speed": "20 rpm"},
    main={"belt_speed": "2 m/s", "carrier_speed": "20 rpm"},
    disk={"sweep.kind": "slide", "sweep.inner": "-150 mm", "sweep.outer": "150 mm"},
)
