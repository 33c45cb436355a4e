"""Tungsten plugs over a titanium nitride barrier."""

from planish.predict.die.processes.metal import MetalLevel
from planish.setup.processes import Process

TUNGSTEN = Process(
    "tungsten",
    "tungsten in holes, until tungsten and barrier are off the field",
    MetalLevel(
        trench_depth=500e-9,
        overburden=350e-9,
        deposited=350e-9,
        barrier=20e-9,
        metal="tungsten",
        barrier_material="titanium-nitride",
    ),
    ("tungsten",),
)
