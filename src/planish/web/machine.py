"""What the page needs to draw the machine: geometry in metres, speeds, and the path of a wafer point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.physics.motion import motion
from planish.predict.wafer.conditions import motion_numbers

if TYPE_CHECKING:
    from planish.setup.si import Bench

Array = NDArray[np.float64]
POINTS = 720
INSIDE = 0.010  # [m] from the wafer's edge: where the drawn point sits


def geometry(bench: Bench) -> dict[str, Any]:
    """Return the machine of a setup as plain numbers [m], [rad/s], [Pa]."""
    machine, disk, ring = bench.polisher, bench.conditioner, bench.head.ring
    return {
        "motion": machine.motion,
        "wafer_radius": bench.wafer.radius,
        "wafer_thickness": bench.wafer.thickness,
        "edge_exclusion": bench.wafer.edge_exclusion,
        "centre_offset": machine.centre_offset,
        "platen_radius": machine.platen_radius,
        "belt_width": machine.belt_width,
        "belt_length": machine.belt_length,
        "roller_radius": machine.roller_radius,
        "orbit_radius": machine.orbit_radius,
        "pad_radius": machine.pad_radius,
        "oscillation_amplitude": machine.oscillation_amplitude,
        "oscillation_frequency": machine.oscillation_frequency,
        "delivery": machine.delivery,
        "dispense_radius": machine.dispense_radius,
        "bearing": None
        if machine.bearing is None
        else {"outer_radii": machine.bearing.outer_radii, "pressures": machine.bearing.pressures},
        "zones": bench.head.zone_outer_radii,
        "ring": None if ring is None else {"gap": ring.gap, "width": ring.width},
        "layers": [{"thickness": layer.thickness, "modulus": layer.modulus} for layer in bench.pad.layers],
        "grooves": {
            "pattern": bench.pad.grooves.pattern,
            "pitch": bench.pad.grooves.pitch,
            "width": bench.pad.grooves.width,
            "depth": bench.pad.grooves.depth,
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
                "platen": step.platen_speed,
                "belt": step.belt_speed,
                "orbit": step.orbit_speed,
                "carrier": step.carrier_speed,
                "conditioning": step.conditioning,
                "flow": step.flow,
            }
            for step in bench.steps
        ],
    }


def point_path(bench: Bench, step: int) -> tuple[Array, float]:
    """Return the path (2, n) [m] on the pad of a point near the wafer's edge, and how long it takes [s]."""
    chosen = bench.steps[step]
    speeds = {"rotary": chosen.platen_speed, "linear": chosen.carrier_speed, "orbital": chosen.carrier_speed}
    slowest = abs(speeds[bench.polisher.motion])
    duration = 6 * 2 * np.pi / slowest if slowest else 10.0
    if bench.polisher.motion == "orbital" and chosen.orbit_speed:
        duration = min(duration, 40 * 2 * np.pi / abs(chosen.orbit_speed))
    if bench.polisher.motion == "linear":
        duration = min(duration, 10.0)
    times = np.linspace(0.0, duration, POINTS)
    x, y = motion.wafer_path_on_pad(
        bench.polisher.motion, bench.wafer.radius - INSIDE, 0.0, times, **motion_numbers(bench, chosen)
    )
    return np.stack([x, y]), duration
