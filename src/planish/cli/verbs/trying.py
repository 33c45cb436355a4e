"""The verbs that try several setups: a study, an experiment on the machine, a comparison."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Json, Out, Settings, SetupFile


@app.command()
def study(
    file: SetupFile,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=VALUES",
            help="A key and its values, as 'head.ring.gap=0.2..1 mm/9' or 'pad.part=hard-microporous, soft-felt'; "
            "repeat for a grid.",
        ),
    ] = None,
    samples: Annotated[
        int | None,
        typer.Option(
            "--samples", help="Draw so many runs: from the ranges, or without --vary from the stated spreads."
        ),
    ] = None,
    sobol: Annotated[
        int | None,
        typer.Option("--sobol", help="Sobol indices from so many base samples (a power of 2) of the ranges."),
    ] = None,
    morris: Annotated[
        int | None,
        typer.Option("--morris", help="Elementary effects from so many trajectories in the ranges."),
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Seed of draws and lots.")] = 0,
    wafers: Annotated[
        int | None, typer.Option("--wafers", "-n", help="Run lots of so many wafers instead of one wafer.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes: one a core unless given.")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option("--cluster", help="Dask scheduler that does it, as tcp://host:8786.")
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Predict many variants: sweeps, draws, which key matters. With --out, the same command goes on after a stop."""
    from planish.cli import study as verb

    words = verb.StudyWords(vary or [], samples, sobol, morris, seed, wafers, workers, cluster)
    verb.study(file, settings or [], words, json_out, out)


@app.command()
def choose(
    file: SetupFile,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=VALUES",
            help="A key and its range, as 'recipe.step.main.ring_pressure=2..6 psi', or values with commas, as "
            "'pad.part=hard-solid, hard-microporous'; repeatable.",
        ),
    ] = None,
    aim: Annotated[
        list[str] | None,
        typer.Option(
            "--aim",
            metavar="AIM",
            help="rate, evenness, time, warmth, scratches, drift, pad-life, disk-life, cost, throughput, slurry, "
            "step-height, dishing, erosion, within-die, topography; or a figure of a summary, as "
            "'friction_coefficient=lower'; two or more.",
        ),
    ] = None,
    limit: Annotated[
        list[str] | None,
        typer.Option(
            "--limit",
            metavar="FIGURE=LOW..HIGH",
            help="Range that every point keeps, as 'evenness=..3' or 'mean_removal_rate_nm_per_min=200..'; repeatable.",
        ),
    ] = None,
    runs: Annotated[int, typer.Option("--runs", help="Setups to try at most.")] = 400,
    points: Annotated[int, typer.Option("--points", help="Points of the front to show at most.")] = 20,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the search.")] = 0,
    wafers: Annotated[
        int,
        typer.Option("--wafers", "-n", help="Wafers of the lots behind drift, lives and cost."),
    ] = 25,
    layout: Annotated[
        Path | None, typer.Option("--layout", help="Layout, picture or table of the die, for aims within it.")
    ] = None,
    layer: Annotated[str | None, typer.Option("--layer", help="Of the layout, as 68/20.")] = None,
    cell: Annotated[str, typer.Option("--cell", help="Cell size of the layout.")] = "100um",
    pattern: Annotated[
        str | None,
        typer.Option(
            "--pattern", help="In place of a layout: density-blocks, line-space or step-density, invented."
        ),
    ] = None,
    place: Annotated[
        str, typer.Option("--place", help="Of the die: centre, mid, edge or a radius.")
    ] = "centre",
    write: Annotated[
        list[str] | None,
        typer.Option(
            "--write",
            metavar="POINT",
            help="Write the setup of this point into --out: its number, ends, knee or all; repeatable.",
        ),
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes: one a core unless given.")
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Find the setups of which none is better in one aim without being worse in another. With --out, it goes on after a stop."""
    from planish.cli import choose as verb

    words = verb.ChooseWords(
        vary or [],
        aim or [],
        limit or [],
        runs,
        points,
        seed,
        wafers,
        workers,
        layout,
        layer,
        cell,
        pattern,
        place,
        write or [],
    )
    verb.choose(file, settings or [], words, json_out, out)


design = typer.Typer(
    help="An experiment on the machine: write the sheet of its runs, read it back with the results.",
    no_args_is_help=True,
)
app.add_typer(design, name="design")


@design.command("write")
def design_write(
    file: SetupFile,
    output: Annotated[Path, typer.Option("-o", "--output", help="Run sheet to write (CSV).")],
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=RANGE",
            help="A key and its range, as 'head.ring.gap=0.4..0.9 mm', or two values with a comma; repeatable.",
        ),
    ] = None,
    plan: Annotated[
        str, typer.Option("--plan", help="full, fraction, composite, box-behnken or optimal.")
    ] = "composite",
    runs: Annotated[
        int | None, typer.Option("--runs", help="Runs of a fraction or an optimal plan, without the centre.")
    ] = None,
    centre: Annotated[
        int | None, typer.Option("--centre", help="Runs in the middle; as usual for the plan unless given.")
    ] = None,
    star: Annotated[
        str | None,
        typer.Option(
            "--star", help="Composite: inscribed (within the ranges, unless given), faced or circumscribed."
        ),
    ] = "circumscribed",
    model: Annotated[
        str | None, typer.Option("--model", help="Optimal: linear, interactions or quadratic.")
    ] = None,
    repeats: Annotated[int, typer.Option("--repeats", help="How often all but the centre is run.")] = 1,
    seed: Annotated[int, typer.Option("--seed", help="Seed of the order.")] = 0,
    result: Annotated[
        list[str] | None,
        typer.Option("--result", help="Column to fill in, as 'rate [nm/min]'; repeatable."),
    ] = None,
    predict: Annotated[
        list[str] | None,
        typer.Option("--predict", help="Figure of the wafer to predict for each run; repeatable."),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
) -> None:
    """Lay out an experiment over ranges of keys, and write its runs in random order."""
    from planish.cli import design as verb

    verb.write(
        file,
        settings or [],
        vary or [],
        output,
        result or [],
        json_out,
        plan=plan,
        runs=runs,
        centre=centre,
        star=star,
        model=model,
        repeats=repeats,
        seed=seed,
        predict=predict or [],
    )


@design.command("read")
def design_read(
    sheet: Annotated[Path, typer.Argument(help="Run sheet with its results (CSV).", metavar="SHEET")],
    result: Annotated[
        str | None, typer.Option("--result", help="Column of the result, where there are several.")
    ] = None,
    model: Annotated[
        str | None,
        typer.Option("--model", help="linear, interactions or quadratic; the sheet's unless given."),
    ] = None,
    terms: Annotated[
        str | None, typer.Option("--terms", help="In place of a model: terms by letters, as 'a b a*b a^2'.")
    ] = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Fit a surface to the results of an experiment: coefficients, lack of fit, where it is highest or lowest."""
    from planish.cli import design as verb

    verb.read(sheet, json_out, out, result=result, model=model, terms=terms)


@app.command()
def compare(
    a: Annotated[Path, typer.Argument(help="Setup file A.")],
    b: Annotated[Path, typer.Argument(help="Setup file B.")],
    more: Annotated[
        list[Path] | None,
        typer.Argument(help="More setup files, each held against A.", metavar="[C]..."),
    ] = None,
    outcome: Annotated[
        list[str] | None, typer.Option("--outcome", help="Figure of the summary to explain; may be repeated.")
    ] = None,
    cost: Annotated[
        int | None,
        typer.Option("--cost", help="Add what a wafer of each costs, as lots of so many wafers show it."),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say what differs between setups, and which choices made the difference."""
    from planish.cli import reporting

    if more or cost is not None:
        reporting.compare_all([a, b, *(more or [])], settings or [], outcome, cost, json_out, out)
    else:
        reporting.compare(a, b, settings or [], outcome, json_out, out)
