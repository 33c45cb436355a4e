"""An orbital polisher as a setup describes it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from planish.physics.motion.orbital import Orbital
from planish.setup.finding import Finding, wrong
from planish.setup.part import own_parts
from planish.setup.polisher import (
    DISPENSE,
    FLATNESS,
    FLATNESS_TEXT,
    WAVES,
    WAVES_TEXT,
    MotionKind,
    PolisherSection,
)
from planish.setup.quantity import Quantity, ratio


class OrbitalPolisher(PolisherSection):
    """A pad that runs on a small circle without turning, usually fed through holes."""

    edge_key: ClassVar[str] = "pad_diameter"

    motion: Literal["orbital"] = Field(description="how the pad moves")
    orbit_radius: Annotated[
        float, Quantity("length", above="0 mm", least="0.1 mm", high="200 mm", typical=("3 mm", "40 mm"))
    ] = Field(description="radius of the circle on which the pad runs")
    pad_diameter: Annotated[
        float, Quantity("length", low="30 mm", high="2000 mm", typical=("180 mm", "600 mm"))
    ] = Field(description="diameter of the pad")
    hole_fraction: Annotated[float, ratio("0", "0.5", typical=("0.1 %", "10 %"), least="1e-5")] = Field(
        description="share of the pad area that is feed holes"
    )
    delivery: Literal["top", "through-pad"] = Field(
        description="slurry dropped on top, or fed up through the pad"
    )
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the pad's axis")
    flatness: FLATNESS = Field(0.0, description=FLATNESS_TEXT)
    flatness_waves: WAVES = Field(1.0, description=WAVES_TEXT)

    def machine(self) -> Orbital:
        """Return the machine in SI."""
        return Orbital(
            orbit_radius=self.orbit_radius,
            pad_radius=self.pad_diameter / 2.0,
            hole_fraction=self.hole_fraction,
            delivery=self.delivery,
            dispense_radius=self.dispense_radius,
            flatness=self.flatness,
            flatness_waves=self.flatness_waves,
        )

    def problems(self, table: dict[str, Any], radius: float) -> Iterator[Finding]:
        """Yield a feed through a pad without holes.

        Parameters
        ----------
        table
            The polisher's, as written.
        radius
            Of the wafer [m]; not used.

        Yields
        ------
        Finding
            At most one finding.
        """
        if self.delivery == "through-pad" and not self.hole_fraction:
            yield wrong(
                "polisher.hole_fraction", table["hole_fraction"], "above 0", "slurry is fed through the pad"
            )


# Our own speeds: 1 m/s on an orbit of 15 mm (637 orbits/min), to 10; a prime for the carrier. The disk goes as far as
# the wafer comes on the pad: its radius and that of the orbit. The wafer covers nearly the whole pad of an orbital
# polisher, so its pad is conditioned between wafers.
ORBITAL = MotionKind(
    machine=Orbital,
    model=OrbitalPolisher,
    what="orbital polisher (orbiting pad, slurry fed through it)",
    part=lambda diameter: own_parts("polisher")["orbital-300"],
    gentle={"orbit_speed": "430 orbits/min", "carrier_speed": "13 rpm"},
    main={"orbit_speed": "640 orbits/min", "carrier_speed": "13 rpm"},
    disk={
        "sweep.kind": "slide",
        "sweep.inner": "0 mm",
        "sweep.outer": "165 mm",
        "mode": "ex-situ",
        "ex_situ_time": "20 s",
    },
)
