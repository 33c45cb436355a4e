"""How much one layout may ask for: limits that are checked before room is made or work begun."""

from __future__ import annotations

#: Cells of one map. A reticle field of 26 mm x 33 mm in cells of 10 um has 8.6 million.
MOST_CELLS = 10_000_000
#: Side of a cell [m]: a die is smaller.
LARGEST_CELL = 0.1
#: Steps of placing and sweeping shapes for one map: about half a minute on one core. Counted, not timed, so
#: that the same layout is refused everywhere or nowhere.
MOST_WORK = 6_000_000_000
#: Cells that a layout may define.
MOST_STRUCTURES = 500_000
#: Coordinates [database units] up to which whole numbers are exact.
FARTHEST = 2.0**53
#: Steps of dividing the polygons of one file into rectangles and quads.
MOST_SPLITTING = 5_000_000_000
#: The same for a person's own file, on the command line, where a bar shows how far it is.
OWN_WORK = 100 * MOST_WORK
