"""Chatter marks against the large particles of a slurry."""

from __future__ import annotations

from planish.experiments.record import Experiment, Kind, Row
from planish.physics.scratches import USUAL, scratch_index

# Large particles, normalised, and marks. The source says "more than 100", "about 100", "20 to 40" and "fewer than 10".
MARKS = (
    (100.0, 100.0, "over 100"),
    (10.0, 100.0, "about 100"),
    (5.0, 30.0, "20 to 40"),
    (2.0, 10.0, "under 10"),
)
FITTED = 1  # the row that settles how many marks an index of 1 is


def index(count: float) -> float:
    """Return the scratch index where the slurry has ``count`` times the reference's large particles, all else as there."""
    return float(scratch_index(USUAL, large_count=count * USUAL.large_count).value)


def rows() -> list[Row]:
    """Compute the rows."""
    count, marks, _ = MARKS[FITTED]
    each = marks / index(count)
    found = []
    for place, (large, measured, how) in enumerate(MARKS):
        kind: Kind = "fitted" if place == FITTED else "predicted"
        what = f"marks at {large:g} large particles, normalised (measured: {how})"
        found.append(Row(what, measured, each * index(large), "", kind))
    return found


EXPERIMENT = Experiment(
    name="large-particles",
    title="Chatter marks against the number of large particles in the slurry",
    source="US 6,749,488 B2, table 1",
    read="full text",
    rows=rows,
    said=(
        "The index goes in proportion to the number of large particles, marks fall faster: halving the particles took away two "
        "thirds of them, and the index says half. Of the most particles no more is said than that the marks were over 100. What thins out large particles thins out the largest most; one number of them "
        "does not say so, and the tail of sizes is taken as it was."
    ),
)
