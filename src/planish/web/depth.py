"""The lot and the die behind the page: the quick answers beside the wafer, and the long ones as jobs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.csv_text import frame_csv
from planish.web.answers import setup_of
from planish.web.packing import pack
from planish.web.tradeoffs import job_choice
from planish.web.tuned import job_tune

if TYPE_CHECKING:
    from planish import DieResult, LotResult

PLACES = ("centre", "mid", "edge")
QUICK_WAFERS = 100
Progress = Callable[[float], None]


def warm() -> str:
    """Load, and on first use compile, what a quick lot and a quick die need."""
    from planish.jobs.exchange import fresh

    document = fresh()
    lot(document, 2)
    die(document)
    return "ready"


def lot(document: Mapping[str, Any], wafers: int = QUICK_WAFERS, conditioning: bool = True) -> bytes:
    """Return a quick lot, packed."""
    from planish import polish_lot

    return pack_lot(polish_lot(setup_of(document), wafers, conditioning=conditioning))


def pack_lot(result: LotResult, most: int = 600) -> bytes:
    """Return what the page shows of a lot: one number a wafer, the pad's wear over its radius."""
    records = result.records
    every = max(1, -(-records.rate.size // most))
    picked = np.unique(np.append(np.arange(0, records.rate.size, every), records.rate.size - 1))
    arrays = {
        "wafer": picked + 1,
        "rate": records.rate[picked],
        "expected_rate": records.expected_rate[picked],
        "sigma": result.wiwnu_sigma[picked],
        "temperature": records.temperature[picked],
        "real_pressure": records.real_pressure[picked],
        "groove": records.groove_min[picked],
        "scratch": result.scratch_index()[picked],
        "pad_radius": result.ring_middles,
        "worn": records.worn[-1],
    }
    return pack({"summary": result.document(), "digest": "", "sources": result.sources()}, arrays)


def lot_csv(document: Mapping[str, Any], wafers: int) -> str:
    """Return the lot as CSV, a row a wafer."""
    from planish import polish_lot

    return frame_csv(polish_lot(setup_of(document), wafers).table())


def die(document: Mapping[str, Any], layout: str = "density-blocks", process: str = "") -> bytes:
    """Return a quick die of a test layout at centre, mid radius and edge, packed."""
    from planish import polish_die
    from planish.jobs.choices import pattern_maps

    setup = setup_of(document)
    return pack_die(polish_die(setup, pattern_maps(layout), process=process or None, place=PLACES))


def pack_die(result: DieResult, most: int = 220) -> bytes:
    """Return what the page shows of a die: the surface map at each place, thinned to at most `most` cells a side."""
    surfaces = np.stack([result.surface(i) for i in range(len(result.dies))])
    density = result.density
    step = max(1, -(-max(density.shape) // most))
    arrays = {"surface": surfaces[:, ::step, ::step], "density": density[::step, ::step]}
    ny, nx = density.shape
    header = {
        "summary": result.document(),
        "places": result.places,
        "cell_m": result.cell * step,
        "size_m": [nx * result.cell, ny * result.cell],
        "process": result.process,
        "figures": [{"name": merit.name, "words": merit.words} for merit in result.level.merits],
        "sources": result.sources(),
    }
    return pack(header, arrays)


def job_lot(options: Mapping[str, Any], folder: Path, tell: Progress) -> None:
    """A lot in depth: packed answer, CSV."""
    from planish import polish_lot
    from planish.engine.files import write_whole

    result = polish_lot(
        setup_of(options["document"]),
        int(options.get("wafers", 1000)),
        int(options.get("seed", 0)),
        conditioning=bool(options.get("conditioning", True)),
        adjust=str(options.get("adjust", "fixed")),
        progress=lambda done, total: tell(done / total),
    )
    write_whole(folder / "answer.bin", pack_lot(result))
    write_whole(folder / "table.csv", frame_csv(result.table()))


def job_die(options: Mapping[str, Any], folder: Path, tell: Progress) -> None:
    """A die in depth: packed overview, and its full maps for tiles."""
    from planish import polish_die
    from planish.engine.files import write_whole
    from planish.jobs.choices import file_maps, pattern_maps
    from planish.web.own_data import named
    from planish.web.tiles import write_pyramid

    setup = setup_of(options["document"])
    cell = float(options.get("cell_um", 50)) * 1e-6
    tell(0.02)
    if (file := options.get("file")) is not None:
        with named(file, str(options.get("file_name", "layout"))):
            maps = file_maps(file, str(options.get("layer", "")), cell)
    else:
        size = float(options.get("size_mm", 20)) * 1e-3
        maps = pattern_maps(str(options.get("layout", "density-blocks")), cell, size)
    tell(0.2)
    result = polish_die(
        setup,
        maps,
        process=options.get("process") or None,
        place=str(options.get("place", "edge")),
        tell=lambda share: tell(0.2 + 0.65 * share),
    )
    tell(0.85)
    write_pyramid(folder, "surface", result.surface(0))
    write_pyramid(folder, "density", result.density)
    write_whole(folder / "answer.bin", pack_die(result))


def job_fit(options: Mapping[str, Any], folder: Path, tell: Progress) -> None:
    """A fit to a table of runs: packed figures with the fitted setup, and that setup as a file."""
    from planish.engine.files import write_whole
    from planish.web.fitted import fitted

    tell(0.02)
    header, toml = fitted(options, folder / "files", tell)
    write_whole(folder / "fitted.toml", toml)
    write_whole(folder / "answer.bin", pack(header, {}))


JOBS: dict[str, Callable[[Mapping[str, Any], Path, Progress], None]] = {
    "lot": job_lot,
    "die": job_die,
    "trade-off": job_choice,
    "tune": job_tune,
    "fit": job_fit,
}
