"""Layouts of ten million rectangles to 10 um coverage, beside a general layout library.

Each case runs in a process of its own, so that its peak memory is its own. The
peer is gdstk: reading the same file, then asking each polygon for its bounding
box (what any map would need first; no coverage yet).

Run: python benchmarks/bench_layout.py [--small] [--dir FOLDER]
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

CELL = 10e-6
PART = 1_000_000


def flat(count: int) -> Iterator[np.ndarray]:
    """Rectangles of 0.2 to 3 um strewn over 10 x 10 mm (less for fewer)."""
    side = int(10e6 * (count / 10_000_000) ** 0.5)
    rng = np.random.default_rng(1)
    for start in range(0, count, PART):
        k = min(PART, count - start)
        at = rng.integers(0, side - 3000, (k, 2))
        size = rng.integers(200, 3000, (k, 2))
        yield np.hstack([at, at + size]).astype(np.int32)


def crowded(count: int) -> Iterator[np.ndarray]:
    """One in ten of the rectangles crowded into 1 mm2, many deep, the others about it as in flat()."""
    crowd = count // 10
    rng = np.random.default_rng(2)
    at = rng.integers(0, 1_000_000 - 20_000, (crowd, 2))
    size = np.exp(rng.uniform(np.log(200), np.log(20_000), (crowd, 2)))
    yield np.hstack([at, at + size.astype(np.int64)]).astype(np.int32)
    for part in flat(count - crowd):
        yield part + np.int32(1_100_000)


def write_case(case: str, count: int, target: Path) -> None:
    from planish.measure.layout import gds_write

    if case == "flat":
        gds_write.write_rects(target, flat(count))
    elif case == "crowded":
        gds_write.write_rects(target, crowded(count))
    else:
        # Three levels: a cell of 100 rectangles, a block of 25 x 20 of them, an array of blocks.
        rng = np.random.default_rng(3)
        at = rng.integers(0, 7000, (100, 2))
        cell = np.hstack([at, at + rng.integers(200, 3000, (100, 2))]).astype(np.int32)
        columns = max(1, int((count / 50_000) ** 0.5 + 0.5))
        rows = max(1, count // 50_000 // columns)
        parts = [
            gds_write.structure("CELL", [gds_write.boundaries(cell, (1, 0))]),
            gds_write.structure("BLOCK", [gds_write.array_of("CELL", (0, 0), (25, 20), (9_000, 9_500))]),
            gds_write.structure(
                "TOP", [gds_write.array_of("BLOCK", (0, 0), (columns, rows), (230_000, 195_000))]
            ),
        ]
        gds_write.write_records(target, parts)


def ours(path: str) -> dict[str, float]:
    from planish.measure.layout.read import maps_from_rects, read_layout_maps

    maps_from_rects(np.array([[0, 0, 5, 5]]), 1e-8)  # load the compiled kernels
    start = time.perf_counter()
    maps = read_layout_maps(path, 1, 0, CELL, cache=False, workers=2)
    taken = time.perf_counter() - start
    return {"seconds": taken, "area": maps.coverage_area_um2, "polygons": maps.polygons}


def peer(path: str) -> dict[str, float]:
    import gdstk

    start = time.perf_counter()
    library = gdstk.read_gds(path)
    read = time.perf_counter() - start
    polygons = [p for top in library.top_level() for p in top.get_polygons()]
    for polygon in polygons:
        polygon.bounding_box()
    taken = time.perf_counter() - start
    return {"seconds": taken, "read": read, "polygons": len(polygons)}


def apart(name: str, path: Path) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, __file__, "--run", name, str(path)], capture_output=True, text=True, check=True
    )
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="a tenth of the size")
    parser.add_argument(
        "--dir", default=None, help="where the layouts are written (default: a temporary folder)"
    )
    parser.add_argument("--run", nargs=2, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.run:
        result = {"ours": ours, "peer": peer}[args.run[0]](args.run[1])
        result["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps(result))
        return
    count = 1_000_000 if args.small else 10_000_000
    print(f"{os.cpu_count()} cores; {count:,} rectangles; 10 um cells; seconds, peak MB")
    print(
        f"{'what':14} {'planish':>9} {'bar':>5} {'peak':>6} {'bar':>5} {'peer*':>8} {'peak':>6} {'ratio':>6}"
    )
    with tempfile.TemporaryDirectory(dir=args.dir) as folder:
        for case, bar in (("flat", 8.0), ("crowded", 15.0), ("hierarchical", 15.0)):
            target = Path(folder) / f"{case}.gds"
            write_case(case, count, target)
            runs = sorted((apart("ours", target) for _ in range(3)), key=lambda r: r["seconds"])
            a, b = runs[1], apart("peer", target)
            assert a["polygons"] == b["polygons"]
            print(
                f"{case:14} {a['seconds']:9.2f} {bar:5.0f} {a['peak_mb']:6.0f} {1024:5d}"
                f" {b['seconds']:8.2f} {b['peak_mb']:6.0f} {b['seconds'] / a['seconds']:6.1f}",
                flush=True,
            )
            target.unlink()
    print(
        "* gdstk: read, flatten, one bounding box a polygon; it counts no coverage. Median of 3 for planish."
    )


if __name__ == "__main__":
    main()
