"""The conditioning disk and how it sweeps the pad."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Quantity, Section, ratio

RADIUS = Annotated[float, Quantity("length", low="-1000 mm", high="1000 mm", typical=("40 mm", "350 mm"))]


class SweepSection(Section):
    """How the disk's centre moves over the pad radius (belt: the distance from its centre line)."""

    kind: Literal["arm", "slide"] = Field(description="a swinging arm, or a straight slide")
    inner: RADIUS = Field(description="innermost place of the disk's centre")
    outer: RADIUS = Field(description="outermost place of the disk's centre")
    frequency: Annotated[
        float, Quantity("frequency", above="0 1/min", high="300 1/min", typical=("5 1/min", "20 1/min"))
    ] = Field(description="sweeps to and fro")
    pivot_distance: Annotated[
        float, Quantity("length", low="0 mm", high="3000 mm", typical=("300 mm", "600 mm"))
    ] = Field(description="arm: distance of its pivot from the pad's axis")
    arm_length: Annotated[
        float, Quantity("length", low="0 mm", high="3000 mm", typical=("250 mm", "500 mm"))
    ] = Field(description="arm: from pivot to disk centre")
    zone_edges: list[RADIUS] | None = Field(None, description="edges of the dwell zones, inside out")
    zone_dwell: list[Annotated[float, Quantity("ratio", low="0", high="1e6")]] | None = Field(
        None, description="relative time in each dwell zone"
    )


class ConditionerSection(Section):
    """The conditioner; leave the table out for none."""

    kind: Literal["electroplated", "cvd-film"] = Field(
        description="diamond grit held by electroplated nickel, or a grown diamond film over fine grit"
    )
    disk_diameter: Annotated[
        float, Quantity("length", above="0 mm", high="500 mm", typical=("50 mm", "110 mm"))
    ] = Field(description="diameter of the disk")
    grit_size: Annotated[
        float, Quantity("depth", above="0 um", high="1000 um", typical=("20 um", "200 um"))
    ] = Field(description="size of a diamond")
    grit_density: Annotated[
        float,
        Quantity("areal_density", above="0 1/mm^2", high="1e5 1/mm^2", typical=("1 1/mm^2", "100 1/mm^2")),
    ] = Field(description="diamonds per disk area")
    active_fraction: Annotated[float, ratio(above="0", high="1", typical=("0.1 %", "20 %"))] = Field(
        description="share of the diamonds that cut"
    )
    protrusion: Annotated[
        float, Quantity("depth", above="0 um", high="1000 um", typical=("5 um", "80 um"))
    ] = Field(description="how far a cutting diamond stands out")
    downforce: Annotated[float, Quantity("force", low="0 lbf", high="50 lbf", typical=("3 lbf", "9 lbf"))] = (
        Field(description="force on the disk")
    )
    speed: Annotated[
        float, Quantity("angular_speed", low="-1000 rpm", high="1000 rpm", typical=("60 rpm", "120 rpm"))
    ] = Field(description="turning speed of the disk")
    sweep: SweepSection = Field(description="how it sweeps the pad")
    mode: Literal["in-situ", "ex-situ", "partial"] = Field(
        description="while polishing, between wafers, or for a share of the polish"
    )
    share: Annotated[float, ratio(above="0", high="1", typical=("30 %", "100 %"))] = Field(
        description="partial: share of the polish time it is down"
    )
    ex_situ_time: Annotated[float, Quantity("time", low="0 s", high="3600 s", typical=("5 s", "30 s"))] = (
        Field(description="ex situ: time between wafers")
    )
    dulling_time: Annotated[
        float, Quantity("duration", above="0 h", high="10000 h", typical=("10 h", "60 h"))
    ] = Field(description="use until the cut rate has fallen by a factor e")
    break_in_time: Annotated[
        float, Quantity("time", low="0 s", high="36000 s", typical=("600 s", "3600 s"))
    ] = Field(description="use until a new disk cuts evenly")
    sharpness_floor: Annotated[float, ratio("0", "1", typical=("10 %", "40 %"))] = Field(
        description="cut rate that a long-used disk keeps, of that when new"
    )
    shedding: Annotated[float, ratio("0", "1")] = Field(
        description="relative tendency to lose grit, a scratch source"
    )
