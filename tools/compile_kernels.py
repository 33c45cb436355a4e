"""Compile what planish compiles at first use, so that it is there before many processes ask for it at once.

`make test` does this beside its other checks, which leave a core free. A small wafer, lot, die and layout go through
every compiled room; what they do not reach is compiled where it is used, as ever.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import gdstk

import planish


def main() -> None:
    """Run everything once, and say how long it took."""
    start = time.perf_counter()
    setup = planish.loads(planish.new_setup("rotary"))
    planish.polish(setup)
    planish.polish_lot(setup, 3)
    with tempfile.TemporaryDirectory() as folder:
        for path in layouts(Path(folder)):
            maps = planish.read_layout_maps(path, 1, 0, 20e-6, cache=False)
    for route in ("density", "contact"):
        planish.polish_die(setup, maps, place="centre", route=route)
    sys.stdout.write(f"kernels: compiled in {time.perf_counter() - start:.0f} s\n")


def layouts(folder: Path) -> list[Path]:
    """Write one layout in both formats: rectangles and slanted sides, turned and in an array."""
    library = gdstk.Library()
    leaf, top = library.new_cell("LEAF"), library.new_cell("TOP")
    leaf.add(gdstk.rectangle((0, 0), (30, 20), layer=1), gdstk.Polygon([(0, 40), (30, 40), (0, 80)], layer=1))
    top.add(
        gdstk.Reference(leaf, (600, 600), rotation=0.5),
        gdstk.Reference(leaf, (0, 0), columns=10, rows=10, spacing=(100, 100)),
        gdstk.rectangle((0, 0), (1200, 10), layer=1),
    )
    paths = [folder / "small.gds", folder / "small.oas"]
    library.write_gds(paths[0])
    library.write_oas(paths[1])
    return paths


if __name__ == "__main__":
    main()
