"""The verbs for what was measured: read it, fit the model to it, find settings for it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import (
    Columns,
    Db,
    Head,
    Json,
    Last,
    Month,
    OfLot,
    Out,
    Platen,
    Recipe,
    Settings,
    Since,
    Tool,
    Until,
    WaferId,
    writable,
)
from planish.errors import DataError


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
    separator: Annotated[
        str | None,
        typer.Option("--separator", help="Of site files: comma, semicolon, tab, bar or blank."),
    ] = None,
    names_line: Annotated[
        int | None, typer.Option("--names-line", help="On which line of site files the column names stand.")
    ] = None,
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
        "separator": separator,
        "names_line": names_line,
    }
    if setup is not None:
        other = {"--nested": nested, "--value": value, "--rows": rows, "--unit": unit, "--pitch": pitch,
                 "--centre-die": centre_die, "--site-plan": site_plan, "--separator": separator,
                 "--names-line": names_line, "--remember": remember}  # fmt: skip
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
    db: Db = None,
    tool: Tool = None,
    head: Head = None,
    platen: Platen = None,
    recipe: Recipe = None,
    lot: OfLot = None,
    since: Since = None,
    until: Until = None,
    month: Month = None,
    last: Last = None,
    json_out: Json = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for figures, tables and results; with --free also FITTED.toml."),
    ] = None,
) -> None:
    """Calibrate the model to own measurements, with errors and what cannot be told."""
    given = files or []
    filters = {"tool": tool, "head": head, "platen": platen, "recipe": recipe, "lot": lot, "since": since, "until": until,
               "month": month, "last": last}  # fmt: skip
    if db is None and (said := next((name for name, value in filters.items() if value is not None), None)):
        raise DataError(f"fit --{said}: must stand with --db, the history that is meant")
    if (
        free
        or db is not None
        or (steps is None and rates is None and len(given) > 1 and (len(given) != 3 or settings or bound))
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
                None if db is None else {"db": db, **filters},
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
    with_free = {
        "--level": level != 0.9, "--samples": samples, "--seed": seed, "--next": ahead_runs != 2, "--workers": workers != 1,
        "--date": date, "--no-priors": not priors, "--bound": bound,
    }  # fmt: skip
    if said := next((option for option, used in with_free.items() if used), None):
        raise DataError(f"fit {said}: must stand with --free, or with a table of runs")
    if folds != 5 and not check:
        raise DataError("fit --folds: must stand with --check")
    writable(out)
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
    files: Annotated[
        list[Path],
        typer.Argument(
            help="Setup file (TOML); several are platens that the wafer passes in turn, solved for together.",
            metavar="FILE...",
        ),
    ],
    target: Annotated[
        str | None, typer.Option("--target", help="Mean thickness of all films to be left, as '550 nm'.")
    ] = None,
    incoming: Annotated[
        list[Path] | None,
        typer.Option(
            "--incoming",
            help="Measured sites of the film on top, of one wafer or of many (a file, a folder, a table of runs); repeatable; "
            "the setup's own film unless given.",
        ),
    ] = None,
    columns: Annotated[
        Path | None,
        typer.Option(
            "--columns",
            help="Which column is what in the incoming files, as planish measure --remember wrote it.",
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
            help="zone_pressure, ring_pressure, time or a path of the setup, as 'zone_pressure=1..6 psi'; of one of several "
            "platens as 'platen.2.time=..60 s'; repeatable.",
        ),
    ] = None,
    neighbour: Annotated[
        str | None, typer.Option("--neighbour", help="Largest step between neighbouring zones, as '1.5 psi'.")
    ] = None,
    least_rate: Annotated[
        str | None, typer.Option("--least-rate", help="Least mean removal rate, as '200 nm/min'.")
    ] = None,
    most_time: Annotated[
        str | None,
        typer.Option("--most-time", help="Most time for all steps together, of all platens, as '90 s'."),
    ] = None,
    longest: Annotated[
        str | None,
        typer.Option("--longest", help="Several platens: most time for the steps of any one, as '60 s'."),
    ] = None,
    balance: Annotated[
        str | None,
        typer.Option("--balance", help="Several platens: by how much the times of two may differ, as '5 s'."),
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option(
            "--keep", help="Path that stays as it is, as recipe.step.main.time or platen.2; repeatable."
        ),
    ] = None,
    meet: Annotated[
        list[str] | None,
        typer.Option(
            "--meet",
            metavar="WHAT=LOW..HIGH",
            help="A limit of what is left, as 'thickness=540..560 nm' or 'wiwnu_sigma_percent=..3'; repeatable. The settings are "
            "then those with the highest chance of meeting all of them.",
        ),
    ] = None,
    spreads: Annotated[
        bool,
        typer.Option(
            "--spreads/--no-spreads", help="With --meet: draw the stated spreads of the setup and its parts."
        ),
    ] = True,
    over_wafers: Annotated[
        int,
        typer.Option("--over-wafers", help="With --meet: wafers that a pad polishes; its age is drawn too."),
    ] = 0,
    draws: Annotated[
        int, typer.Option("--draws", help="With --meet: draws on the full model to count the chance on.")
    ] = 200,
    seed: Annotated[int, typer.Option("--seed", help="With --meet: seed of the draws.")] = 0,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="With --meet: processes, one a core unless given.")
    ] = None,
    settings: Settings = None,
    json_out: Json = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="File for the setup with the settings in it; of several platens the folder for 1-NAME.toml, 2-NAME.toml, "
            "picture and result.",
        ),
    ] = None,
) -> None:
    """Solve for the zone and ring pressures and times that incoming wafers ask for, or for the chance of meeting limits."""
    from planish.cli import tuning

    tuning.tune(
        files,
        settings or [],
        json_out,
        out,
        target=target,
        incoming=incoming or [],
        columns=columns,
        profile=profile,
        bounds=bound or [],
        neighbour=neighbour,
        least_rate=least_rate,
        most_time=most_time,
        longest=longest,
        balance=balance,
        keep=keep or [],
        meet=meet or [],
        spreads=spreads,
        over_wafers=over_wafers,
        draws=draws,
        seed=seed,
        workers=workers,
    )
