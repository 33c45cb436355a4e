"""The lot and the die behind the page: the quick answers beside the wafer, and the long ones as jobs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.csv_text import frame_csv
from planish.errors import DataError, SetupError
from planish.web.answers import setup_of
from planish.web.packing import pack

if TYPE_CHECKING:
    from planish.predict.die.result import DieResult
    from planish.predict.lot.result import LotResult
    from planish.setup.models import Setup

LAYOUTS = ("density-blocks", "line-space", "step-density")
PLACES = ("centre", "mid", "edge")
QUICK_WAFERS = 100
Progress = Callable[[float], None]


def warm() -> str:
    """Load, and on first use compile, what a quick lot and a quick die need."""
    from planish.web.changes import fresh

    document = fresh()
    lot(document, 2)
    die(document)
    return "ready"


def lot(document: Mapping[str, Any], wafers: int = QUICK_WAFERS, conditioning: bool = True) -> bytes:
    """Return a quick lot, packed."""
    from planish.predict.lot.run import polish_lot

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
    from planish.predict.lot.run import polish_lot

    return frame_csv(polish_lot(setup_of(document), wafers).table())


def layout_maps(name: str, cell: float, size: float, file: str | None = None, layer: str = "") -> Any:
    """Return the cell maps of a test layout, or of an uploaded one."""
    if file is not None:
        from planish.measure.layout.read import list_layers, parse_layer, read_layout_maps

        layers = list_layers(file)
        if not layers:
            raise DataError("layout: no shapes in it")
        number, datatype = parse_layer(layer) if layer else max(layers, key=lambda key: layers[key])
        return read_layout_maps(file, number, datatype, cell)
    from planish.measure.layout.make import make_maps

    if name not in LAYOUTS:
        raise SetupError(f"layout = {name!r}: must be one of {', '.join(LAYOUTS)}")
    return make_maps(name, cell, size=size)  # type: ignore[arg-type]


def run_die(
    setup: Setup, maps: Any, process: str = "", place: str | None = None, tell: Progress | None = None
) -> DieResult:
    """Return the die at the places asked for; without a process, that of the setup.

    Raises
    ------
    SetupError
        Where the slurry does not polish what the process has on the die.
    """
    from planish.predict.die.polish import polish_die

    return polish_die(
        setup, maps, process=process or None, place=PLACES if place is None else place, tell=tell
    )


def die(document: Mapping[str, Any], layout: str = "density-blocks", process: str = "") -> bytes:
    """Return a quick die of a test layout at centre, mid radius and edge, packed."""
    setup = setup_of(document)
    size, cell = (2e-3, 20e-6) if layout == "line-space" else (20e-3, 200e-6)
    maps = layout_maps(layout, cell, size)
    return pack_die(run_die(setup, maps, process))


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
    from planish.engine.files import write_whole
    from planish.predict.lot.run import polish_lot

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
    from planish.engine.files import write_whole
    from planish.web.own_data import named
    from planish.web.tiles import write_pyramid

    setup = setup_of(options["document"])
    cell = float(options.get("cell_um", 50)) * 1e-6
    size = float(options.get("size_mm", 20)) * 1e-3
    tell(0.02)
    file, layout = options.get("file"), str(options.get("layout", "density-blocks"))
    with named(file or "", str(options.get("file_name", "layout"))):
        maps = layout_maps(layout, cell, size, file, str(options.get("layer", "")))
    tell(0.2)
    result = run_die(
        setup,
        maps,
        str(options.get("process", "")),
        str(options.get("place", "edge")),
        lambda share: tell(0.2 + 0.65 * share),
    )
    tell(0.85)
    write_pyramid(folder, "surface", result.surface(0))
    write_pyramid(folder, "density", result.density)
    write_whole(folder / "answer.bin", pack_die(result))


JOBS: dict[str, Callable[[Mapping[str, Any], Path, Progress], None]] = {"lot": job_lot, "die": job_die}
