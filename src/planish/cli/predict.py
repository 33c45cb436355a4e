"""The verbs that predict wafer and lot."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planish.cli import show
from planish.units import PSI


def polish(file: Path, settings: list[str], band: bool, json_out: bool, out: Path | None, units: str) -> None:
    """Polish one wafer and print its figures, with their bands if asked."""
    show.check_units(units)
    from planish.jobs.changed import load_changed
    from planish.predict.wafer.polish import polish as run

    setup = load_changed(file, settings)
    result = run(setup)
    bands = _bands(setup) if band else None
    _print(result, json_out, units, bands)
    if out is not None:
        from planish.explain.figures.machine import machine_plan
        from planish.explain.figures.style import save_figure
        from planish.explain.figures.wafer import edge_figure, map_figure

        folder = show.make_folder(out)
        paths = save_figure(result.plot(units=units), folder, "profiles")
        paths += save_figure(edge_figure(result, units), folder, "edge")
        paths += save_figure(map_figure(result), folder, "map")
        paths += save_figure(machine_plan(result.rig), folder, "machine")
        paths.append(result.save(folder / "wafer.nc"))
        paths.append(_profile_table(result, folder / "profile.csv"))
        show.written(paths, json_out)


def _bands(setup: Any) -> dict[str, Any]:
    from planish.predict.wafer.bands import polish_band

    return {
        key: {"value": band.value, "standard_deviation": band.sd, "shares": band.shares}
        for key, band in polish_band(setup).items()
    }


def _print(result: Any, json_out: bool, units: str, bands: dict[str, Any] | None = None) -> None:
    figures: dict[str, Any] = result.document()
    if json_out:
        extra = {} if bands is None else {"bands": bands}
        show.print_json({**figures, **extra})
        return
    show.summary(figures, units)
    if bands is not None:
        _print_bands(bands)
    if figures.get("steps"):
        from planish.explain.words import label

        steps = figures["steps"]
        rows = [[label(key), *(step[key] for step in steps)] for key in steps[0] if key != "name"]
        show.table(["step by step", *(step["name"] for step in steps)], rows)


def _print_bands(bands: dict[str, Any]) -> None:
    from planish.explain.words import label

    if not bands:
        show.table(["band"], [["no spread is stated in this setup, so there is no band"]])
        return
    names = list(next(iter(bands.values()))["shares"])
    rows = [
        [label(key), item["value"], item["standard_deviation"], *(item["shares"].get(name) for name in names)]
        for key, item in bands.items()
        if item["standard_deviation"] > 1e-9 * abs(item["value"])
    ]
    title = "bands from the stated spreads: one standard deviation, first order"
    show.table(["figure", "value", "±", *(f"from {name}" for name in names)], rows, title=title)


def _profile_table(result: Any, path: Path) -> Path:
    from planish.engine.csv_text import csv_text
    from planish.engine.files import write_whole

    head = ["radius_mm", "removed_nm", *[f"{film}_remaining_nm" for film in result.films]]
    head += [f"{step.name}_pressure_psi" for step in result.steps]
    columns = [result.radius * 1e3, result.removed * 1e9, *(result.remaining * 1e9)]
    columns += [step.pressure / PSI for step in result.steps]
    rows = ([f"{value:.6g}" for value in row] for row in zip(*columns, strict=True))
    write_whole(path, csv_text(head, rows))
    return path


def lot(
    file: Path,
    settings: list[str],
    wafers: int,
    seed: int,
    conditioning: bool,
    adjust: str,
    events: list[str],
    json_out: bool,
    out: Path | None,
    units: str,
) -> None:
    """Polish a lot and print its figures; ``out`` gets the table (a row a wafer), profiles and figures."""
    show.check_units(units)
    from planish.jobs.changed import load_changed
    from planish.predict.lot.run import polish_lot

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
    _print(result, json_out, units)
    if out is not None:
        from planish.explain.figures.lot import pad_figure, summit_figure
        from planish.explain.figures.style import save_figure

        folder = result.save(show.make_folder(out))
        paths = [folder / "lot.parquet", folder / "lot.nc", folder / "summary.json"]
        paths += save_figure(result.plot(), folder, "lot")
        paths += save_figure(pad_figure(result), folder, "pad")
        paths += save_figure(summit_figure(result), folder, "summits")
        show.written(paths, json_out)


def dwell(
    file: Path, settings: list[str], zones: int, least: float, json_out: bool, out: Path | None
) -> None:
    """Design a dwell table; ``out`` gets the figure and the setup with the table in it."""
    from planish.jobs.changed import load_changed
    from planish.predict.dwell import design_sweep

    setup = load_changed(file, settings)
    found = design_sweep(setup, zones, least=least)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        edges = figures["zone_edges_mm"]
        rows = [
            [f"{low:.0f} to {high:.0f}", 100 * share]
            for low, high, share in zip(edges, edges[1:], figures["zone_dwell"], strict=False)
        ]
        show.table(["pad radius [mm]", "share of time [%]"], rows)
        show.summary(figures)
        show.changes(found.changes, "to polish with it, add")
    if out is not None:
        from planish.engine.files import write_whole
        from planish.explain.figures.lot import sweep_figure
        from planish.explain.figures.style import save_figure

        folder = show.make_folder(out)
        paths = save_figure(sweep_figure(found), folder, "sweep")
        write_whole(folder / "setup.toml", setup.replace(found.changes).to_toml().encode())
        show.written([*paths, folder / "setup.toml"], json_out)
