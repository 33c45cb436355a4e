"""What does the machine of a setup look like? Geometry in metres, speeds, and the path of a wafer point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.predict.wafer.step_plan import speeds
from planish.setup.motions.known import MOTIONS

if TYPE_CHECKING:
    from planish.setup.si import Rig

Array = NDArray[np.float64]
POINTS = 720
INSIDE = 0.010  # [m] from the wafer's edge: where the drawn point sits


def geometry(rig: Rig) -> dict[str, Any]:
    """Return the machine of a setup as plain numbers [m], [rad/s], [Pa]."""
    machine, disk, ring = rig.polisher, rig.conditioner, rig.head.ring
    return {
        "motion": machine.motion,
        "wafer_radius": rig.wafer.radius,
        "wafer_thickness": rig.wafer.thickness,
        "edge_exclusion": rig.wafer.edge_exclusion,
        "motions": MOTIONS.names(),
        "outline": machine.outline._asdict(),
        "drive": machine.drive._asdict(),
        "polisher_word": machine.polisher_word,
        "rests_on": machine.rests_on,
        "holes": machine.hole_fraction > 0 and machine.delivery != "top",
        "delivery": machine.delivery,
        "dispense_radius": machine.dispense_radius,
        "bearing": None
        if machine.bearing is None
        else {"outer_radii": machine.bearing.outer_radii, "pressures": machine.bearing.pressures},
        "zones": rig.head.zone_outer_radii,
        "ring": None if ring is None else {"gap": ring.gap, "width": ring.width},
        "layers": [{"thickness": layer.thickness, "modulus": layer.modulus} for layer in rig.pad.layers],
        "grooves": {
            "pattern": rig.pad.grooves.pattern,
            "pitch": rig.pad.grooves.pitch,
            "width": rig.pad.grooves.width,
            "depth": rig.pad.grooves.depth,
        },
        "disk": None
        if disk is None
        else {
            "radius": disk.disk_radius,
            "speed": disk.speed,
            "inner": disk.sweep.inner,
            "outer": disk.sweep.outer,
            "frequency": disk.sweep.frequency,
            "kind": disk.sweep.kind,
            "pivot": disk.sweep.pivot_distance,
            "arm": disk.sweep.arm_length,
            "mode": disk.mode,
        },
        "steps": [
            {
                "name": step.name,
                "zones": step.zone_pressures,
                "ring": step.ring_pressure,
                "drive": getattr(step, machine.drive.key),
                "carrier": step.carrier_speed,
                "conditioning": step.conditioning,
                "flow": step.flow,
            }
            for step in rig.steps
        ],
    }


def point_path(rig: Rig, step: int) -> tuple[Array, float]:
    """Return the path on the pad of a point near the wafer's edge: six turns, on a straight pad ten seconds at most.

    Parameters
    ----------
    rig
        The setup.
    step
        Number of the recipe step at whose speeds it slides, from 0.

    Returns
    -------
    tuple[Array, float]
        The path (2, POINTS) [m], and how long it takes [s].
    """
    machine, (drive, carrier) = rig.polisher, speeds(rig, rig.steps[step])
    duration = machine.path_time(6, drive, carrier)
    if machine.outline.straight:
        duration = min(duration, 10.0)
    x, y = machine.path(rig.wafer.radius - INSIDE, 0.0, np.linspace(0.0, duration, POINTS), drive, carrier)
    return np.stack([x, y]), duration
