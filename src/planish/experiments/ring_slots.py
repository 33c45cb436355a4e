"""Slots in the retaining ring and the slurry film: planish has no counterpart."""

from __future__ import annotations

from planish.experiments.record import Experiment, nothing_to_say

EXPERIMENT = Experiment(
    name="ring-slots",
    title="Slurry film under the wafer with two designs of slots in the retaining ring",
    source="Electrochem. Solid-State Lett. 13(4), H119, 2010",
    read="abstract",
    rows=nothing_to_say,
    said=(
        "Measured: with slots of another design the film is 30 % thicker. planish cannot follow: a ring presses the pad and has "
        "no slots; the share of slurry that gets past it is one number (slurry.entry_share) and moves freshness, not the film, "
        "whose thickness is that of the gap which the summits hold open."
    ),
)
