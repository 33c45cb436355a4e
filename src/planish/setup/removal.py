"""Removal laws as described in a setup, one table a material."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from planish.setup.quantity import Name, Quantity, Section, ratio

# The unit of a bare number depends on other coefficients, so only its sign is known.
_ANY = Quantity("number", low="0", high="1e300")
_K_P = Quantity("per_pressure", low="0 1/Pa", high="1e-6 1/Pa", typical=("1e-16 1/Pa", "5e-12 1/Pa"))
_POWER = Quantity("number", low="0", high="10", typical=("0", "2"))
_ALWAYS = Quantity("rate", low="0 nm/min", high="1e6 nm/min", typical=("0 nm/min", "1000 nm/min"))

# law: {coefficient: what it may be}
LAWS: dict[str, dict[str, Quantity]] = {
    "preston": {"k_p": _K_P},
    "power": {"k": _ANY, "alpha": _POWER, "beta": _POWER},
    "offset": {"k_p": _K_P, "b": _ANY, "c": _ALWAYS},
    "threshold": {
        "k_p": _K_P,
        "p_threshold": Quantity("pressure", low="0 psi", high="60 psi", typical=("0 psi", "5 psi")),
    },
    "abrasive": {"c1": _ANY, "c2": _ANY, "c0": _ALWAYS},
    "two-step": {
        "a": _ANY,
        "e_a": Quantity(
            "energy_per_mol", low="0 kJ/mol", high="500 kJ/mol", typical=("0 kJ/mol", "150 kJ/mol")
        ),
        "k_m": _ANY,
        "friction": Quantity("number", low="0", high="10", typical=("0.05", "1")),
        "molar_volume": Quantity("number", low="0", high="1e-2", typical=("1e-6", "1e-4")),
    },
}
# The coefficient that a measured rate at the reference condition settles, where the others are given.
SCALE: dict[str, str] = {"preston": "k_p", "power": "k", "threshold": "k_p"}


class ReferenceSection(Section):
    """The condition at which the rate or the coefficients were measured; every factor is 1 there."""

    pressure: Annotated[
        float, Quantity("pressure", low="0.01 psi", high="100 psi", typical=("0.5 psi", "10 psi"))
    ] = Field(description="pressure on the wafer")
    speed: Annotated[
        float, Quantity("speed", low="0.001 m/s", high="20 m/s", typical=("0.1 m/s", "5 m/s"))
    ] = Field(description="mean speed between wafer and pad")
    temperature: Annotated[
        float, Quantity("temperature", low="0 degC", high="95 degC", typical=("15 degC", "70 degC"))
    ] = Field(description="pad temperature under the wafer")
    fresh_fraction: Annotated[float, ratio("0.001", "1", typical=("10 %", "100 %"))] = Field(
        description="share of fresh slurry under the wafer"
    )
    abrasive_fraction: (
        Annotated[float, ratio("0", "0.6", typical=("0.01 %", "30 %"), least="1e-6")] | None
    ) = Field(None, description="abrasive, share by weight; the slurry's where not given")
    real_pressure: (
        Annotated[float, Quantity("modulus", low="0.01 MPa", high="10000 MPa", typical=("1 MPa", "200 MPa"))]
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
            float,
            Quantity(
                "rate",
                low="0 nm/min",
                least="1e-3 nm/min",
                high="1e6 nm/min",
                typical=("0.5 nm/min", "5000 nm/min"),
            ),
        ]
        | None
    ) = Field(
        None, description="rate at the reference pressure and speed, instead of the leading coefficient"
    )
    coefficients: dict[str, Any] = Field({}, description="coefficients of the law")
    spread: Annotated[float, ratio("0", "2", typical=("0 %", "50 %"))] = Field(
        0.0, description="relative spread of the rate"
    )
    activation_energy: Annotated[
        float,
        Quantity("energy_per_mol", low="0 kJ/mol", high="500 kJ/mol", typical=("0 kJ/mol", "100 kJ/mol")),
    ] = Field(0.0, description="of the rate; 0 switches its temperature dependence off")
    reference: ReferenceSection = Field(description="condition at which the rate was measured")
