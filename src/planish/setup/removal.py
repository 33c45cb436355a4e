"""Removal laws as described in a setup, one table a material."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any

from pydantic import Field

from planish.engine.fixed import FixedDict
from planish.physics.removal.law import Law
from planish.physics.removal.laws import LAWS, removal_rate
from planish.setup.choice import OneOf
from planish.setup.quantity import PRACTICE, Name, Quantity, Section, ratio


@lru_cache(maxsize=256)
def coefficients_of(law: Law) -> Mapping[str, Quantity]:
    """Return the coefficients of a law by name, each as a setup may give it."""
    return FixedDict(
        {c.name: Quantity(c.dimension, low=c.low, high=c.high, typical=c.typical) for c in law.coefficients}
    )


CONTENT = Annotated[float, ratio("0", "0.6", typical=("0.001 %", "15 %"), least="1e-8")] | None
#: What of the slurry a rate was measured with: keys of the reference that are those of the slurry where not given.
REFERENCE_CONTENTS = ("abrasive_fraction", "particle_size", "oxidiser_fraction", "inhibitor_fraction")
RATE = Quantity(
    "rate", low="0 nm/min", least="1e-3 nm/min", high="1e6 nm/min", typical=("0.5 nm/min", "5000 nm/min")
)


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
    particle_size: (
        Annotated[float, Quantity("thickness", low="1 nm", high="10000 nm", typical=("10 nm", "400 nm"))]
        | None
    ) = Field(None, description="mean diameter of the grains; the slurry's where not given")
    oxidiser_fraction: CONTENT = Field(
        None, description="oxidiser, share by weight; the slurry's where not given"
    )
    inhibitor_fraction: CONTENT = Field(
        None, description="inhibitor, share by weight; the slurry's where not given"
    )
    real_pressure: (
        Annotated[float, Quantity("modulus", low="0.01 MPa", high="10000 MPa", typical=("1 MPa", "200 MPa"))]
        | None
    ) = Field(
        None, description="mean pressure on the summits in contact; that of the reference pad where not given"
    )
    pad: Name | None = Field(None, description="catalogue pad on which the rate was measured")


# So that a measured rate comes out again where it was measured: what this model finds there.
MODELLED = "computed for the default rotary setup at 3 psi and 1 m/s (48 rpm), 60 s"

REFERENCE = {
    "pressure": ("3 psi", PRACTICE),
    "speed": ("1 m/s", PRACTICE),
    "temperature": ("32 degC", MODELLED),
    "fresh_fraction": (0.72, MODELLED),
    "pad": ("hard-microporous", "invented for the demo"),
}


class RemovalSection(Section):
    """How one material polishes with this slurry."""

    law: Annotated[str, OneOf(LAWS.names)] = Field(description="form of the rate law")
    rate: Annotated[float, RATE] | None = Field(
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


def rate_at_reference(law: str, coefficients: Mapping[str, float], reference: ReferenceSection) -> float:
    """Return the rate that coefficients give at the condition at which a rate was measured.

    Parameters
    ----------
    law
        Its name.
    coefficients
        By name [SI].
    reference
        That condition.

    Returns
    -------
    float
        [m/s].

    Raises
    ------
    SetupError
        For a law that there is not.
    ModelError
        For coefficients that are not the law's.
    """
    return float(
        removal_rate(
            law, coefficients, reference.pressure, reference.speed, temperature=reference.temperature
        )
    )
