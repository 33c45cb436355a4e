"""The verbs of the browser bench: serve, and the people of a team."""

from __future__ import annotations

import socket
import sys
from pathlib import Path

import typer

from planish.errors import DataError


def serve(
    host: str,
    port: int,
    data: Path | None,
    team: bool,
    names: list[str],
    https: bool,
    show: bool,
    slow: int | None = None,
) -> None:
    """Serve the bench until interrupted."""
    from planish.web.workers import Workers

    if host not in ("127.0.0.1", "localhost", "::1") and not team:
        raise DataError(
            f"--host = {host!r}: must be a loopback address unless people sign in (give --team, "
            "add people with 'planish people add NAME', and put a proxy with TLS before it)"
        )
    listening = _listen(host, port)
    workers = Workers(slow=slow, team=team)
    workers.start()  # they load the model while this process loads the server

    import uvicorn

    from planish.web.app import build, data_folder

    folder = data if data is not None else data_folder()
    app = build(workers, folder, team=team, hosts=[*names, host], https=https)
    if team and not app.state.services.accounts.names():
        workers.stop()
        raise DataError(
            "--team: nobody could sign in: add the first person with 'planish people add NAME --role approve'"
        )
    address = f"http://{'localhost' if host in ('127.0.0.1', '::1') else host}:{listening.getsockname()[1]}/"
    typer.echo(f"planish bench at {address} (stop with Ctrl-C)")
    sys.stdout.flush()
    if show:
        import webbrowser

        webbrowser.open(address)
    config = uvicorn.Config(
        app,
        log_level="warning",
        server_header=False,
        ws="none",
        timeout_keep_alive=60,
        timeout_graceful_shutdown=2,
        proxy_headers=https,
    )
    try:
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        workers.stop()


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)  # who comes while the server still loads waits, and is not refused
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise DataError(f"--port = {port}: cannot be used ({reason}); name another, or 0 for any") from None
    return listening


def add_person(name: str, role: str, data: Path | None, password_stdin: bool) -> None:
    """Add a person, or change password and role of one."""
    from planish.web.accounts import Accounts
    from planish.web.app import data_folder

    accounts = Accounts((data or data_folder()) / "people.json")
    if password_stdin:
        password = sys.stdin.readline().rstrip("\n")
    else:
        password = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    accounts.add(name, password, role)
    typer.echo(f"{name} may now {role}")


def remove_person(name: str, data: Path | None) -> None:
    """Take a person out."""
    from planish.web.accounts import Accounts
    from planish.web.app import data_folder

    Accounts((data or data_folder()) / "people.json").remove(name)
    typer.echo(f"{name} is out")


def list_people(data: Path | None) -> None:
    """Print names and roles."""
    from planish.cli import show
    from planish.web.accounts import Accounts
    from planish.web.app import data_folder

    people = Accounts((data or data_folder()) / "people.json").names()
    show.table(["name", "role"], [[name, role] for name, role in sorted(people.items())])
