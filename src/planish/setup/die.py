"""The die as described in a setup: what stands on it before polishing, and what it must keep to."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Name, Quantity, Section, ratio

_METAL = ("copper", "tungsten")

THICKNESS = Annotated[
    float, Quantity("thickness", above="0 nm", least="0.01 nm", high="50 um", typical=("2 nm", "10000 nm"))
]
LIMIT = Annotated[
    float, Quantity("thickness", above="0 nm", least="0.01 nm", high="10 um", typical=("0.5 nm", "300 nm"))
]

# Which processes each key speaks of; keys not listed here speak of all.
BELONGS: dict[str, tuple[str, ...]] = {
    "step": ("oxide", "sti"),
    "thickness": ("oxide",),
    "bias": ("oxide", "sti"),
    "step_limit": ("oxide",),
    "least_left": ("oxide",),
    "nitride": ("sti",),
    "nitride_limit": ("sti",),
    "trench_depth": _METAL,
    "overburden": ("sti", *_METAL),
    "deposited": _METAL,
    "barrier": _METAL,
    "dishing_limit": ("sti", *_METAL),
    "erosion_limit": _METAL,
    "oxide_material": ("oxide", "sti"),
    "nitride_material": ("sti",),
    "metal": _METAL,
    "barrier_material": _METAL,
    "dielectric": _METAL,
}


class DieSection(Section):
    """What stands on the die. A key left out takes the usual value of the process."""

    process: Literal["oxide", "sti", "copper", "tungsten"] = Field(description="what is polished")
    step: THICKNESS | None = Field(None, description="oxide, sti: step before polishing")
    thickness: THICKNESS | None = Field(None, description="oxide: thickness over the lines before polishing")
    bias: (
        Annotated[float, Quantity("thickness", low="-5 um", high="5 um", typical=("-300 nm", "800 nm"))]
        | None
    ) = Field(None, description="oxide, sti: how far the film moves each edge of the layout outwards")
    step_limit: LIMIT | None = Field(None, description="oxide: a step below this counts as gone")
    least_left: THICKNESS | None = Field(None, description="oxide: least that must stay over the lines")
    nitride: THICKNESS | None = Field(None, description="sti: nitride on the active areas")
    nitride_limit: LIMIT | None = Field(None, description="sti: most nitride that may be lost")
    trench_depth: THICKNESS | None = Field(None, description="metal: depth of the lines in the dielectric")
    overburden: THICKNESS | None = Field(
        None, description="sti: oxide on nitride; metal: metal on the dielectric"
    )
    deposited: THICKNESS | None = Field(
        None, description="metal: how thick the film was laid, which sets its step over a line"
    )
    barrier: (
        Annotated[
            float, Quantity("thickness", low="0 nm", least="0.01 nm", high="1 um", typical=("1 nm", "100 nm"))
        ]
        | None
    ) = Field(None, description="metal: barrier under it; 0 nm for none")
    dishing_limit: LIMIT | None = Field(None, description="sti, metal: most dishing")
    erosion_limit: LIMIT | None = Field(None, description="metal: most dielectric that may be lost")
    oxide_material: Name | None = Field(None, description="oxide, sti: its name in [removal]")
    nitride_material: Name | None = Field(None, description="sti: its name in [removal]")
    metal: Name | None = Field(
        None, description="metal: its name in [removal]; the process's where not given"
    )
    barrier_material: Name | None = Field(None, description="metal: the barrier's name in [removal]")
    dielectric: Name | None = Field(None, description="metal: the dielectric's name in [removal]")
    planarization_length: (
        Annotated[float, Quantity("length", low="0.05 mm", high="100 mm", typical=("0.2 mm", "20 mm"))] | None
    ) = Field(None, description="a measured planarization length, in place of the pad stack's own")
    wavelength: (
        Annotated[float, Quantity("thickness", low="1 nm", high="2000 nm", typical=("10 nm", "500 nm"))]
        | None
    ) = Field(None, description="of the next exposure, for the planarity budget")
    aperture: Annotated[float, ratio("0.01", "2", typical=("0.2", "1.4"))] | None = Field(
        None, description="numerical aperture of the next exposure"
    )
    k2: Annotated[float, ratio("0.01", "2", typical=("0.3", "1.2"))] | None = Field(
        None, description="k2 of its depth of focus k2 * wavelength / aperture^2"
    )
