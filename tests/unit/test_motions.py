"""Motions: a fourth one from outside works end to end, and few files know the names of the three."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, ClassVar, Literal

import numpy as np
import pytest
from pydantic import Field

import planish
from planish.errors import SetupError
from planish.explain.figures.machine import machine_plan, speeds_text
from planish.jobs import machine
from planish.physics.motion.linear import Linear
from planish.physics.motion.motion import Drive, Outline
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.part import Part, PartValue
from planish.setup.polisher import DISPENSE, MotionKind, PolisherSection
from planish.setup.quantity import Quantity
from planish.setup.schema import json_schema

SRC = Path(planish.__file__).parent
AT_HOME = re.compile(r"(physics|setup)/motions?/|setup/parts/")
MOST = 2


def test_few_files_know_the_name_of_a_motion() -> None:
    """Quoted, or as an attribute of the page: outside the records and the catalogue."""
    name = re.compile(r"""["'](rotary|linear|orbital)(-\d+)?["']|\b(rotary|linear|orbital): """)
    knowing = [
        place
        for path in sorted(SRC.rglob("*"))
        if path.suffix in (".py", ".js", ".html", ".css", ".toml")
        and not AT_HOME.search(place := path.relative_to(SRC).as_posix())
        and name.search(path.read_text(encoding="utf-8"))
    ]
    assert len(knowing) <= MOST, knowing


# An invented machine: a straight pad that goes to and fro under the carrier, its speed a cosine in time.

PHASES = (np.arange(256) + 0.5) * (2 * np.pi / 256)


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Shuttle(Linear):
    """``belt_speed`` is the highest speed of a pad on a fixed bed, ``stroke`` [m] how far it goes to each side."""

    motion: ClassVar[str] = "shuttle"
    drive: ClassVar[Drive] = Drive("belt_speed", "pad", "m/s", "m/s", turns=False)
    polisher_word: ClassVar[str] = "bed"
    rests_on: ClassVar[str] = "bed that goes to and fro"
    place_word: ClassVar[str] = "distance from the pad's centre line"
    on_platen: ClassVar[bool] = True

    stroke: float

    @property
    def outline(self) -> Outline:
        return Outline(straight=True, edge=self.pad_edge, length=self.belt_length)

    def mean_speed(self, r, drive, carrier):
        each = [Linear.mean_speed(self, r, drive * c, carrier) for c in np.cos(PHASES)]
        return np.mean(each, axis=0)

    def speed_between(self, r, R, drive, carrier):
        return np.mean([Linear.speed_between(self, r, R, drive * c, carrier) for c in np.cos(PHASES)], axis=0)

    def path(self, r0, phi0, times, drive, carrier):
        x, y = Linear.path(self, r0, phi0, times, 0.0, carrier)
        return x - self.stroke * np.sin(drive / self.stroke * np.asarray(times)), y


class ShuttlePolisher(PolisherSection):
    """A pad that goes to and fro."""

    edge_key: ClassVar[str] = "pad_width"

    motion: Literal["shuttle"] = Field(description="how the pad moves")
    pad_width: Annotated[float, Quantity("length", low="30 mm", high="2000 mm")] = Field(description="width")
    pad_length: Annotated[float, Quantity("length", low="30 mm", high="5000 mm")] = Field(
        description="length"
    )
    stroke: Annotated[float, Quantity("length", low="1 mm", high="1000 mm")] = Field(
        description="to each side"
    )
    delivery: Literal["top", "through-pad"] = Field(description="from above, or through the pad")
    dispense_radius: DISPENSE = Field(description="distance of the drop point from the centre line")

    def machine(self) -> Shuttle:
        # Linear counts both sides of an endless belt: once round is twice the length.
        return Shuttle(
            belt_width=self.pad_width,
            belt_length=self.pad_length,
            stroke=self.stroke,
            delivery=self.delivery,
            dispense_radius=self.dispense_radius,
        )


PART = Part(
    "polisher",
    "shuttle-300",
    "a pad that goes to and fro (invented)",
    {
        key: PartValue(value, "invented for this test")
        for key, value in {
            "motion": "shuttle",
            "pad_width": "420 mm",
            "pad_length": "1200 mm",
            "stroke": "300 mm",
            "delivery": "top",
            "dispense_radius": "0 mm",
        }.items()
    },
)
KIND = MotionKind(
    machine=Shuttle,
    model=ShuttlePolisher,
    what="shuttle polisher (a pad that goes to and fro)",
    part=lambda diameter: PART,
    gentle={"belt_speed": "1 m/s", "carrier_speed": "20 rpm"},
    main={"belt_speed": "2 m/s", "carrier_speed": "20 rpm"},
    disk={"sweep.kind": "slide", "sweep.inner": "-150 mm", "sweep.outer": "150 mm"},
)


@pytest.fixture
def shuttle() -> Iterator[planish.Setup]:
    MOTIONS.add(KIND)
    yield loads(new_setup("shuttle"))
    MOTIONS.remove("shuttle")


def test_a_motion_from_outside_polishes_a_wafer_and_a_lot(shuttle: planish.Setup) -> None:
    result = planish.polish(shuttle)
    main = shuttle.rig.steps[1]
    machine, speeds = shuttle.rig.polisher, (main.belt_speed, main.carrier_speed)
    # Its speeds are those of its own path, sampled over a whole number of strokes and many turns.
    t = (np.arange(200_000) + 0.5) * (2 * np.pi * 300 * machine.stroke / speeds[0] / 200_000)
    h = 1e-6
    ahead, behind = (np.array(machine.path(0.1, 0.3, t + s, *speeds)) for s in (h, -h))
    sampled = np.hypot(*(ahead - behind)).mean() / (2 * h)
    assert float(machine.mean_speed(0.1, *speeds)) == pytest.approx(sampled, rel=1e-3)
    figures = result.summary()
    assert figures["mean_removed_nm"] > 550
    lot = planish.polish_lot(shuttle, wafers=3)
    assert lot.records.worn[-1].max() > 0


def test_it_is_written_checked_drawn_and_offered(shuttle: planish.Setup) -> None:
    assert shuttle.motion == "shuttle"
    assert "belongs to the linear and the shuttle motion" in _refusal("rotary", "belt_speed", "1 m/s")
    with pytest.raises(SetupError, match=r"polisher.pad_width = '200 mm': must be larger: the wafer hangs"):
        shuttle.replace({"polisher.pad_width": "200 mm"})
    with pytest.raises(SetupError, match="stroke_length: unknown key"):
        shuttle.replace({"polisher.stroke_length": "1 mm"})
    assert "polisher.stroke" in [info.path for info in keys("shuttle")]
    assert "ShuttlePolisher" in json_schema()["$defs"]
    assert speeds_text(shuttle.rig, shuttle.rig.steps[1]) == "pad 2.00 m/s, carrier 20 rpm"
    assert machine_plan(shuttle.rig).axes
    told = machine.geometry(shuttle.rig)
    assert "shuttle" in told["motions"]
    assert told["outline"]["edge"] == pytest.approx(0.21)
    path, seconds = machine.point_path(shuttle.rig, 1)
    assert np.ptp(path[0]) > 0.6
    assert seconds <= 10.0


def test_taken_out_it_is_unknown_again() -> None:
    assert "shuttle" not in MOTIONS
    with pytest.raises(SetupError, match="must be one of rotary, linear, orbital"):
        loads(new_setup("rotary").replace('part = "rotary-300"', 'motion = "shuttle"'))


def _refusal(motion: str, key: str, value: str) -> str:
    with pytest.raises(SetupError) as refused:
        loads(new_setup(motion)).replace({f"recipe.step.1.{key}": value})
    return str(refused.value)
