"""Friction against silica content: planish has no counterpart."""

from __future__ import annotations

from planish.experiments.record import Experiment, nothing_to_say

EXPERIMENT = Experiment(
    name="friction-content",
    title="Friction against the silica content of a mixed slurry",
    source="Lee & Jeong, Int. J. Precis. Eng. Manuf., mixed abrasives",
    read="full text",
    rows=nothing_to_say,
    said=(
        "Measured: most friction, 0.054 to 0.069, at 10 to 15 % by weight, less at 1 and at 30 %. planish cannot follow: the "
        "coefficient of friction on summits is a number of the slurry (friction_boundary) that the content does not move. Grains "
        "between summit and film first add contacts and then roll or lift the summit; neither is in the model."
    ),
)
