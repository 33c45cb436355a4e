"""The conditioning disk and how it sweeps the pad."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from planish.setup.quantity import Descriptive, Quantity, Section, Unsaid, ratio

FORCES = (
    "common practice; 3.6 and 8 lbf in 'Investigation of Diamond Grit Size and Conditioning Force Effect on "
    "CMP Pads Topography' (abstract)"
)
DRIVES = "a plain sweep of 10 to 19 a minute over 275 mm takes 0.14 to 0.27 m/s and 0.15 to 0.54 m/s²: common practice, no source"
ARM = Annotated[
    float, Quantity("length", low="0 mm", least="1 mm", high="3000 mm", typical=("150 mm", "1000 mm"))
]
DISKS = "fitted to US 7,150,677 B2, table 1 (read), and about it: no source says how widely it varies"
RADIUS = Annotated[float, Quantity("length", low="-1000 mm", high="1000 mm", typical=("-400 mm", "400 mm"))]


class SweepSection(Section):
    """How the disk's centre moves over the pad radius (belt: the distance from its centre line)."""

    kind: Literal["arm", "slide"] = Field(description="a swinging arm, or a straight slide")
    inner: RADIUS = Field(description="innermost place of the disk's centre")
    outer: RADIUS = Field(description="outermost place of the disk's centre")
    frequency: Annotated[
        float,
        Quantity("frequency", low="0.01 1/min", high="300 1/min", typical=("2 1/min", "40 1/min")),
    ] = Field(description="sweeps to and fro, which wear averages; a dwell table is designed for as many")
    pivot_distance: ARM = Field(description="arm: distance of its pivot from the pad's axis")
    arm_length: ARM = Field(description="arm: from pivot to disk centre")
    top_speed: Annotated[
        float,
        Quantity("speed", low="1 mm/s", high="10 m/s", typical=("0.15 m/s", "1 m/s"), source=DRIVES),
        Unsaid(),
    ] = Field(
        0.3,
        description="fastest that the arm or slide moves the disk's centre, for the design of dwell tables",
    )
    top_acceleration: Annotated[
        float,
        Quantity(
            "acceleration", low="1 mm/s^2", high="100 m/s^2", typical=("0.2 m/s^2", "5 m/s^2"), source=DRIVES
        ),
        Unsaid(),
    ] = Field(0.6, description="largest acceleration of the disk's centre along its path, for the same")
    zone_edges: list[RADIUS] | None = Field(None, description="edges of the dwell zones, inside out")
    zone_dwell: (
        list[Annotated[float, Quantity("ratio", low="0", high="1e6", typical=("0", "1000"))]] | None
    ) = Field(None, description="relative time in each dwell zone")


class ConditionerSection(Section):
    """The conditioner; leave the table out for none."""

    gone: ClassVar[dict[str, str]] = {
        "active_fraction": "the share of the diamonds that cut follows from their size, number, height spread and the "
        "force; say grit_height_spread",
        "protrusion": "how far diamonds reach into the pad follows from the force on them; say grit_height_spread, "
        "how unevenly their tips stand",
        "dulling_time": "the cut rate falls as 1/(1 + use/time); say halving_time, the use in which it halves",
        "sharpness_floor": "the cut rate falls as 1/(1 + use/time), which has no floor; say halving_time, the use in "
        "which it halves",
    }
    kind: Annotated[Literal["electroplated", "cvd-film"], Descriptive()] = Field(
        description="diamond grit held by electroplated nickel, or a grown diamond film over fine grit"
    )
    disk_diameter: Annotated[
        float, Quantity("length", low="5 mm", high="500 mm", typical=("40 mm", "160 mm"))
    ] = Field(description="diameter of the disk")
    grit_size: Annotated[
        float, Quantity("depth", above="0 um", least="0.1 um", high="1000 um", typical=("10 um", "300 um"))
    ] = Field(description="size of a diamond")
    grit_density: Annotated[
        float,
        Quantity(
            "areal_density", low="0.001 1/mm^2", high="1e5 1/mm^2", typical=("0.5 1/mm^2", "1000 1/mm^2")
        ),
    ] = Field(description="diamonds per area, where there are any")
    grit_share: Annotated[float, ratio("0.001", "1", typical=("10 %", "100 %"))] = Field(
        description="share of the disk's face that carries diamonds"
    )
    grit_height_spread: Annotated[
        float, Quantity("ratio", low="0.001", high="1", typical=("0.03", "0.12"), source=DISKS)
    ] = Field(
        description="how unevenly the tips of the diamonds stand: standard deviation of their heights over grit_size"
    )
    tip_radius: Annotated[
        float, Quantity("depth", low="0.1 um", high="1000 um", typical=("3 um", "40 um"), source=DISKS)
    ] = Field(description="radius of a diamond's tip")
    downforce: Annotated[
        float,
        Quantity(
            "force",
            low="0 lbf",
            least="0.0001 lbf",
            high="50 lbf",
            typical=("2 lbf", "12 lbf"),
            source=FORCES,
        ),
    ] = Field(description="force on the disk")
    speed: Annotated[
        float,
        Quantity(
            "angular_speed", low="-1000 rpm", high="1000 rpm", typical=("20 rpm", "150 rpm"), either_way=True
        ),
    ] = Field(description="turning speed of the disk")
    sweep: SweepSection = Field(description="how it sweeps the pad")
    mode: Literal["in-situ", "ex-situ", "partial"] = Field(
        description="while polishing, between wafers, or for a share of the polish"
    )
    share: Annotated[float, ratio("0.001", "1", typical=("10 %", "100 %"))] = Field(
        description="partial: share of the polish time it is down"
    )
    ex_situ_time: Annotated[
        float, Quantity("time", low="0 s", least="0.1 s", high="3600 s", typical=("2 s", "120 s"))
    ] = Field(description="ex situ: time between wafers")
    halving_time: Annotated[
        float, Quantity("duration", low="0.01 h", high="100000 h", typical=("20 h", "1000 h"), source=DISKS)
    ] = Field(
        description="use until the cut rate is half that when new, for diamonds of 150 µm in furrows of 3.5 µm"
    )
    dulling_power: Annotated[
        float, Quantity("ratio", low="0", high="20", typical=("0", "8"), source=DISKS)
    ] = Field(3.8, description="how much sooner diamonds dull that go deeper for their size, as a power")
    cut_level: Annotated[
        float, Quantity("ratio", low="0.01", high="100", typical=("0.4", "2.5"), source=DISKS)
    ] = Field(
        1.0, description="cut rate when new over the one that follows from the diamonds, of this one disk"
    )
    break_in_time: Annotated[
        float, Quantity("time", low="0 s", high="36000 s", typical=("0 s", "7200 s"))
    ] = Field(description="use until a new disk cuts evenly")
    shedding: Annotated[float, ratio("0", "1", typical=("0", "1"))] = Field(
        description="relative tendency of a diamond to come loose, a scratch source"
    )
