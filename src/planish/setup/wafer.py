"""The wafer as described in a setup: a plate and its films."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from planish.setup.quantity import Descriptive, Name, Quantity, Section, Unsaid, refused

SIZES = "common practice; tables of silicon wafer sizes: 525 um at 100 mm, 675 at 150, 725 at 200, 775 at 300"
PROFILE_RADIUS = Annotated[
    float, Quantity("length", low="0 mm", least="1e-6 mm", high="400 mm", typical=("0 mm", "150 mm"))
]
FILM_THICKNESS = Annotated[
    float, Quantity("thickness", low="0 nm", least="0.01 nm", high="200 um", typical=("2 nm", "20000 nm"))
]
EVEN_THICKNESS = Annotated[
    float, Quantity("thickness", above="0 nm", least="0.01 nm", high="200 um", typical=("2 nm", "20000 nm"))
]


class FilmSection(Section):
    """One film; its thickness as a value, a radial profile or a measured site file (one of the three)."""

    name: Annotated[Name | None, Descriptive()] = Field(
        None, description="name of the film in results; the material where not given"
    )
    material: Name = Field(
        description="material; a [removal.MATERIAL] table or the slurry must say how it polishes"
    )
    thickness: EVEN_THICKNESS | None = Field(None, description="incoming thickness, the same everywhere")
    profile: list[tuple[PROFILE_RADIUS, FILM_THICKNESS]] | None = Field(
        None, description='incoming thickness over radius: pairs such as ["0 mm", "1000 nm"], inside out'
    )
    sites: str | None = Field(None, description="file of measured sites, relative to the setup file")
    stress: (
        Annotated[
            float, Quantity("stress", low="-5000 MPa", high="5000 MPa", typical=("-2500 MPa", "2500 MPa"))
        ]
        | None
    ) = Field(
        None,
        description="film stress, tension positive; the check of the vacuum hold uses it, and wafer.bow_from_stress",
    )

    @field_validator("profile", mode="before")
    @classmethod
    def _pairs(cls, value: object) -> object:
        if value is None:
            return value
        if not isinstance(value, list) or len(value) < 2:
            raise refused('a list of two or more pairs such as ["0 mm", "1000 nm"]')
        if any(not isinstance(pair, list | tuple) or len(pair) != 2 for pair in value):
            raise refused('pairs of radius and thickness such as ["0 mm", "1000 nm"]')
        return [tuple(pair) for pair in value]


class WaferSection(Section):
    """The wafer: diameter, plate properties, films from the top down."""

    diameter: Annotated[
        float, Quantity("length", low="25 mm", high="500 mm", typical=("100 mm", "300 mm"), source=SIZES)
    ] = Field(description="wafer diameter")
    thickness: Annotated[
        float, Quantity("depth", low="50 um", high="5000 um", typical=("500 um", "800 um"), source=SIZES)
    ] = Field(description="wafer thickness")
    modulus: Annotated[
        float, Quantity("modulus", low="1000 MPa", high="1e6 MPa", typical=("60000 MPa", "500000 MPa"))
    ] = Field(description="Young's modulus of the wafer in bending")
    poisson: Annotated[float, Quantity("ratio", low="0", high="0.49", typical=("0.05", "0.35"))] = Field(
        description="Poisson's ratio of the wafer"
    )
    density: Annotated[
        float, Quantity("density", low="1 g/cm^3", high="25 g/cm^3", typical=("2.2 g/cm^3", "6.2 g/cm^3"))
    ] = Field(description="density of the wafer; only the check of the vacuum hold uses it")
    edge_exclusion: Annotated[
        float, Quantity("length", low="0 mm", least="0.01 mm", high="30 mm", typical=("1 mm", "6 mm"))
    ] = Field(description="rim left out of all statistics")
    bow: Annotated[
        float,
        Quantity("depth", low="-2000 um", high="2000 um", typical=("-150 um", "150 um")),
        Unsaid(),
    ] = Field(
        0.0,
        description="how far the free wafer's edge stands off a flat under its middle, face down on the pad; "
        "negative: the edge touches",
    )
    bow_from_stress: Annotated[bool, Unsaid()] = Field(
        False, description="whether the stress of the films left bends the wafer too, beside bow"
    )
    film: list[FilmSection] = Field(description="films, the one on top first", min_length=1, max_length=50)
