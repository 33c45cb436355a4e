"""Scratches with a ceria slurry and with the same diluted to a quarter."""

from __future__ import annotations

from planish.experiments.record import Experiment, Row
from planish.physics.scratches import USUAL, scratch_index

STRONG, WEAK = (
    (26.0, 39.0, 41.0, 14.0, 50.0),
    (17.0, 26.0, 26.0, 9.0, 28.0),
)  # counts at 1 and 0.25 % by weight
DILUTED = 0.25


def rows() -> list[Row]:
    """Compute the rows: the large particles diluted with the rest."""
    ratio = float(scratch_index(USUAL, large_count=DILUTED * USUAL.large_count).value)
    found = [
        Row(f"count {place} at 0.25 %", weak, strong * ratio, "", "predicted")
        for place, (strong, weak) in enumerate(zip(STRONG, WEAK, strict=True), start=1)
    ]
    return [
        *found,
        Row("all at 0.25 % over all at 1 %", 100 * sum(WEAK) / sum(STRONG), 100 * ratio, "%", "shape"),
    ]


EXPERIMENT = Experiment(
    name="diluted-scratches",
    title="Scratch counts with 1 % and with 0.25 % of ceria",
    source="US 2006/0097219 A1",
    read="full text",
    rows=rows,
    said=(
        "planish cannot follow: with a quarter of the slurry's large particles the index falls to a quarter, the counts fell to "
        "six tenths. Marks that do not come from the slurry (pad, disk, debris), or summits that are full of grains already, "
        "would do it; nothing in the counts tells them apart. The abrasive content alone does not move the index: whoever "
        "dilutes a slurry gives the new count of large particles."
    ),
)
