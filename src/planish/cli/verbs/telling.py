"""The verbs that tell: published experiments, the report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Columns, Json, Settings, SetupFile, WaferId


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
