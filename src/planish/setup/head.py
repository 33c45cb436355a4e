"""The head (carrier): membrane zones, retaining ring, vacuum hold."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from planish.setup.quantity import Descriptive, Name, Quantity, Section, Unsaid, ratio

BACK_FILM = 2e9  # [Pa/m] half a millimetre of 1 MPa


class ZoneSection(Section):
    """One membrane zone; its pressure is set in the recipe steps."""

    name: Annotated[Name, Descriptive()] = Field(
        description="name of the zone, by which recipe steps may give its pressure"
    )
    outer_radius: Annotated[
        float, Quantity("length", low="1 mm", high="250 mm", typical=("10 mm", "150 mm"))
    ] = Field(description="outer radius of the zone")


class RingSection(Section):
    """The retaining ring that keeps the wafer in and presses the pad beside it."""

    gap: Annotated[
        float, Quantity("length", low="0 mm", least="0.001 mm", high="20 mm", typical=("0.2 mm", "1 mm"))
    ] = Field(description="from the wafer edge to the inner edge of the ring")
    width: Annotated[
        float, Quantity("length", above="0 mm", least="1 mm", high="100 mm", typical=("5 mm", "40 mm"))
    ] = Field(description="radial width of the ring")
    wear_rate: Annotated[
        float,
        Quantity("wear_rate", low="0 um/h", high="10000 um/h", typical=("0 um/h", "100 um/h")),
        Unsaid(),
    ] = Field(0.0, description="height that the ring's face loses while it polishes; tells its life in a lot")
    wear_allowance: Annotated[
        float,
        Quantity("length", above="0 mm", least="0.01 mm", high="20 mm", typical=("1 mm", "4 mm")),
        Unsaid(),
    ] = Field(3e-3, description="height that may be worn off the ring, the depth of its slots as a rule")
    gap_wear_rate: Annotated[
        float, Quantity("wear_rate", low="0 um/h", high="1000 um/h", typical=("0 um/h", "10 um/h")), Unsaid()
    ] = Field(
        0.0, description="how much the gap widens while it polishes, as wafer edges wear the ring's inside"
    )


class HeadSection(Section):
    """The carrier that presses the wafer on the pad."""

    kind: Annotated[Literal["membrane", "rigid"], Unsaid()] = Field(
        "membrane",
        description="a membrane presses the wafer's back, or a rigid plate on a gimbal through a film",
    )
    gimbal_height: Annotated[
        float, Quantity("length", low="-100 mm", high="300 mm", typical=("0 mm", "30 mm")), Unsaid()
    ] = Field(0.0, description="rigid head: height over the pad's face of the point about which it tilts")
    back_film: Annotated[
        float,
        Quantity(
            "stiffness_per_area",
            above="0 kPa/um",
            least="1e-4 kPa/um",
            high="1000 kPa/um",
            typical=("0.5 kPa/um", "10 kPa/um"),
        ),
        Unsaid(),
    ] = Field(BACK_FILM, description="rigid head: pressure gained per length by the film behind the wafer")
    zone: list[ZoneSection] = Field(
        description="membrane zones from the centre outwards", min_length=1, max_length=50
    )
    wall_width: Annotated[
        float, Quantity("length", low="0 mm", least="0.01 mm", high="50 mm", typical=("0.5 mm", "10 mm"))
    ] = Field(description="over which the pressure passes from one zone to the next")
    ring: RingSection | None = Field(None, description='the retaining ring; "none" for none')
    vacuum_hold: Annotated[
        float,
        Quantity("pressure", low="0 psi", least="0.01 psi", high="14.7 psi", typical=("3 psi", "13 psi")),
    ] = Field(description="suction (below ambient) that carries the wafer between pads")
    vacuum_contact: Annotated[float, ratio("0.01", "1", typical=("20 %", "90 %"))] = Field(
        description="share of the wafer's back on which the suction acts"
    )
    vacuum_span: Annotated[
        float, Quantity("length", low="1 mm", high="150 mm", typical=("5 mm", "60 mm"))
    ] = Field(description="widest stretch of wafer that spans an opening under suction")
