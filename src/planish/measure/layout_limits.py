"""How much one layout may ask for: limits that are checked before room is made or work begun."""

from __future__ import annotations

#: Cells of one map. A reticle field of 26 mm x 33 mm in cells of 10 um has 8.6 million.
MOST_CELLS = 10_000_000
#: Side of a cell [m]: a die is smaller.
LARGEST_CELL = 0.1
