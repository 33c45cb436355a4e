"""Removal laws as described in a setup, one table a material."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from planish.setup.quantity import Name, Quantity, Section, ratio

# law: {coefficient: dimension}. "number" is a bare number in SI: its unit depends on other coefficients.
LAWS: dict[str, dict[str, str]] = {
    "preston": {"k_p": "per_pressure"},
    "power": {"k": "number", "alpha": "number", "beta": "number"},
    "offset": {"k_p": "per_pressure", "b": "number", "c": "rate"},
    "threshold": {"k_p": "per_pressure", "p_threshold": "pressure"},
    "abrasive": {"c1": "number", "c2": "number", "c0": "rate"},
    "two-step": {
        "a": "number",
        "e_a": "energy_per_mol",
        "k_m": "number",
        "friction": "number",
        "molar_volume": "number",
    },
}
# The coefficient that a measured rate at the reference condition settles, where the others are given.
SCALE: dict[str, str] = {"preston": "k_p", "power": "k", "threshold": "k_p"}


class ReferenceSection(Section):
    """The condition at which the rate or the coefficients were measured; every factor is 1 there."""

    pressure: Annotated[
        float, Quantity("pressure", above="0 psi", high="100 psi", typical=("1 psi", "6 psi"))
    ] = Field(description="pressure on the wafer")
    speed: Annotated[float, Quantity("speed", above="0 m/s", high="20 m/s", typical=("0.5 m/s", "2 m/s"))] = (
        Field(description="mean speed between wafer and pad")
    )
    temperature: Annotated[
        float, Quantity("temperature", low="0 degC", high="95 degC", typical=("25 degC", "55 degC"))
    ] = Field(description="pad temperature under the wafer")
    fresh_fraction: Annotated[float, ratio(above="0", high="1", typical=("30 %", "100 %"))] = Field(
        description="share of fresh slurry under the wafer"
    )
    abrasive_fraction: Annotated[float, ratio("0", "0.6")] | None = Field(
        None, description="abrasive, share by weight; the slurry's where not given"
    )
    real_pressure: (
        Annotated[float, Quantity("modulus", above="0 MPa", high="10000 MPa", typical=("5 MPa", "100 MPa"))]
        | None
    ) = Field(
        None, description="mean pressure on the summits in contact; that of the reference pad where not given"
    )
    pad: Name | None = Field(None, description="catalogue pad on which the rate was measured")


class RemovalSection(Section):
    """How one material polishes with this slurry."""

    law: Literal["preston", "power", "offset", "threshold", "abrasive", "two-step"] = Field(
        description="form of the rate law"
    )
    rate: (
        Annotated[
            float, Quantity("rate", low="0 nm/min", high="1e6 nm/min", typical=("5 nm/min", "800 nm/min"))
        ]
        | None
    ) = Field(
        None, description="rate at the reference pressure and speed, instead of the leading coefficient"
    )
    coefficients: dict[str, Any] = Field({}, description="coefficients of the law")
    spread: Annotated[float, ratio("0", "2", typical=("3 %", "20 %"))] = Field(
        0.0, description="relative spread of the rate"
    )
    activation_energy: Annotated[
        float,
        Quantity("energy_per_mol", low="0 kJ/mol", high="500 kJ/mol", typical=("0 kJ/mol", "60 kJ/mol")),
    ] = Field(0.0, description="of the rate; 0 switches its temperature dependence off")
    reference: ReferenceSection = Field(description="condition at which the rate was measured")
