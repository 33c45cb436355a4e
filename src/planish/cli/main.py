"""The ``planish`` command: one verb a job, each a thin call into the package.

Nothing heavier than typer is imported here; every verb imports what it needs when it runs.
"""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from planish.errors import DataError, PlanishError

app = typer.Typer(
    name="planish",
    help="Chemical-mechanical planarization: predict, measure, fit and explain, from one setup file.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: loading rich would double the start-up
    context_settings={"help_option_names": ["-h", "--help"]},
)

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]


def _folder(out: Path | None) -> Path | None:
    """Refuse a folder that cannot be made or written, before anything is computed or printed."""
    if out is None:
        return None
    standing = out
    while not standing.exists() and standing != standing.parent:
        standing = standing.parent
    if not standing.is_dir():
        raise DataError(f"--out {out}: {standing} is a file, not a folder; name another")
    if not os.access(standing, os.W_OK | os.X_OK):
        raise DataError(f"--out {out}: cannot write into {standing}; name another folder")
    return out


Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder for figures, tables and the result file.", callback=_folder),
]
Units = Annotated[str, typer.Option("--units", help="Units shown: trade (psi, rpm, nm/min) or si.")]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="Set a value for this run, as 'recipe.step.main.time=90 s'; nothing after = takes it out; repeatable.",
    ),
]
Columns = Annotated[
    Path | None,
    typer.Option("--columns", help="How the site files are written: a file of measure --remember."),
]
WaferId = Annotated[
    str | None, typer.Option("--wafer", help="Which wafer, where site files hold several.", metavar="ID")
]
SetupFile = Annotated[Path, typer.Argument(help="Setup file (TOML).", metavar="FILE")]


def _version(value: bool) -> None:
    if value:
        from planish import __version__

        typer.echo(f"planish {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@app.command()
def new(
    motion: Annotated[str, typer.Argument(help="rotary, linear or orbital.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="File to write.")],
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it exists.")] = False,
) -> None:
    """Write a complete, commented setup file for a chosen motion."""
    from planish.cli import describe

    describe.new(motion, output, force)


@app.command()
def parts(
    kind: Annotated[
        str | None,
        typer.Argument(
            help="pad, conditioner, slurry, film, head, wafer or polisher; or law, process or motion."
        ),
    ] = None,
    folder: Annotated[
        list[Path] | None,
        typer.Option("--folder", help="A folder with parts of your own to list too; may be given again."),
    ] = None,
    json_out: Json = False,
) -> None:
    """Show the catalogue parts, or the laws, processes or motions: where each is from, its values and sources."""
    from planish.cli import describe

    describe.parts(kind, folder or [], json_out)


@app.command()
def inputs(
    keys: Annotated[
        list[str] | None,
        typer.Argument(
            help="Keys of the setup, or tables such as pad.top; all unless given.", metavar="[KEY]..."
        ),
    ] = None,
    settings: Annotated[
        int, typer.Option("--settings", min=2, max=50, help="How many settings over each range.")
    ] = 5,
    wafers: Annotated[
        int,
        typer.Option("--wafers", "-n", min=2, max=2000, help="Wafers of a lot, where one shows the input."),
    ] = 50,
    json_out: Json = False,
) -> None:
    """Say what each input moves: which answers, how far, which way, and what the trade says of it.

    One key or table takes seconds, all of them some minutes.
    """
    from planish.cli import inputs as verb

    verb.inputs(keys or [], settings, wafers, json_out)


@app.command()
def check(file: SetupFile, settings: Settings = None, json_out: Json = False) -> None:
    """Validate a setup file and list what deserves a second look."""
    from planish.cli import describe

    describe.check(file, json_out, settings or [])


@app.command()
def schema(
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="File to write; without it, print.")
    ] = None,
) -> None:
    """Export the JSON Schema of setup files, for editors."""
    from planish.cli import describe

    describe.schema(output)


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
    settings: Settings = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Say what a wafer costs by lives, flow, time and the setup's prices, and how many an hour there are."""
    from planish.cli import cost as verb

    verb.cost(file, settings or [], wafers, json_out, out)


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
        str, typer.Option("--star", help="Composite: circumscribed, inscribed or faced.")
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


@app.command()
def measure(
    files: Annotated[
        list[Path],
        typer.Argument(
            help="PRE POST site files, one table, or one layout, picture or table of cell maps; with --setup any of them."
        ),
    ],
    setup: Annotated[
        Path | None,
        typer.Option(
            "--setup",
            help="Hold site files, tables of runs or of steps against the setup they were made with.",
        ),
    ] = None,
    time: Annotated[
        str | None, typer.Option("--time", help="Polish time between PRE and POST, as 60s.")
    ] = None,
    nested: Annotated[
        str | None, typer.Option("--nested", help="Nested factors, outermost first: lot,wafer,site.")
    ] = None,
    value: Annotated[str | None, typer.Option("--value", help="Column of the measured value.")] = None,
    rows: Annotated[
        bool, typer.Option("--rows", help="One table, a wafer a row and a site a column: flag odd rows.")
    ] = False,
    layer: Annotated[
        str | None, typer.Option("--layer", help="Layout: layer and datatype, as 68/20.")
    ] = None,
    cell: Annotated[str, typer.Option("--cell", help="Layout or picture: cell size.")] = "10um",
    pixels: Annotated[
        int, typer.Option("--pixels", min=1, help="Picture: pixels along a side of a cell.")
    ] = 1,
    covered: Annotated[
        str, typer.Option("--covered", help="Picture: what is covered, dark or bright.")
    ] = "dark",
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column",
            metavar="ROLE=NAME",
            help="Sites: column of x, y, r, theta, die_x, die_y, thickness, removal, rate, site or wafer; with --setup of a "
            "table of runs; repeatable.",
        ),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out", metavar="NAME", help="Table of runs: a column not to look at; repeatable."
        ),
    ] = None,
    unit: Annotated[
        list[str] | None,
        typer.Option(
            "--unit", metavar="ROLE=UNIT", help="Sites: unit of a column, as thickness=A; repeatable."
        ),
    ] = None,
    pitch: Annotated[
        str | None, typer.Option("--pitch", help="Sites named by dies: their pitch, as 26mm,33mm.")
    ] = None,
    centre_die: Annotated[
        str | None, typer.Option("--centre-die", help="Die indices at the wafer's centre, as 0,0.")
    ] = None,
    site_plan: Annotated[
        str | None,
        typer.Option(
            "--site-plan", help="Sites without places: plan, diameter, edge, as '49, 300 mm, 3 mm'."
        ),
    ] = None,
    decimal: Annotated[
        str | None, typer.Option("--decimal", help="Decimal sign of site files: point or comma.")
    ] = None,
    sheet: Annotated[str | None, typer.Option("--sheet", help="Sheet of a workbook.")] = None,
    wafer: WaferId = None,
    columns: Columns = None,
    remember: Annotated[
        Path | None,
        typer.Option("--remember", help="Write what these options say of site files to this file."),
    ] = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Read what the fab's tools wrote: site maps, variance components, layouts."""
    from planish.cli import measuring

    told = {
        "pitch": pitch,
        "centre_die": centre_die,
        "site_plan": site_plan,
        "decimal": decimal,
        "sheet": sheet,
    }
    if setup is not None:
        other = {"--nested": nested, "--value": value, "--rows": rows, "--unit": unit, "--pitch": pitch,
                 "--centre-die": centre_die, "--site-plan": site_plan, "--remember": remember}  # fmt: skip
        runs = measuring.RunWords(column or [], leave_out or [], decimal, sheet)
        measuring.against(setup, files, time, wafer, columns, runs, (layer, cell), json_out, out, other)
        return
    if leave_out:
        raise DataError("measure --leave-out: must stand with --setup and a table of runs")
    written = measuring.Written(column or [], unit or [], columns, told, wafer, remember)
    measuring.measure(
        files,
        time,
        nested,
        value,
        layer,
        cell,
        json_out,
        out,
        written,
        pixels=pixels,
        covered=covered,
        rows=rows,
    )


@app.command()
def fit(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="SETUP PRE POST, or SETUP DATA...; with --rates one trace file; with --steps none."
        ),
    ] = None,
    rates: Annotated[
        Path | None, typer.Option("--rates", help="Average removal rates of the wafers in the traces.")
    ] = None,
    time: Annotated[
        str | None, typer.Option("--time", help="Polish time between PRE and POST, as 60s.")
    ] = None,
    steps: Annotated[
        Path | None, typer.Option("--steps", help="Steps and losses measured at test structures of a die.")
    ] = None,
    layout: Annotated[
        Path | None, typer.Option("--layout", help="With --steps or a table of steps: layout, or its maps.")
    ] = None,
    layer: Annotated[str | None, typer.Option("--layer", help="Layer and datatype, as 68/20.")] = None,
    cell: Annotated[str, typer.Option("--cell", help="Cell size of the maps.")] = "20um",
    step_height: Annotated[
        str | None, typer.Option("--step-height", help="Step before polishing, if the table does not say.")
    ] = None,
    predict: Annotated[
        Path | None,
        typer.Option("--predict", help="With --rates: traces of other wafers, whose rates are guessed."),
    ] = None,
    ahead: Annotated[
        bool,
        typer.Option("--ahead", help="With --predict: use only wafers that started before the one guessed."),
    ] = False,
    check: Annotated[
        bool,
        typer.Option(
            "--check", help="With --rates: how well are wafers guessed that were left out? Minutes."
        ),
    ] = False,
    folds: Annotated[
        int,
        typer.Option("--folds", min=1, max=5, help="With --check: of five fifths, how many are left out."),
    ] = 5,
    free: Annotated[
        list[str] | None,
        typer.Option(
            "--free",
            metavar="PATH,...",
            help="With SETUP DATA...: numbers of the setup to fit, as removal.oxide.rate,pad.top.shore_d; repeatable.",
        ),
    ] = None,
    bound: Annotated[
        list[str] | None,
        typer.Option(
            "--bound",
            metavar="PATH=LOW..HIGH",
            help="With --free: where a number is searched, as 'removal.oxide.rate=100..400 nm/min'; repeatable.",
        ),
    ] = None,
    priors: Annotated[
        bool,
        typer.Option("--priors/--no-priors", help="With --free: whether the parts' stated spreads count."),
    ] = True,
    level: Annotated[float, typer.Option("--level", help="With --free: share of intervals that hold.")] = 0.9,
    samples: Annotated[
        int, typer.Option("--samples", min=0, help="With --free: draws of the numbers, given the data.")
    ] = 0,
    seed: Annotated[int, typer.Option("--seed", help="With --samples: of the draws.")] = 0,
    ahead_runs: Annotated[
        int, typer.Option("--next", min=0, max=10, help="With --free: runs to measure next.")
    ] = 2,
    workers: Annotated[
        int, typer.Option("--workers", min=1, max=4096, help="With --free: processes that share the work.")
    ] = 1,
    date: Annotated[
        str | None,
        typer.Option("--date", help="With --free: day of the fit, as 2026-11-27; today unless given."),
    ] = None,
    settings: Settings = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            "--column",
            metavar="ROLE=NAME",
            help="With a table of runs: which column holds what, as rate='Result'; repeatable.",
        ),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out", metavar="NAME", help="With a table of runs: a column not to look at; repeatable."
        ),
    ] = None,
    decimal: Annotated[
        str | None, typer.Option("--decimal", help="With a table of runs: decimal sign, point or comma.")
    ] = None,
    sheet: Annotated[
        str | None, typer.Option("--sheet", help="With a table of runs: sheet of a workbook.")
    ] = None,
    columns: Columns = None,
    wafer: WaferId = None,
    json_out: Json = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for figures, tables and results; with --free also FITTED.toml."),
    ] = None,
) -> None:
    """Calibrate the model to own measurements, with errors and what cannot be told."""
    given = files or []
    if free or (
        steps is None and rates is None and len(given) > 1 and (len(given) != 3 or settings or bound)
    ):
        from planish.cli import calibrating

        for option, value in (("--rates", rates), ("--steps", steps), ("--predict", predict)):
            if value is not None:
                raise DataError(f"fit {option} {value}: must stand without --free")
        calibrating.fit(
            given,
            free or [],
            bound or [],
            settings or [],
            columns,
            calibrating.reading(
                time,
                wafer,
                (column or [], leave_out or [], decimal, sheet),
                (layout, layer, cell),
                step_height,
            ),
            json_out,
            out,
            priors=priors,
            level=level,
            samples=samples,
            seed=seed,
            ahead=ahead_runs,
            workers=workers,
            date=date,
        )
        return
    of_runs = {"--column": column, "--leave-out": leave_out, "--decimal": decimal, "--sheet": sheet}
    if said := next((option for option, words in of_runs.items() if words), None):
        raise DataError(f"fit {said}: must stand with SETUP and a table of runs")
    _folder(out)
    if steps is not None:
        from planish.cli.die import fit_steps

        fit_steps(files or [], steps, layout, layer, cell, step_height, json_out, out)
        return
    from planish.cli import measuring

    written = measuring.Written(file=columns, wafer=wafer)
    measuring.fit(
        files or [],
        rates,
        time,
        json_out,
        out,
        written,
        predict=predict,
        ahead=ahead,
        folds=folds if check else 0,
    )


@app.command()
def tune(
    file: SetupFile,
    target: Annotated[
        str | None, typer.Option("--target", help="Mean thickness of all films to be left, as '550 nm'.")
    ] = None,
    incoming: Annotated[
        Path | None,
        typer.Option(
            "--incoming", help="Measured sites of the film on top; the setup's own film unless given."
        ),
    ] = None,
    profile: Annotated[
        Path | None,
        typer.Option("--profile", help="Sites of the thickness wanted over the wafer; even unless given."),
    ] = None,
    bound: Annotated[
        list[str] | None,
        typer.Option(
            "--bound",
            metavar="WHAT=LOW..HIGH",
            help="zone_pressure, ring_pressure, time or a path of the setup, as 'zone_pressure=1..6 psi'; repeatable.",
        ),
    ] = None,
    neighbour: Annotated[
        str | None, typer.Option("--neighbour", help="Largest step between neighbouring zones, as '1.5 psi'.")
    ] = None,
    least_rate: Annotated[
        str | None, typer.Option("--least-rate", help="Least mean removal rate, as '200 nm/min'.")
    ] = None,
    most_time: Annotated[
        str | None, typer.Option("--most-time", help="Most time for all steps together, as '90 s'.")
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option("--keep", help="Path that stays as it is, as recipe.step.main.time; repeatable."),
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="File for the setup with the settings in it.")
    ] = None,
) -> None:
    """Solve for the zone and ring pressures and times that an incoming wafer asks for."""
    from planish.cli import tuning

    tuning.tune(
        file,
        settings or [],
        json_out,
        out,
        target=target,
        incoming=incoming,
        profile=profile,
        bounds=bound or [],
        neighbour=neighbour,
        least_rate=least_rate,
        most_time=most_time,
        keep=keep or [],
    )


@app.command()
def experiments(
    names: Annotated[
        list[str] | None, typer.Argument(help="Which; all unless given.", metavar="[NAME]...")
    ] = None,
    json_out: Json = False,
) -> None:
    """Hold planish against published experiments: measured, predicted, off by."""
    from planish.cli import experiments as verb

    verb.experiments(names or [], json_out)


@app.command()
def report(
    file: SetupFile,
    output: Annotated[Path, typer.Option("-o", "--output", help="HTML file to write.")] = Path("report.html"),
    pre: Annotated[Path | None, typer.Option("--pre", help="Measured sites before polishing.")] = None,
    post: Annotated[Path | None, typer.Option("--post", help="Measured sites after polishing.")] = None,
    time: Annotated[
        str | None, typer.Option("--time", help="Polish time between PRE and POST, as 60s.")
    ] = None,
    columns: Columns = None,
    wafer: WaferId = None,
    settings: Settings = None,
) -> None:
    """Write a self-contained HTML report of one wafer, with measurements if given."""
    from planish.cli import measuring, reporting

    reporting.report(
        file, settings or [], output, pre, post, time, measuring.Written(file=columns, wafer=wafer)
    )


@app.command()
def serve(
    host: Annotated[str, typer.Option("--host", help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for any free one.")] = 8765,
    data: Annotated[Path | None, typer.Option("--data", help="Folder for jobs, files and accounts.")] = None,
    team: Annotated[bool, typer.Option("--team", help="Ask people to sign in.")] = False,
    name: Annotated[
        list[str] | None, typer.Option("--name", help="Host name that the server goes by; repeat for more.")
    ] = None,
    https: Annotated[
        bool, typer.Option("--https", help="Behind a proxy with TLS: cookies over HTTPS only.")
    ] = False,
    proxy: Annotated[
        list[str] | None,
        typer.Option(
            "--proxy",
            help="Address of a proxy that says whom it speaks for; repeat for more. With --https: this machine's.",
        ),
    ] = None,
    show: Annotated[bool, typer.Option("--open", help="Open the page in a browser.")] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, max=64, help="Processes for lots and dies (default: one a core, at least 2)."
        ),
    ] = None,
) -> None:
    """Serve the bench: the whole job in a browser, on this machine."""
    from planish.cli import serve as serving

    serving.serve(host, port, data, team, name or [], https, proxy or [], show, workers)


people = typer.Typer(help="People who may sign in to a team's rig.", no_args_is_help=True)
app.add_typer(people, name="people")
BenchData = Annotated[Path | None, typer.Option("--data", help="Folder of the bench (as for serve).")]


@people.command("add")
def people_add(
    name: str,
    role: Annotated[str, typer.Option("--role", help="view, work or approve.")] = "work",
    data: BenchData = None,
    password_stdin: Annotated[
        bool, typer.Option("--password-stdin", help="Read the password from standard input.")
    ] = False,
) -> None:
    """Add a person, or change role and password of one."""
    from planish.cli import serve as serving

    serving.add_person(name, role, data, password_stdin)


@people.command("remove")
def people_remove(name: str, data: BenchData = None) -> None:
    """Take a person out and delete their files, jobs and results; approvals and log stay."""
    from planish.cli import serve as serving

    serving.remove_person(name, data)


@people.command("list")
def people_list(data: BenchData = None) -> None:
    """List people and roles."""
    from planish.cli import serve as serving

    serving.list_people(data)


@people.command("log")
def people_log(
    last: Annotated[int, typer.Option("--last", min=0, help="How many entries; 0 for all.")] = 50,
    data: BenchData = None,
    as_json: Json = False,
) -> None:
    """Print who did what, and check that the log and the book of approvals are whole."""
    from planish.cli import serve as serving

    serving.print_log(data, last, as_json)


def _speak() -> None:
    """Let a terminal or pipe that cannot spell a sign (σ, °, µ) get a question mark, not an error.

    A stream that was closed by whoever started the command takes what is written to it and keeps nothing.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and stream.errors == "strict":
            stream.reconfigure(errors="replace")


def _wrong_use(exc: Any) -> NoReturn:
    """Say in one line what is wrong with a command, or show the help where there was no command at all."""
    context = getattr(exc, "ctx", None)
    command = context.command_path if context is not None else "planish"
    if type(exc).__name__ == "NoArgsIsHelpError":
        typer.echo(exc.format_message())
        sys.exit(2)
    said = " ".join(str(exc.format_message()).split())
    typer.echo(f"planish: {said} ('{command} --help' shows how)", err=True)
    sys.exit(2)


def run() -> None:
    """Run the command line; bad input ends with one line on standard error and exit code 2."""
    # Matrices here are small: a second BLAS thread only waits for the first. Set before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _speak()
    try:
        code = app(standalone_mode=False)
        if isinstance(code, int) and code:
            sys.exit(code)
    except PlanishError as exc:
        typer.echo(f"planish: {exc}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as exc:
        where = f"{exc.filename}: " if exc.filename else "output: "
        typer.echo(f"planish: {where}cannot be read or written ({exc.strerror or exc})", err=True)
        sys.exit(2)
    except KeyboardInterrupt:
        typer.echo("planish: stopped", err=True)
        sys.exit(130)
    except Exception as exc:
        if hasattr(exc, "format_message"):  # a command used wrongly, as the parser found
            _wrong_use(exc)
        if os.environ.get("PLANISH_TRACEBACK"):
            raise
        typer.echo(
            f"planish: a defect of planish, not of the input ({type(exc).__name__}: {exc}); "
            "set PLANISH_TRACEBACK=1 and run again to see where",
            err=True,
        )
        sys.exit(70)


if __name__ == "__main__":
    run()
