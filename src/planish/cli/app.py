"""The command itself, to which each verb adds itself."""

from __future__ import annotations

from typing import Annotated

import typer

app = typer.Typer(
    name="planish",
    help="Chemical-mechanical planarization: predict, measure, fit and explain, from one setup file.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: loading rich would double the start-up
    context_settings={"help_option_names": ["-h", "--help"]},
)


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
