"""The verbs that describe a machine: write a setup, list parts and inputs, check a file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Json, Settings, SetupFile


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
