"""The slurry as supplied, and the room it is used in."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from planish.setup.quantity import Descriptive, Name, Quantity, Section, Unsaid, ratio

LOSS = Quantity(
    "heat_transfer", low="0 W/(m^2*K)", high="20000 W/(m^2*K)", typical=("10 W/(m^2*K)", "1000 W/(m^2*K)")
)


class SlurrySection(Section):
    """The slurry as supplied to the pad."""

    name: Annotated[Name, Descriptive()] = Field(description="name in reports")
    abrasive: Annotated[Name, Descriptive()] = Field(description="what the particles are made of")
    abrasive_fraction: Annotated[float, ratio("0", "0.6", typical=("0.01 %", "30 %"), least="1e-6")] = Field(
        description="abrasive, share by weight"
    )
    particle_size: Annotated[
        float, Quantity("thickness", low="1 nm", high="10000 nm", typical=("10 nm", "400 nm"))
    ] = Field(
        description="mean diameter of the grains: moves cleaning, and the rate where size_power is not 0"
    )
    large_particle_size: Annotated[
        float, Quantity("thickness", low="50 nm", high="100000 nm", typical=("200 nm", "5000 nm"))
    ] = Field(description="diameter above which a particle counts as large; moves the scratch index")
    large_particle_count: Annotated[
        float,
        Quantity(
            "number_density",
            low="0 1/ml",
            least="1e-3 1/ml",
            high="1e12 1/ml",
            typical=("10 1/ml", "1e7 1/ml"),
        ),
    ] = Field(description="large particles per volume; moves the scratch index")
    viscosity: Annotated[
        float, Quantity("viscosity", low="0.1 mPa*s", high="1000 mPa*s", typical=("0.7 mPa*s", "10 mPa*s"))
    ] = Field(description="viscosity")
    density: Annotated[
        float, Quantity("density", low="0.5 g/cm^3", high="5 g/cm^3", typical=("0.95 g/cm^3", "1.4 g/cm^3"))
    ] = Field(description="density")
    heat_capacity: Annotated[
        float,
        Quantity(
            "heat_capacity",
            low="500 J/(kg*K)",
            high="10000 J/(kg*K)",
            typical=("2500 J/(kg*K)", "4300 J/(kg*K)"),
        ),
    ] = Field(description="heat capacity")
    temperature: Annotated[
        float, Quantity("temperature", low="0 degC", high="95 degC", typical=("10 degC", "45 degC"))
    ] = Field(description="temperature as supplied")
    friction_boundary: Annotated[float, Quantity("ratio", low="0.001", high="2", typical=("0.1", "0.8"))] = (
        Field(description="coefficient of friction when the pad touches")
    )
    size_power: Annotated[float, Quantity("ratio", low="-5", high="5", typical=("-1", "1"))] = Field(
        0.0, description="power of the grain size in what the grains do; 0: their size plays no part"
    )
    summit_power: Annotated[float, Quantity("ratio", low="-5", high="5", typical=("-1", "2"))] = Field(
        0.5, description="power of the pressure on summits in contact in what the grains do"
    )
    half_content: Annotated[float, ratio("1e-6", "1", typical=("0.1 %", "50 %"))] = Field(
        0.05, description="abrasive content at which the grains do half of the most they can"
    )
    fresh_half: Annotated[float, ratio("1e-4", "100", typical=("1 %", "100 %"))] = Field(
        0.25, description="share of fresh slurry at which the chemistry does half of the most it can"
    )
    capacity: Annotated[float, Quantity("ratio", low="1e-8", high="1", typical=("1e-4", "1e-1"))] = Field(
        1e-3, description="volume of film that a volume of slurry takes up before it is spent"
    )
    natural_exchange: Annotated[float, ratio("0", "1", typical=("5 %", "60 %"))] = Field(
        0.2, description="share of the liquid in grooves and pores that changes for fresh without a disk"
    )
    entry_share: Annotated[float, ratio("1e-4", "1", typical=("5 %", "70 %"))] = Field(
        0.25, description="share of the slurry offered that bow wave and ring let under the wafer"
    )
    oxidiser_fraction: Annotated[
        float, ratio("0", "0.6", typical=("0.01 %", "15 %"), least="1e-8"), Unsaid()
    ] = Field(0.0, description="oxidiser, share by weight; acts on the chemical terms of a rate law alone")
    oxidiser_half: Annotated[float, ratio("1e-6", "100", typical=("0.1 %", "20 %")), Unsaid()] = Field(
        0.018, description="oxidiser content at which it does half of the most it can for the chemical step"
    )
    inhibitor_fraction: Annotated[
        float, ratio("0", "0.6", typical=("0.001 %", "2 %"), least="1e-8"), Unsaid()
    ] = Field(0.0, description="inhibitor, share by weight; acts on the chemical terms of a rate law alone")
    inhibitor_half: Annotated[float, ratio("1e-8", "100", typical=("0.001 %", "5 %")), Unsaid()] = Field(
        0.0024, description="inhibitor content that makes the chemical step half as fast"
    )


class AmbientSection(Section):
    """Room and platen."""

    temperature: Annotated[
        float, Quantity("temperature", low="5 degC", high="60 degC", typical=("15 degC", "30 degC"))
    ] = Field(description="room temperature")
    platen_temperature: Annotated[
        float, Quantity("temperature", low="0 degC", high="90 degC", typical=("10 degC", "60 degC"))
    ] = Field(description="temperature at which the platen is held")
    air_loss: Annotated[float, LOSS, Unsaid()] = Field(
        60.0, description="heat that a wet pad gives to air, mostly by evaporation"
    )
    carrier_loss: Annotated[float, LOSS, Unsaid()] = Field(
        200.0, description="heat that the pad gives through slurry and wafer to the carrier"
    )
