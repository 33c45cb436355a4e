"""Invented wafers as a fab would hand them over: tables of runs that name site files of many wafers. Nobody measured these."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

START = datetime(2026, 1, 1, tzinfo=UTC)
TOOLS = ("A", "B", "C", "D")


def write_table(
    folder: Path,
    first: int,
    count: int,
    *,
    every: timedelta = timedelta(minutes=3),
    sites: int = 49,
    ending: str = "parquet",
    shift: float = 0.0,
) -> Path:
    """Write the wafers ``first`` to ``first + count`` with their sites; returns the table of runs.

    The rate sinks by a fifth over the 500 wafers of each pad; ``shift`` [nm/min] is added to it.
    """
    random = np.random.default_rng(first)
    number = np.arange(first, first + count)
    names = [f"W{each:07d}" for each in number]
    age = number // len(TOOLS) % 500
    rate = 300.0 * (1 - 0.2 * age / 500) + random.normal(0, 3, count) + shift
    turn = (
        np.arange(sites) * np.pi * (3 - np.sqrt(5))
    )  # a spiral: as many sites as are wanted, evenly over the wafer
    radius = 147 * np.sqrt(np.arange(sites) / (sites - 1))
    x, y = np.round(radius * np.cos(turn), 3), np.round(radius * np.sin(turn), 3)
    bowl = 1 + 0.02 * (np.hypot(x, y) / 150) ** 2
    before = 1000 + random.normal(0, 2, (count, sites))
    after = before - rate[:, None] * bowl + random.normal(0, 0.5, (count, sites))
    stem = f"{first:08d}"
    for which, values in (("pre", before), ("post", after)):
        frame = pl.DataFrame(
            {
                "wafer": np.repeat(names, sites),
                "site": np.tile([str(each + 1) for each in range(sites)], count),
                "x_mm": np.tile(x, count),
                "y_mm": np.tile(y, count),
                "thickness_nm": np.round(values.ravel(), 2),
            }
        )
        _write(frame, folder / f"{stem}-{which}.{ending}")
    table = pl.DataFrame(
        {
            "wafer": names,
            "lot": [f"L{each // 25:06d}" for each in number],
            "tool": [TOOLS[each % len(TOOLS)] for each in number],
            "head": [str(1 + each % 3) for each in number],
            "recipe": ["oxide-60"] * count,
            "polished at": [(START + each * every).isoformat() for each in number.tolist()],
            "pad id": [f"{TOOLS[each % 4]}{each // 4 // 500}" for each in number],
            "pad wafers": age,
            "time_s": [60.0] * count,
            "recipe.step.main.ring_pressure": ["4 psi"] * count,
            "pre file": [f"{stem}-pre.{ending}"] * count,
            "post file": [f"{stem}-post.{ending}"] * count,
        }
    )
    return _write(table, folder / f"{stem}-runs.{ending}")


def _write(frame: pl.DataFrame, path: Path) -> Path:
    if path.suffix == ".csv":
        frame.write_csv(path)
    else:
        frame.write_parquet(path)
    return path
