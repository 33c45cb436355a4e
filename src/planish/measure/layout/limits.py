"""How much one layout may ask for: limits that are checked before room is made or work begun.

Work is counted, not timed, so that the same layout is refused everywhere or nowhere.
"""

from __future__ import annotations

from dataclasses import dataclass

#: Side of a cell [m]: a die is smaller.
LARGEST_CELL = 0.1
#: Coordinates [database units] up to which whole numbers are exact.
FARTHEST = 2.0**53


@dataclass(frozen=True, slots=True)
class Limits:
    """What reading and mapping one layout may take.

    Attributes
    ----------
    cells
        Of one map.
    work
        Steps of placing and sweeping shapes.
    splitting
        Steps of dividing polygons (ten nanoseconds each, roughly).
    structures, placements
        That a file may define, and of them.
    stored
        Shapes (rectangles of 16 bytes; a quad counts as four; past some hundred MB they lie on disk).
    unpacked
        Bytes of a gzipped layout.
    memory, memory_per_byte, most_memory
        For what parses OASIS [bytes]: at least, so much more for each byte of the file, at most.
    seconds, seconds_per_byte, most_seconds
        Of processor time for the same [s].
    """

    cells: int
    work: int
    splitting: int
    structures: int
    placements: int
    stored: int
    unpacked: int
    memory: int
    memory_per_byte: int
    most_memory: int
    seconds: int
    seconds_per_byte: float
    most_seconds: int


#: A file from anyone: at most about 1 GB of memory and a minute. A reticle field of 26 mm x 33 mm in cells
#: of 10 um has 8.6 million of them.
STRANGER = Limits(
    cells=9_000_000,
    work=1_500_000_000,
    splitting=2_000_000_000,
    structures=100_000,
    placements=1_500_000,
    stored=40_000_000,
    unpacked=4 << 30,
    memory=900 << 20,
    memory_per_byte=4,
    most_memory=4 << 30,
    seconds=30,
    seconds_per_byte=2e-7,
    most_seconds=60,
)
#: A person's own file, read where the person waits for it and may stop it.
OWN = Limits(
    cells=16_000_000,
    work=200_000_000_000,
    splitting=200_000_000_000,
    structures=5_000_000,
    placements=50_000_000,
    stored=2_000_000_000,
    unpacked=1 << 40,
    memory=4 << 30,
    memory_per_byte=0,
    most_memory=4 << 30,
    seconds=600,
    seconds_per_byte=0.0,
    most_seconds=600,
)
