"""The pad stack: top pad, sub-pad, grooves, summits."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Descriptive, Quantity, Section, Unsaid, ratio

MODULUS = Annotated[
    float, Quantity("modulus", low="0.01 MPa", high="20000 MPa", typical=("0.5 MPa", "2500 MPa"))
]
SHORE = Annotated[float, Quantity("ratio", low="1", high="100", typical=("10", "98"))]


class LayerSection(Section):
    """One layer. Its stiffness is given in one way: hardness, modulus, or the polymer it is made of."""

    thickness: Annotated[
        float, Quantity("length", low="0.1 mm", high="20 mm", typical=("0.3 mm", "4 mm"))
    ] = Field(description="thickness of the layer")
    shore_d: SHORE | None = Field(None, description="hardness of the finished layer, Shore D")
    shore_a: SHORE | None = Field(None, description="hardness of the finished layer, Shore A")
    modulus: MODULUS | None = Field(None, description="Young's modulus of the finished layer")
    polymer_modulus: MODULUS | None = Field(
        None, description="modulus of the unfilled solid polymer; pores and filler then act on it"
    )
    polymer_shore_d: SHORE | None = Field(
        None, description="hardness of the unfilled solid polymer, Shore D; pores and filler then act on it"
    )
    modulus_spread: Annotated[float, ratio("0", "1", typical=("0 %", "30 %"))] = Field(
        0.0, description="relative spread of the modulus"
    )
    softening: Annotated[
        float,
        Quantity("per_temperature", low="0 %/K", high="10 %/K", typical=("0 %/K", "3 %/K")),
    ] = Field(0.0, description="share of the modulus lost for each kelvin above pad.modulus_temperature")
    poisson: Annotated[float, Quantity("ratio", low="0", high="0.49", typical=("0", "0.49"))] = Field(
        description="Poisson's ratio"
    )
    porosity: Annotated[float, ratio("0", "0.95", typical=("0 %", "70 %"))] = Field(
        0.0, description="share of the volume that is pores"
    )
    cells: Literal["none", "open", "closed"] = Field("open", description="cell structure of the pores")
    edge_share: Annotated[float, ratio("0", "1", typical=("30 %", "100 %"))] = Field(
        0.8, description="closed cells: share of the solid in cell edges"
    )
    filler_share: Annotated[float, ratio("0", "0.59", typical=("0 %", "30 %"))] = Field(
        0.0, description="filler, share by volume"
    )
    filler_ratio: (
        Annotated[float, Quantity("ratio", low="1e-6", high="1e5", typical=("1", "1000"))] | None
    ) = Field(None, description="modulus of the filler over that of the polymer; rigid where not given")


_ZERO = "with grooves.pattern = 'none'"
GROOVE = {
    "width": Quantity(
        "length", low="0 mm", least="0.01 mm", high="20 mm", typical=("0.1 mm", "3 mm"), zero=_ZERO
    ),
    "depth": Quantity(
        "length", low="0 mm", least="0.01 mm", high="20 mm", typical=("0.1 mm", "2.5 mm"), zero=_ZERO
    ),
    "pitch": Quantity(
        "length", low="0 mm", least="0.01 mm", high="100 mm", typical=("0.5 mm", "25 mm"), zero=_ZERO
    ),
}


class GroovesSection(Section):
    """Grooves of the top pad."""

    pattern: Literal["none", "concentric", "grid", "spiral"] = Field(description="how the grooves run")
    width: Annotated[float, GROOVE["width"]] = Field(description="width of a groove")
    depth: Annotated[float, GROOVE["depth"]] = Field(description="depth of a groove in a new pad")
    pitch: Annotated[float, GROOVE["pitch"]] = Field(description="from groove to groove")


class SurfaceSection(Section):
    """The summits of the conditioned top pad."""

    density: Annotated[
        float,
        Quantity(
            "areal_density",
            above="0 1/mm^2",
            least="0.01 1/mm^2",
            high="1e6 1/mm^2",
            typical=("10 1/mm^2", "10000 1/mm^2"),
        ),
    ] = Field(description="summits per area")
    tip_radius: Annotated[
        float, Quantity("depth", low="0.05 um", high="5000 um", typical=("1 um", "200 um"))
    ] = Field(description="radius of curvature of a summit")
    height_sd: Annotated[
        float, Quantity("depth", low="0 um", least="0.001 um", high="500 um", typical=("0.5 um", "50 um"))
    ] = Field(description="standard deviation of summit heights, as conditioned")
    tail_length: Annotated[
        float, Quantity("depth", low="0.01 um", high="500 um", typical=("0.3 um", "30 um"))
    ] = Field(description="decay length of the tail of high summits, which carries the load")
    modulus: MODULUS | None = Field(
        None, description="modulus of the summits; that of the solid between the pores where not given"
    )
    poisson: Annotated[float, Quantity("ratio", low="0", high="0.5", typical=("0.1", "0.5"))] | None = Field(
        None, description="Poisson's ratio of the summits; the top pad's where not given"
    )
    flow_pressure: (
        Annotated[float, Quantity("modulus", low="0.01 MPa", high="20000 MPa", typical=("2 MPa", "300 MPa"))]
        | None
    ) = Field(
        None,
        description="mean pressure at which a summit flows; where not given the pad's hardness, or 3/8 of the "
        "modulus of the summits",
    )
    flow_spread: Annotated[float, ratio("0", "0.9", typical=("0 %", "60 %"))] = Field(
        0.0, description="relative spread of the flow pressure"
    )
    heights: str | None = Field(
        None, description="file of measured summit heights, relative to the setup file"
    )


class PadSection(Section):
    """Pad stack on platen, belt or orbiting table."""

    family: Annotated[Literal["microporous", "coated-felt"], Descriptive()] = Field(
        description="cast-and-sliced microporous polyurethane, or urethane-coated polyester felt"
    )
    top: LayerSection = Field(description="the layer that polishes")
    sub: LayerSection | None = Field(None, description='the softer layer under it; "none" for none')
    grooves: GroovesSection | None = Field(None, description='grooves of the top pad; "none" for none')
    surface: SurfaceSection = Field(description="its summits")
    thickness_variation: Annotated[
        float,
        Quantity("depth", low="-500 um", high="500 um", typical=("0 um", "60 um"), either_way=True),
        Unsaid(),
    ] = Field(
        0.0,
        description="pad stack from its thinnest to its thickest, as straight waves; negative: thin in the middle",
    )
    thickness_waves: Annotated[float, Quantity("ratio", low="0.25", high="40", typical=("0.5", "16"))] = (
        Field(1.0, description="waves of that height across the pad, over its diameter or a belt's width")
    )
    modulus_temperature: Annotated[
        float, Quantity("temperature", low="0 degC", high="90 degC", typical=("15 degC", "40 degC")), Unsaid()
    ] = Field(296.15, description="temperature for which hardness and moduli are stated")
    wear_coefficient: Annotated[
        float,
        Quantity(
            "per_pressure",
            low="0 1/Pa",
            least="1e-20 1/Pa",
            high="1e-6 1/Pa",
            typical=("1e-12 1/Pa", "1e-9 1/Pa"),
        ),
    ] = Field(description="pad cut by a new disk of even 100-mesh grit, per pressure and sliding distance")
    polish_wear_coefficient: Annotated[
        float, Quantity("per_pressure", low="0 1/Pa", high="1e-6 1/Pa", typical=("0 1/Pa", "1e-13 1/Pa"))
    ] = Field(description="wear of summits by polishing, per pressure on them and sliding distance")
    hardness: (
        Annotated[float, Quantity("modulus", low="0.01 MPa", high="20000 MPa", typical=("2 MPa", "200 MPa"))]
        | None
    ) = Field(
        None,
        description="mean pressure on a diamond that ploughs the top pad; 3/8 of the modulus of the solid "
        "between the pores where not given",
    )
    density: Annotated[
        float, Quantity("density", low="0.02 g/cm^3", high="5 g/cm^3", typical=("0.2 g/cm^3", "1.3 g/cm^3"))
    ] = Field(description="density of the top pad")
    heat_capacity: Annotated[
        float,
        Quantity(
            "heat_capacity",
            low="100 J/(kg*K)",
            high="10000 J/(kg*K)",
            typical=("800 J/(kg*K)", "2500 J/(kg*K)"),
        ),
    ] = Field(description="heat capacity of the top pad")
    conductivity: Annotated[
        float,
        Quantity(
            "conductivity", low="0.005 W/(m*K)", high="50 W/(m*K)", typical=("0.02 W/(m*K)", "0.6 W/(m*K)")
        ),
    ] = Field(description="heat conductivity of the top pad")
    drainage_length: (
        Annotated[float, Quantity("length", low="0.01 mm", high="1000 mm", typical=("0.3 mm", "50 mm"))]
        | None
    ) = Field(
        None,
        description="over which open pores of the surface let fluid pressure escape; where not given they do not",
    )
    film_offset: (
        Annotated[float, Quantity("depth", low="-100 um", high="100 um", typical=("-20 um", "20 um"))] | None
    ) = Field(
        None,
        description="added to the gap that the slurry finds over the mean plane of the summits; 0 where not given",
    )
