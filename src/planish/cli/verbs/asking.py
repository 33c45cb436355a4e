"""The verb that asks what changed: ``planish hold causes``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from planish.cli.options import Columns, Json, Out, Settings, SetupFile
from planish.cli.verbs.holding import DecimalSign, Picture, Sheet, hold


def _column(words: str) -> Any:
    return typer.Option(metavar="COLUMN", help=words)


@hold.command("causes")
def hold_causes(
    setup: SetupFile,
    before: Annotated[
        Path,
        typer.Argument(help="Thickness before: a file with a row a wafer, or a folder.", metavar="BEFORE"),
    ],
    after: Annotated[Path, typer.Argument(help="Thickness after, the same wafers.", metavar="AFTER")],
    baseline: Annotated[int, typer.Option("--baseline", help="So many first wafers were good.")],
    table: Annotated[
        Path | None,
        typer.Option("--table", help="Table with a row a wafer, for the columns below.", metavar="FILE"),
    ] = None,
    time: Annotated[str | None, _column("Polish time [s].")] = None,
    temperature: Annotated[str | None, _column("Mean temperature of the pad.")] = None,
    friction: Annotated[str | None, _column("Coefficient of friction.")] = None,
    torque: Annotated[str | None, _column("Torque or current of the motor, in place of friction.")] = None,
    pad: Annotated[str | None, _column("Wafers (or hours, 'pad [h]') on the pad before the row's.")] = None,
    disk: Annotated[str | None, _column("Hours of the disk's use before.")] = None,
    event: Annotated[
        list[str] | None,
        typer.Option("--event", metavar="TEXT", help="What happened before a row, as '31 pad'; repeatable."),
    ] = None,
    site_plan: Annotated[
        str | None,
        typer.Option("--site-plan", help="Places of the sites of a row a wafer, as '49, 300 mm, 3 mm'."),
    ] = None,
    columns: Columns = None,
    settings: Settings = None,
    sheet: Sheet = None,
    decimal: DecimalSign = None,
    output: Picture = None,
    json_out: Json = False,
    out: Out = None,
) -> None:
    """Rank what may have changed since the good wafers: pad, disk, head zone, slurry, incoming film, metrology."""
    from planish.cli import causes as verb

    verb.causes(
        setup,
        settings or [],
        before,
        after,
        output,
        json_out,
        out,
        columns=columns,
        site_plan=site_plan,
        baseline=baseline,
        table=table,
        time=time,
        temperature=temperature,
        friction=friction,
        torque=torque,
        pad=pad,
        disk=disk,
        events=event or [],
        sheet=sheet,
        decimal=decimal,
    )
