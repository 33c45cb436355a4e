"""Ways in which a part can change: what is changed of the setup, by how much, and where it is likely to begin.

A way says nothing of what it does to a wafer: that is found by polishing with it (``signatures``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from planish.engine.record import Record
from planish.units import PSI

if TYPE_CHECKING:
    from collections.abc import Callable

    from planish.setup.si import Rig

Cause = Literal["pad", "disk", "head zone", "slurry", "incoming", "metrology"]
CAUSES: tuple[Cause, ...] = ("pad", "disk", "head zone", "slurry", "incoming", "metrology")
# Prior shares of the onset: at a change of the part itself, the rest evenly over the rows looked at.
# Invented: no source says how often; the docs tell them.
AT_PAD_CHANGE, AT_DISK_CHANGE = 0.7, 0.6
# Standard deviations of sizes before the data, invented too: as large as trade people speak of at all.
ZONE, RATE, FILM, PROFILE, SCALE = 0.05, 0.06, 0.05, 0.03, 0.02
FACTOR = 0.7  # of a change by a factor, in shares of the change that is tried
_FIRST = {
    "pad": "compare pad lot and part number with the last pad's; measure its thickness and grooves and look at its surface",
    "disk": "look at the disk for lost or worn grit and at the arm's force and sweep; measure the pad's cut rate",
    "head zone": "read the zone pressures back at the tool; look for a leak, a worn membrane or a shifted regulator",
    "slurry": "compare the batch certificate, solids, pH and density; check flow, filters and day tank",
    "incoming": "ask the deposition step for its film thickness and profile of these wafers",
    "metrology": "measure a kept reference wafer; compare with another gauge and look for a changed recipe or model of films",
}


@dataclass(frozen=True, slots=True, repr=False)
class Way(Record):
    """One way in which a part changes.

    Attributes
    ----------
    cause
        Which kind it is of.
    name
        What changes.
    how
        "rig": polished with ``changed``, its effect grows or stands; "rate", "film", "gauge": see ``which``.
    unit
        Of its size as told.
    per_unit
        What a size of 1 is in ``unit``.
    spread
        Standard deviation of the size before the data.
    one_sided
        Whether the size can only be above 0.
    lasting
        Whether what it did to the pad adds up, so that its course since the onset must be followed.
    only_new_pad
        Whether it can begin only with a new pad.
    changed
        The setup so changed by a size of ``step``.
    step
        Size of the difference.
    which
        Of "film": the shape (0 even, 1 bowl, 2 next); of "gauge": "after" or "both", and "shift" or "scale".
    beyond
        What is added to the size told: 1 where it is a factor.
    """

    cause: Cause
    name: str
    how: Literal["rig", "rate", "film", "gauge"]
    unit: str
    per_unit: float
    spread: float
    one_sided: bool = False
    lasting: bool = False
    only_new_pad: bool = False
    changed: Callable[[Rig], Rig] | None = None
    step: float = 1.0
    which: object = None
    beyond: float = 0.0

    def told(self, size: float, doubt: float) -> str:
        """Return the size in words.

        Parameters
        ----------
        size, doubt
            Of the change and its standard deviation.
        """
        value = self.beyond + self.per_unit * size
        sign = "" if self.beyond else "+"
        return f"{self.name} {value:{sign}.3g} {self.unit} (+- {abs(self.per_unit) * doubt:.2g})".replace(
            "  ", " "
        )

    @property
    def first(self) -> str:
        """What to check first."""
        return _FIRST[self.cause]


def ways_of(rig: Rig, film: float) -> list[Way]:
    """Return the ways in which the parts of a setup can change.

    Parameters
    ----------
    rig
        The setup.
    film
        Mean thickness of what is measured before [m].

    Returns
    -------
    list of Way
        Some of each cause; none of a disk that there is not.
    """
    found = [*_pad(rig), *_disk(rig), *_head(rig)]
    found.append(Way("slurry", "removal rate of the slurry", "rate", "%", 100.0, RATE, step=0.02))
    shapes = (("film thickness", FILM), ("film edge over centre", PROFILE), ("film at half radius", PROFILE))
    for number, (name, spread) in enumerate(shapes):
        # the bowl runs from -1 to 1, the next from 1 over -1/2 to 1
        span = (1.0, 2.0, -1.5)[number]
        found.append(Way("incoming", name, "film", "nm", 1e9 * film * span, spread, step=0.01, which=number))
    for place, kind in (("after", "shift"), ("after", "scale"), ("both", "shift"), ("both", "scale")):
        reads = "gauge after the polish" if place == "after" else "gauge before and after"
        per = 1e9 * film if kind == "shift" else 100.0
        unit = "nm" if kind == "shift" else "%"
        found.append(Way("metrology", f"{reads}: {kind}", "gauge", unit, per, SCALE, which=(place, kind)))
    return found


def _pad(rig: Rig) -> list[Way]:
    def layer(index: int, factor: float) -> Callable[[Rig], Rig]:
        def change(rig: Rig) -> Rig:
            layers = list(rig.pad.layers)
            layers[index] = replace(layers[index], modulus=layers[index].modulus * factor)
            surface = rig.pad.surface
            if index == 0:
                surface = replace(surface, modulus=surface.modulus * factor)
            return replace(rig, pad=replace(rig.pad, layers=tuple(layers), surface=surface))

        return change

    def wear(factor: float) -> Callable[[Rig], Rig]:
        def change(rig: Rig) -> Rig:
            worn = rig.pad.polish_wear_coefficient * factor
            return replace(rig, pad=replace(rig.pad, polish_wear_coefficient=worn))

        return change

    found = []
    for index, name in ((0, "top pad"), (-1, "sub-pad"))[: len(rig.pad.layers)]:
        for factor in (1.4, 0.7):
            words = f"{name} {'stiffer' if factor > 1 else 'softer'}, its modulus"
            found.append(
                Way("pad", words, "rig", "of usual", factor - 1.0, FACTOR, one_sided=True, lasting=True,
                    only_new_pad=True, changed=layer(index, factor), beyond=1.0)
            )  # fmt: skip
    for factor in (2.5, 0.4):
        words = (
            "pad glazes faster, its summits' wear" if factor > 1 else "pad glazes slower, its summits' wear"
        )
        found.append(
            Way("pad", words, "rig", "of usual", factor - 1.0, FACTOR, one_sided=True, lasting=True,
                changed=wear(factor), beyond=1.0)
        )  # fmt: skip
    return found


def _disk(rig: Rig) -> list[Way]:
    if rig.conditioner is None:
        return []

    def cut(factor: float) -> Callable[[Rig], Rig]:
        def change(rig: Rig) -> Rig:
            disk = rig.conditioner
            assert disk is not None  # one that changes
            return replace(rig, conditioner=replace(disk, cut_level=disk.cut_level * factor))

        return change

    words = {0.4: "disk dull, its cut", 1e-3: "disk broken, its cut", 2.5: "disk too sharp, its cut"}
    return [
        Way("disk", name, "rig", "of usual", factor - 1.0, 0.4 if factor < 0.1 else FACTOR, one_sided=True,
            lasting=True, changed=cut(factor), beyond=1.0)
        for factor, name in words.items()
    ]  # fmt: skip


def _head(rig: Rig) -> list[Way]:
    def zone(index: int) -> Callable[[Rig], Rig]:
        def change(rig: Rig) -> Rig:
            factor = np.ones(rig.head.zone_outer_radii.size)
            factor[index] = 1.02
            steps = (replace(step, zone_pressures=step.zone_pressures * factor) for step in rig.steps)
            return replace(rig, steps=tuple(steps))

        return change

    def ring(rig: Rig) -> Rig:
        return replace(
            rig, steps=tuple(replace(step, ring_pressure=1.02 * step.ring_pressure) for step in rig.steps)
        )

    zones = rig.head.zone_outer_radii.size
    found = [
        Way("head zone", f"zone {at + 1} pressure" if zones > 1 else "head pressure", "rig", "%", 100.0, ZONE,
            changed=zone(at), step=0.02)
        for at in range(zones)
    ]  # fmt: skip
    if rig.head.ring is not None and any(step.ring_pressure > 0.01 * PSI for step in rig.steps):
        found.append(
            Way("head zone", "retaining ring pressure", "rig", "%", 100.0, ZONE, changed=ring, step=0.02)
        )
    return found
