"""The verbs that predict: wafer, lot, dwell table, cost, cleaning, die."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Json, Out, Settings, SetupFile, Units
from planish.errors import DataError


@app.command()
def polish(
    file: SetupFile,
    band: Annotated[
        bool, typer.Option("--band", help="Add how far each figure may be off, from the spreads.")
    ] = False,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
    units: Units = "trade",
) -> None:
    """Polish one wafer: rate, flatness, edge, temperature, clearing."""
    from planish.cli import predict

    predict.polish(file, settings or [], band, json_out, out, units)


@app.command()
def lot(
    file: SetupFile,
    wafers: Annotated[int, typer.Option("--wafers", "-n", help="How many wafers.")] = 200,
    seed: Annotated[int, typer.Option("--seed", help="Seed of incoming variation and noise.")] = 0,
    no_conditioning: Annotated[
        bool, typer.Option("--no-conditioning", help="Switch all conditioning off.")
    ] = False,
    adjust: Annotated[str, typer.Option("--adjust", help="fixed or run-to-run polish time.")] = "fixed",
    event: Annotated[
        list[str] | None,
        typer.Option(
            "--event",
            help="Before a wafer, as '300 pad', '120 idle 15 min', '40 slurry 0.98'; may be repeated.",
        ),
    ] = None,
    band: Annotated[
        bool,
        typer.Option(
            "--band", help="Add how far each figure may be off: some fifty lots, one after the other."
        ),
    ] = False,
    workers: Annotated[int, typer.Option("--workers", min=1, help="Processes that share --band.")] = 1,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
    units: Units = "trade",
) -> None:
    """Polish wafer after wafer: drift, pad life, wafer-to-wafer figures."""
    from planish.cli import predict

    predict.lot(
        file,
        settings or [],
        wafers,
        seed,
        not no_conditioning,
        adjust,
        event or [],
        band,
        workers,
        json_out,
        out,
        units,
    )


@app.command()
def dwell(
    file: SetupFile,
    zones: Annotated[int, typer.Option("--zones", help="Zones of the sweep, 2 to 40.")] = 10,
    least: Annotated[float, typer.Option("--least", help="Least share of time in a zone.")] = 0.0,
    ratio: Annotated[
        float, typer.Option("--ratio", help="Largest ratio of the times of neighbouring zones.")
    ] = 3.0,
    turns: Annotated[
        int,
        typer.Option("--turns", help="How often times may turn from rising to falling, or back: 0 to 3."),
    ] = 1,
    even: Annotated[
        str | None,
        typer.Option("--even", help="Unevenness of pad wear that is asked for, as '5 %'.", metavar="SHARE"),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Design a dwell table for even pad wear under the wafer that the conditioner's arm can run."""
    from planish.cli import predict

    options = {"least": least, "ratio": ratio, "turns": turns, "even": even}
    predict.dwell(file, settings or [], zones, options, json_out, out)


@app.command()
def cost(
    file: SetupFile,
    wafers: Annotated[
        int, typer.Option("--wafers", "-n", help="Wafers of the lot on one pad that shows the lives.")
    ] = 1000,
    prices: Annotated[
        Path | None,
        typer.Option(
            "--prices", help="Price file (TOML) with keys of the table [cost], over those of the setup."
        ),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="Another setup file: say what FILE, with its --set, saves against it."
        ),
    ] = None,
    tornado: Annotated[
        str | None,
        typer.Option(
            "--tornado",
            metavar="SHARE",
            help="Move each price, life and time down and up by a share, as '20 %': what does the cost hang on?",
        ),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say what a wafer costs by lives, flow, time and prices, how many an hour there are, and what a change saves."""
    from planish.cli import cost as verb

    verb.cost(file, settings or [], prices, wafers, against, tornado, json_out, out)


@app.command()
def flow(
    file: SetupFile,
    wafers: Annotated[int, typer.Option("--wafers", "-n", help="Wafers of product that pass.")] = 2000,
    lot: Annotated[int, typer.Option("--lot", help="Wafers of the lot that shows the lives.")] = 1000,
    arrival: Annotated[
        str | None,
        typer.Option(
            "--arrival",
            help="Mean time between wafers that arrive each on its own, as '3 min'; one is always waiting unless given.",
        ),
    ] = None,
    steady: Annotated[
        bool, typer.Option("--steady", help="Unscheduled stops come at their mean, not by chance.")
    ] = False,
    seed: Annotated[int, typer.Option("--seed", help="Seed of stops and arrivals.")] = 0,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Let wafers pass the machine one by one: wafers an hour, waiting, and how its time splits."""
    from planish.cli import cost as verb

    options = {"wafers": wafers, "lot": lot, "stops_by_chance": not steady, "seed": seed}
    verb.flow(file, settings or [], options, arrival, json_out, out)


@app.command()
def clean(
    file: SetupFile,
    step: Annotated[
        list[str] | None,
        typer.Option(
            "--step",
            help="'brush 1 m/s 95 %', 'sound 1 W/cm^2 1 MHz' or 'rinse 1000 rpm 1000 ml/min'; may be repeated.",
        ),
    ] = None,
    sizes: Annotated[
        str | None,
        typer.Option("--sizes", help="Particle sizes, as 30nm,100nm; the slurry's unless given."),
    ] = None,
    hamaker: Annotated[
        str | None, typer.Option("--hamaker", help="Hamaker constant of particle on film, as '1e-20 J'.")
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
) -> None:
    """Clean the wafer: which share of the slurry's particles each step leaves (relative)."""
    from planish.cli import cleaning

    cleaning.clean(file, settings or [], step or [], sizes, hamaker, json_out)


@app.command()
def die(
    file: SetupFile,
    layout: Annotated[
        Path, typer.Option("--layout", help="Layout (GDSII, OASIS), or maps: saved, table, picture.")
    ],
    layer: Annotated[str | None, typer.Option("--layer", help="Layer and datatype, as 68/20.")] = None,
    cell: Annotated[str, typer.Option("--cell", help="Cell size of the maps.")] = "10um",
    place: Annotated[
        str,
        typer.Option("--place", help="centre, mid, edge, all, or radii such as 120mm; several with commas."),
    ] = "centre",
    process: Annotated[
        str | None,
        typer.Option(
            "--process",
            help="What is polished, as [die] names it; the setup's [die] or its films unless given.",
        ),
    ] = None,
    step_height: Annotated[
        str | None, typer.Option("--step-height", help="Step (metal: trench depth) before polishing.")
    ] = None,
    planarization_length: Annotated[
        str | None, typer.Option("--planarization-length", help="A measured one, instead of the pad's own.")
    ] = None,
    route: Annotated[
        str, typer.Option("--route", help="density, or contact: the pad pressed on the die as it wears.")
    ] = "density",
    after: Annotated[
        int, typer.Option("--after", min=0, help="Pad as it is after so many wafers of a lot.")
    ] = 0,
    from_die: Annotated[
        Path | None, typer.Option("--from-die", help="Result (die.nc) of the level below: its topography.")
    ] = None,
    then: Annotated[
        list[Path] | None,
        typer.Option("--then", help="Setup of the next platen: own pad, slurry, recipe; may be repeated."),
    ] = None,
    fill: Annotated[bool, typer.Option("--fill", help="Propose dummy fill: where to add how much.")] = False,
    fill_ceiling: Annotated[
        float, typer.Option("--fill-ceiling", help="Density that no cell may pass by filling.")
    ] = 0.8,
    fields: Annotated[
        bool, typer.Option("--fields", help="Polish all whole fields of the wafer, side by side.")
    ] = False,
    band: Annotated[
        bool, typer.Option("--band", help="Add how far each figure may be off, from the spreads.")
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, help="Processes: with --fields one a core unless given, with --band one."
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", help="With --fields: Dask scheduler that does it, as tcp://host:8786."),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
    units: Units = "trade",
) -> None:
    """Polish a die: surface, steps, dishing, erosion, hot spots from a layout."""
    from planish.cli import die as verb

    words = verb.DieWords(
        layout,
        layer,
        cell,
        place,
        process,
        step_height,
        planarization_length,
        route,
        after,
        from_die,
        then or [],
        settings or [],
    )
    if not fields:
        if cluster is not None:
            raise DataError("die --cluster: must stand with --fields")
        if workers is not None and not band:
            raise DataError("die --workers: must stand with --fields or --band")
        verb.die(file, words, fill_ceiling if fill else None, band, workers or 1, json_out, out, units)
        return
    from planish.cli import fields as all_fields

    if band:
        raise DataError("die --band: must stand without --fields (it holds for one die)")
    if fill:
        raise DataError("die --fill: must stand without --fields (one proposal serves every field)")
    all_fields.fields(file, words, workers, cluster, json_out, out, units)
