"""Copper lines over a tantalum barrier."""

from planish.predict.die.processes.metal import MetalLevel
from planish.setup.processes import Process

COPPER = Process(
    "copper", "copper in trenches, until copper and barrier are off the field", MetalLevel(), ("copper",)
)
