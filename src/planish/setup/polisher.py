"""The three ways a polisher moves, each with its own geometry."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Quantity, Section, ratio

MOTIONS = ("rotary", "linear", "orbital")
DISPENSE = Annotated[float, Quantity("length", low="0 mm", high="1000 mm", typical=("0 mm", "300 mm"))]


class RotaryPolisher(Section):
    """A turning platen; the carrier turns beside its axis."""

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


class BearingZone(Section):
    """One ring-shaped support zone of the fluid bearing."""

    outer_radius: Annotated[
        float, Quantity("length", low="1 mm", high="500 mm", typical=("10 mm", "250 mm"))
    ] = Field(description="outer radius of the zone")
    pressure: Annotated[
        float,
        Quantity("pressure", low="0 psi", least="0.01 psi", high="100 psi", typical=("1 psi", "60 psi")),
    ] = Field(description="support pressure of the zone")


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


class LinearPolisher(Section):
    """An endless belt over two rollers, carried by a fluid bearing under the wafer."""

    motion: Literal["linear"] = Field(description="how the pad moves")
    belt_width: Annotated[
        float, Quantity("length", low="30 mm", high="2000 mm", typical=("200 mm", "800 mm"))
    ] = Field(description="width of belt and pad")
    belt_length: Annotated[
        float, Quantity("length", low="100 mm", high="20000 mm", typical=("1000 mm", "6000 mm"))
    ] = Field(description="length once round the loop")
    roller_diameter: Annotated[
        float, Quantity("length", low="10 mm", high="2000 mm", typical=("100 mm", "600 mm"))
    ] = Field(description="diameter of the rollers")
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


class OrbitalPolisher(Section):
    """A pad that runs on a small circle without turning, usually fed through holes."""

    motion: Literal["orbital"] = Field(description="how the pad moves")
    orbit_radius: Annotated[
        float, Quantity("length", above="0 mm", least="0.1 mm", high="200 mm", typical=("3 mm", "40 mm"))
    ] = Field(description="radius of the circle on which the pad runs")
    pad_diameter: Annotated[
        float, Quantity("length", low="30 mm", high="2000 mm", typical=("180 mm", "600 mm"))
    ] = Field(description="diameter of the pad")
    hole_fraction: Annotated[float, ratio("0", "0.5", typical=("0.1 %", "10 %"), least="1e-5")] = Field(
        description="share of the pad area that is feed holes"
    )
    delivery: Literal["top", "through-pad"] = Field(
        description="slurry dropped on top, or fed up through the pad"
    )
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the pad's axis")


POLISHERS: dict[str, type[Section]] = {
    "rotary": RotaryPolisher,
    "linear": LinearPolisher,
    "orbital": OrbitalPolisher,
}
