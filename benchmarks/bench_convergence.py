"""How far headline figures move with the resolution: wafer nodes, times, pad rings, cells of a die; all shipped examples.

Each is made 2 and 4 times as fine, alone; a figure's move is in percent of it at the finer one. A move counts as a miss
where it is above 1 %, and above what anyone could see (``SEEN``: an edge that departs by 0.4 % has 0.004 points as its
hundredth). The bar is no miss at twice the resolution, the first that a default is held against.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

os.environ.setdefault("OMP_NUM_THREADS", "1")

from planish.errors import PlanishError
from planish.measure.layout.make import make_maps
from planish.predict.die.polish import polish_die
from planish.predict.lot import pad_rings as rings_module
from planish.predict.lot import plan as plan_module
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer import polish as wafer_module
from planish.predict.wafer.contact_model import CELLS
from planish.setup.load import load
from planish.setup.models import Setup

EXAMPLES = Path(__file__).parents[1] / "examples"
FINER = (2, 4)
BAR = 1.0  # [%]
WAFERS = 3
CELL, DIE = (
    10e-6,
    5e-4,
)  # [m] the command's own cell, and a small die, so that quarters of cells are soon polished
PITCH = 0.5e-6  # [m] of its lines: a cell must hold whole ones at every size, or it is another layout
SEEN = {"percent": 0.01, "C": 0.05, "nm": 0.05, "s": 0.01, "mm": 0.02, "relative": 1e-3}
WAFER = (
    "mean_removal_rate_nm_per_min",
    "wiwnu_sigma_percent",
    "wiwnu_range_percent",
    "edge_rate_percent",
    "edge_extreme_percent",
    "edge_extreme_from_edge_mm",
    "peak_temperature_C",
    "time_s",
    "clear_time_s",
)
LOT = (
    "last_rate_nm_per_min",
    "last_wiwnu_sigma_percent",
    "peak_temperature_C",
    "mean_time_s",
    "last_scratch_index_relative",
)
ON_DIE = (
    "within_die",
    "topography",
    "clear_time",
    "window",
    "dishing",
    "erosion",
    "step_height",
    "over_lines",
    "left",
)
Figures = Mapping[str, Any]


@contextmanager
def times(finer: int) -> Iterator[None]:
    """Make the grids of times in a step, of wafer and lot, so many times as fine."""
    with ExitStack() as held:
        held.enter_context(patch.object(wafer_module, "TIMES", (wafer_module.TIMES - 1) * finer + 1))
        held.enter_context(
            patch.object(plan_module, "GRID", tuple(each * finer for each in plan_module.GRID))
        )
        yield


@contextmanager
def rings(finer: int) -> Iterator[None]:
    """Make the pad's rings so many times as narrow."""
    made = partial(rings_module.pad_rings, rings=rings_module.PAD_RINGS * finer)
    with patch.object(wafer_module, "pad_rings", made), patch.object(plan_module, "pad_rings", made):
        yield


def wafer(setup: Setup, cells: int = CELLS) -> Figures:
    """Return the figures of one wafer, with when the last place of its top film is bare."""
    found = wafer_module.polish(setup, cells=cells)
    bare = found.cleared[0][found.inside()]
    return {**found.summary(), "clear_time_s": float(bare.max()) if bare.max() < 1e9 else None}


def lot(setup: Setup, cells: int = CELLS) -> Figures:
    """Return the figures of a short lot without chance."""
    return polish_lot(setup, WAFERS, variation=Variation.none(), cells=cells).summary()


def die(setup: Setup, finer: int = 1) -> Figures:
    """Return the figures of a die."""
    maps = make_maps("density-blocks", CELL / finer, size=DIE, pitch=PITCH)
    return polish_die(setup, maps, place="mid").summary()


def finer_runs(run: Callable[..., Figures], setup: Setup) -> dict[str, Figures]:
    """Return the figures with each knob finer alone."""
    found = {}
    for by in FINER:
        found[f"nodes {by}x"] = run(setup, cells=CELLS * by)
        with times(by):
            found[f"times {by}x"] = run(setup)
        with rings(by):
            found[f"rings {by}x"] = run(setup)
    return {key: found[key] for key in sorted(found)}


def moved(value: Any, fine: Any) -> float | None:
    """Return how far a figure is from the finer one [%]; None where one of them is none."""
    if not all(isinstance(each, int | float) and not isinstance(each, bool) for each in (value, fine)):
        return None
    return 100.0 * (value - fine) / abs(fine) if fine else 0.0


def table(name: str, of: tuple[str, ...], base: Figures, finer: dict[str, Figures]) -> list[str]:
    """Print what moves by how much; return the misses."""
    missed = []
    print(f"\n{name:44} {'default':>10}" + "".join(f"{key:>11}" for key in finer))
    for key in of:
        value = base.get(key)
        if not isinstance(value, int | float):
            continue
        moves = {knob: moved(value, fine.get(key)) for knob, fine in finer.items()}
        print(
            f"{key:44} {value:10.4g}"
            + "".join(f"{'none':>11}" if move is None else f"{move:+10.2f}%" for move in moves.values())
        )
        least = SEEN.get(key.rsplit("_", 1)[-1], 0.0)
        for knob, move in moves.items():
            if move is None or (abs(move) > BAR and abs(value - finer[knob][key]) > least):
                missed.append(f"{name}: {key}, {knob}: {'none' if move is None else f'{move:+.2f} %'}")
    return missed


def main() -> int:
    """Print the tables, and the misses."""
    named = sys.argv[1:]
    missed: list[str] = []
    for file in sorted(EXAMPLES.glob("*.toml")):
        if named and file.stem not in named:
            continue
        setup = load(file)
        missed += table(f"{file.stem}, one wafer", WAFER, wafer(setup), finer_runs(wafer, setup))
        missed += table(f"{file.stem}, wafer {WAFERS} of a lot", LOT, lot(setup), finer_runs(lot, setup))
        try:
            base = die(setup)
        except PlanishError as error:
            print(f"\n{file.stem}, a die: none ({error})")
            continue
        keys = tuple(
            key
            for key, value in base.items()
            if isinstance(value, float) and any(word in key for word in ON_DIE)
        )
        cells = {f"cell/{by}": die(setup, by) for by in FINER}
        missed += table(f"{file.stem}, a die", keys, base, cells)
    print(f"\nmoves above {BAR:g} % that can be seen: {len(missed)}")
    for line in missed:
        print(f"   {line}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
