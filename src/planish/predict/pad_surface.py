"""The pad's summits as the setup's own disk leaves them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planish.physics.conditioning import load_per_diamond, roughness_ratio

if TYPE_CHECKING:
    from planish.setup.si import Bench, PadSurface


def as_conditioned(bench: Bench) -> PadSurface:
    """Return the pad's summits, scaled from the disk for which they are stated to the setup's own.

    A stated surface belongs to the reference load on a diamond
    (``conditioning.REFERENCE_LOAD``); more load on each diamond, by force or by fewer
    diamonds, cuts deeper furrows. Measured heights are kept as they were measured, and so is the
    surface of a pad that has no conditioner.
    """
    disk, surface = bench.conditioner, bench.pad.surface
    if disk is None or surface.heights is not None or disk.downforce <= 0:
        return surface
    load = load_per_diamond(disk.downforce, disk.disk_radius, disk.grit_density, disk.active_fraction)
    ratio = roughness_ratio(load, bench.pad.porosity)
    if abs(ratio - 1.0) < 1e-9:
        return surface
    return replace(surface, height_sd=surface.height_sd * ratio, tail_length=surface.tail_length * ratio)
