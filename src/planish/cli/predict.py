"""The verbs that predict wafer and lot."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.cli import show

if TYPE_CHECKING:
    from planish.jobs.bands import Bands


def polish(file: Path, settings: list[str], band: bool, json_out: bool, out: Path | None, units: str) -> None:
    """Polish one wafer and print its figures, with their bands if asked."""
    show.check_units(units)
    from planish import polish as run
    from planish import polish_band
    from planish.jobs.bands import Bands
    from planish.jobs.changed import load_changed

    setup = load_changed(file, settings)
    result = run(setup)
    bands = Bands(polish_band(setup), setup.model.fitted is not None) if band else None
    _print(result, json_out, units, bands)
    show.files(result, out, json_out, units)


def _print(result: Any, json_out: bool, units: str, bands: Bands | None = None) -> None:
    figures: dict[str, Any] = result.document()
    if json_out:
        show.print_json({**figures, **({} if bands is None else bands.document())})
        return
    show.summary(figures, units)
    if bands is not None:
        show.bands(bands)
    if figures.get("steps"):
        from planish.explain.words import label

        steps = figures["steps"]
        rows = [
            [label(key, units), *(show.in_units(key, step[key], units) for step in steps)]
            for key in steps[0]
            if key != "name"
        ]
        show.table(["step by step", *(step["name"] for step in steps)], rows)
    if figures.get("cleaning"):
        show.cleaning(figures["cleaning"], figures["cleaned_sizes_nm"])


def lot(
    file: Path,
    settings: list[str],
    wafers: int,
    seed: int,
    conditioning: bool,
    adjust: str,
    events: list[str],
    band: bool,
    workers: int,
    json_out: bool,
    out: Path | None,
    units: str,
) -> None:
    """Polish a lot and print its figures; ``out`` gets the table (a row a wafer), profiles and figures."""
    show.check_units(units)
    from planish import polish_lot
    from planish.jobs.changed import load_changed

    setup = load_changed(file, settings)
    with show.progress(f"{wafers} wafers", quiet=json_out) as tell:
        result = polish_lot(
            setup,
            wafers,
            seed,
            conditioning=conditioning,
            adjust=adjust,
            events=events,
            progress=lambda done, of: tell(done / of),
        )
    bands = None
    if band:
        from planish import lot_band
        from planish.jobs.bands import Bands

        found = lot_band(
            setup, wafers, seed, conditioning=conditioning, adjust=adjust, events=events, workers=workers
        )
        bands = Bands(found, setup.model.fitted is not None)
    _print(result, json_out, units, bands)
    show.files(result, out, json_out)


def dwell(
    file: Path, settings: list[str], zones: int, options: dict[str, Any], json_out: bool, out: Path | None
) -> None:
    """Design a dwell table; ``out`` gets the figure and the setup with the table in it."""
    from planish.jobs.changed import load_changed
    from planish.jobs.dwell import dwell_table

    found = dwell_table(load_changed(file, settings), zones, **options)
    figures: dict[str, Any] = found.design.document()
    if json_out:
        show.print_json(figures)
    else:
        zones_of = found.design.tables()["zones"]
        rows = [
            [f"{low:.0f} to {high:.0f}", *rest] for low, high, *rest in zip(*zones_of.values(), strict=True)
        ]
        show.table(["pad radius [mm]", "share of time [%]", "stay [s]", "arm [m/s]"], rows)
        show.summary(figures)
        show.changes(found.design.changes, "to polish with it, add")
    show.files(found, out, json_out)
