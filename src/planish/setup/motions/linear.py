"""A linear polisher as a setup describes it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from planish.physics.motion.linear import Linear
from planish.physics.motion.motion import Bearing
from planish.setup.finding import HAIR, Finding, mm, wrong
from planish.setup.part import own_parts
from planish.setup.polisher import DISPENSE, MotionKind, PolisherSection
from planish.setup.quantity import Descriptive, Quantity, Section
from planish.setup.recipe import BEARING


class BearingZone(Section):
    """One ring-shaped support zone of the fluid bearing."""

    outer_radius: Annotated[
        float, Quantity("length", low="1 mm", high="500 mm", typical=("10 mm", "250 mm"))
    ] = Field(description="outer radius of the zone")
    pressure: BEARING = Field(description="support pressure of the zone")


class BearingSection(Section):
    """The fluid bearing that carries the belt under the wafer."""

    stiffness: Annotated[
        float,
        Quantity(
            "stiffness_per_area", low="1e-4 kPa/um", high="1000 kPa/um", typical=("0.05 kPa/um", "50 kPa/um")
        ),
    ] = Field(description="pressure gained per length of belt sag")
    zone: list[BearingZone] = Field(
        description="zones about the carrier axis, inside out", min_length=1, max_length=50
    )


class LinearPolisher(PolisherSection):
    """An endless belt over two rollers, carried by a fluid bearing under the wafer."""

    edge_key: ClassVar[str] = "belt_width"

    motion: Literal["linear"] = Field(description="how the pad moves")
    belt_width: Annotated[
        float, Quantity("length", low="30 mm", high="2000 mm", typical=("200 mm", "800 mm"))
    ] = Field(description="width of belt and pad")
    belt_length: Annotated[
        float, Quantity("length", low="100 mm", high="20000 mm", typical=("1000 mm", "6000 mm"))
    ] = Field(description="length once round the loop")
    roller_diameter: Annotated[
        float,
        Quantity("length", low="10 mm", high="2000 mm", typical=("100 mm", "600 mm")),
        Descriptive(),
    ] = Field(description="diameter of the rollers; the belt must go round them")
    belt_thickness: Annotated[
        float, Quantity("length", low="0.05 mm", high="10 mm", typical=("0.1 mm", "3 mm"))
    ] = Field(description="thickness of the carrying belt under the pad")
    belt_modulus: Annotated[
        float, Quantity("modulus", low="10 MPa", high="5e5 MPa", typical=("1000 MPa", "220000 MPa"))
    ] = Field(description="Young's modulus of the carrying belt")
    belt_poisson: Annotated[float, Quantity("ratio", low="0", high="0.49", typical=("0.2", "0.49"))] = Field(
        description="Poisson's ratio of the carrying belt"
    )
    belt_tension: Annotated[
        float,
        Quantity(
            "force_per_length",
            low="0 kN/m",
            least="0.01 kN/m",
            high="500 kN/m",
            typical=("1 kN/m", "100 kN/m"),
        ),
    ] = Field(description="belt tension per width")
    bearing: BearingSection = Field(description="the fluid bearing under the belt")
    delivery: Literal["top", "through-pad"] = Field(
        description="slurry dropped on top, or fed up through the pad"
    )
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the belt's centre line")

    def machine(self) -> Linear:
        """Return the machine in SI."""
        return Linear(
            belt_width=self.belt_width,
            belt_length=self.belt_length,
            roller_radius=self.roller_diameter / 2.0,
            belt_thickness=self.belt_thickness,
            belt_modulus=self.belt_modulus,
            belt_poisson=self.belt_poisson,
            belt_tension=self.belt_tension,
            bearing=Bearing(
                stiffness=self.bearing.stiffness,
                outer_radii=np.array([zone.outer_radius for zone in self.bearing.zone]),
                pressures=np.array([zone.pressure for zone in self.bearing.zone]),
            ),
            delivery=self.delivery,
            dispense_radius=self.dispense_radius,
        )

    def problems(self, table: dict[str, Any], radius: float) -> Iterator[Finding]:
        """Yield a belt too short for its rollers, and bearing zones that do not carry the wafer.

        Parameters
        ----------
        table
            The polisher's, as written.
        radius
            Of the wafer [m].

        Yields
        ------
        Finding
            A finding each.
        """
        least = math.pi * self.roller_diameter + 4.0 * radius
        if self.belt_length < least - HAIR:
            yield wrong("polisher.belt_length", table["belt_length"], f"at least {mm(least)}",
                        "once round both rollers with the wafer between them")  # fmt: skip
        inner = 0.0
        for index, zone in enumerate(self.bearing.zone):
            if zone.outer_radius <= inner + HAIR:
                value = table["bearing"]["zone"][index]["outer_radius"]
                yield wrong(f"polisher.bearing.zone.{index + 1}.outer_radius", value, f"above {mm(inner)}")
                return
            inner = zone.outer_radius
        if inner < radius - HAIR:
            yield wrong(
                f"polisher.bearing.zone.{len(self.bearing.zone)}.outer_radius",
                mm(inner),
                f"at least the wafer radius, {mm(radius)}",
                "the bearing carries the belt under the whole wafer",
            )


# Our own speeds: 2 m/s, and three fifths of it. On a belt the disk goes as far as the wafer.
LINEAR = MotionKind(
    machine=Linear,
    model=LinearPolisher,
    what="linear polisher (belt on a fluid bearing)",
    part=lambda diameter: own_parts("polisher")["linear-300"],
    gentle={"belt_speed": "1.2 m/s", "carrier_speed": "20 rpm"},
    main={"belt_speed": "2 m/s", "carrier_speed": "20 rpm"},
    disk={"sweep.kind": "slide", "sweep.inner": "-150 mm", "sweep.outer": "150 mm"},
)
