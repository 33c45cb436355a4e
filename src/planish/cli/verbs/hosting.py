"""The verbs that serve the bench, and the people who may sign in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planish.cli.app import app
from planish.cli.options import Json


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
