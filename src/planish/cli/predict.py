"""The verbs that predict: polish, lot, die."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planish.cli import show


def polish(file: Path, band: bool, json_out: bool, out: Path | None, units: str) -> None:
    """Polish one wafer and print its figures, with their bands if asked."""
    show.check_units(units)
    from planish.predict.wafer import polish as run
    from planish.setup.load import load

    setup = load(file)
    result = run(setup)
    bands = _bands(setup) if band else None
    _print(result, json_out, units, bands)
    if out is not None:
        from planish.explain.machine import machine_plan
        from planish.explain.style import save_figure
        from planish.explain.wafer_figures import edge_figure, map_figure

        folder = show.make_folder(out)
        paths = save_figure(result.plot(units=units), folder, "profiles")
        paths += save_figure(edge_figure(result, units), folder, "edge")
        paths += save_figure(map_figure(result), folder, "map")
        paths += save_figure(machine_plan(result.bench), folder, "machine")
        paths.append(result.save(folder / "wafer.nc"))
        paths.append(_profile_table(result, folder / "profile.csv"))
        show.written(paths, json_out)


def _bands(setup: Any) -> dict[str, Any]:
    from planish.predict.bands import polish_band

    return {
        key: {"value": band.value, "standard_deviation": band.sd, "shares": band.shares}
        for key, band in polish_band(setup).items()
    }


def _print(result: Any, json_out: bool, units: str, bands: dict[str, Any] | None = None) -> None:
    figures = result.summary()
    if json_out:
        extra = {} if bands is None else {"bands": bands}
        show.print_json({**figures, **extra, "sources": result.sources()})
        return
    show.summary(figures, units)
    if bands is not None:
        _print_bands(bands)
    if figures.get("steps"):
        from planish.predict.result import label

        steps = figures["steps"]
        rows = [[label(key), *(step[key] for step in steps)] for key in steps[0] if key != "name"]
        show.table(["step by step", *(step["name"] for step in steps)], rows)


def _print_bands(bands: dict[str, Any]) -> None:
    from planish.predict.result import label

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
    from planish.predict.result import write_whole

    head = ["radius_mm", "removed_nm", *[f"{film}_remaining_nm" for film in result.films]]
    head += [f"{step.name}_pressure_kPa" for step in result.steps]
    columns = [result.radius * 1e3, result.removed * 1e9, *(result.remaining * 1e9)]
    columns += [step.pressure / 1e3 for step in result.steps]
    lines = [
        ",".join(head),
        *(",".join(f"{value:.6g}" for value in row) for row in zip(*columns, strict=True)),
    ]
    write_whole(path, ("\n".join(lines) + "\n").encode())
    return path


def lot(
    file: Path,
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
    from planish.predict.lot import polish_lot
    from planish.setup.load import load

    setup = load(file)
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
        from planish.explain.lot_figures import pad_figure, summit_figure
        from planish.explain.style import save_figure

        folder = result.save(show.make_folder(out))
        paths = [folder / "lot.parquet", folder / "lot.nc", folder / "summary.json"]
        paths += save_figure(result.plot(), folder, "lot")
        paths += save_figure(pad_figure(result), folder, "pad")
        paths += save_figure(summit_figure(result), folder, "summits")
        show.written(paths, json_out)


def dwell(file: Path, zones: int, least: float, json_out: bool, out: Path | None) -> None:
    """Design a dwell table; ``out`` gets the figure and the setup with the table in it."""
    from planish.predict.dwell import design_sweep
    from planish.setup.load import load

    setup = load(file)
    found = design_sweep(setup, zones, least=least)
    figures = found.summary()
    if json_out:
        show.print_json(figures)
    else:
        edges = figures["zone_edges_mm"]
        rows = [
            [f"{low:.0f} to {high:.0f}", 100 * share]
            for low, high, share in zip(edges, edges[1:], figures["zone_dwell"], strict=False)
        ]
        show.table(["pad radius [mm]", "share of time [%]"], rows)
        show.summary({key: value for key, value in figures.items() if key != "sources"})
    if out is not None:
        from planish.explain.lot_figures import sweep_figure
        from planish.explain.style import save_figure
        from planish.predict.result import write_whole

        folder = show.make_folder(out)
        paths = save_figure(sweep_figure(found), folder, "sweep")
        write_whole(folder / "setup.toml", setup.replace(found.changes()).to_toml().encode())
        show.written([*paths, folder / "setup.toml"], json_out)


def die(
    file: Path,
    layout: Path,
    layer: str | None,
    cell: str,
    place: str,
    process: str | None,
    step_height: str | None,
    planarization_length: str | None,
    json_out: bool,
    out: Path | None,
    units: str,
) -> None:
    """Polish a die of a layout at one or more places of the wafer and print its figures."""
    show.check_units(units)
    from planish.predict.die import polish_die
    from planish.predict.die_model import DieChoices
    from planish.setup.load import load
    from planish.units import to_si

    bench = load(file).bench
    kind = process or process_of(bench.wafer.films[0].material)
    level = level_with_step(kind, None if step_height is None else to_si(step_height, "length"))
    length = None if planarization_length is None else to_si(planarization_length, "length")
    maps = read_maps(layout, layer, cell, json_out)
    result = polish_die(
        bench,
        maps,
        process=kind,
        level=level,
        place=places(place),
        choices=DieChoices(planarization_length=length),
    )
    _print_die(result, json_out, units)
    if out is not None:
        from planish.explain.die_figures import feature_figure, layout_figure
        from planish.explain.style import save_figure

        folder = show.make_folder(out)
        paths = save_figure(result.plot(), folder, "die")
        paths += save_figure(feature_figure(result, maps), folder, "features")
        paths += save_figure(layout_figure(maps), folder, "layout")
        paths.append(result.save(folder / "die.nc"))
        show.written(paths, json_out)


def process_of(material: str) -> str:
    """Return the die process that goes with the material of the film on top."""
    return material if material in ("copper", "tungsten") else "oxide"


def level_with_step(process: str, step: float | None) -> Any:
    """Return the usual level of a process, with another step height (metal: trench depth) [m] if given."""
    from dataclasses import replace

    from planish.predict.die_levels import MetalLevel, default_level

    level = default_level(process)
    if step is None:
        return level
    return replace(level, trench_depth=step) if isinstance(level, MetalLevel) else replace(level, step=step)


def places(text: str) -> list[str | float]:
    """Return the places named in a text such as "centre,edge,120mm" or "all"."""
    from planish.units import to_si

    if text == "all":
        return ["centre", "mid", "edge"]
    named = ("centre", "mid", "edge")
    return [
        item if item in named else to_si(item, "length")
        for item in (part.strip() for part in text.split(","))
    ]


def read_maps(layout: Path, layer: str | None, cell: str, quiet: bool) -> Any:
    """Return the cell maps of a layout file, or maps saved before."""
    from planish.units import to_si

    if layout.suffix in (".npz", ".zarr"):
        from planish.measure.layout_maps import LayoutMaps

        return LayoutMaps.open(layout)
    from planish.cli.measuring import layer_numbers
    from planish.measure.layout import read_layout_maps

    with show.progress(f"reading {layout.name}", quiet=quiet) as tell:
        return read_layout_maps(layout, *layer_numbers(layer), to_si(cell, "length"), progress=tell)


def _print_die(result: Any, json_out: bool, units: str) -> None:
    figures = result.summary()
    if json_out:
        show.print_json({**figures, "sources": result.sources()})
        return
    show.summary(figures, units)
    if figures["hot_spots"]:
        head = list(figures["hot_spots"][0])
        show.table(head, [list(spot.values()) for spot in figures["hot_spots"]], title="where to look")
