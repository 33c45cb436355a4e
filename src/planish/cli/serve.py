"""The verbs of the browser bench: serve, and the people of a team."""

from __future__ import annotations

import os
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
    proxies: list[str],
    show: bool,
    slow: int | None = None,
) -> None:
    """Serve the bench until interrupted."""
    from planish.web.workers import Workers

    believed = _proxies(proxies, https)
    os.umask(0o077)  # for whatever this and its workers write

    if host not in ("127.0.0.1", "localhost", "::1") and not team:
        raise DataError(
            f"--host = {host!r}: must be a loopback address unless people sign in (give --team, "
            "add people with 'planish people add NAME', and put a proxy with TLS before it)"
        )
    listening = _listen(host, port)
    workers = Workers(slow=slow, team=team)
    workers.start()  # they load the model while this process loads the server

    from planish.web.app import build, data_folder
    from planish.web.wire import server

    folder = data if data is not None else data_folder()
    try:
        app = build(workers, folder, team=team, hosts=[*names, host], https=https, proxies=believed)
        if team and not app.state.services.accounts.names():
            raise DataError(
                "--team: nobody could sign in: add the first person with 'planish people add NAME --role approve'"
            )
    except BaseException:
        workers.stop()
        raise
    address = f"http://{'localhost' if host in ('127.0.0.1', '::1') else host}:{listening.getsockname()[1]}/"
    typer.echo(f"planish bench at {address} (stop with Ctrl-C)")
    sys.stdout.flush()
    if show:
        import webbrowser

        webbrowser.open(address)
    try:
        server(app, believed).run(sockets=[listening])
    finally:
        workers.stop()


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(1024)  # who comes while the server still loads waits, and is not refused
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise DataError(f"--port = {port}: cannot be used ({reason}); name another, or 0 for any") from None
    return listening


def _proxies(named: list[str], https: bool) -> list[str]:
    """Return the addresses of the proxies to believe: those named, or with --https those on this machine."""
    import ipaddress

    for address in named:
        try:
            ipaddress.ip_address(address)
        except ValueError:
            raise DataError(f"--proxy = {address!r}: must be an IP address, such as 10.0.0.5") from None
    return named or (["127.0.0.1", "::1"] if https else [])


def _folder(data: Path | None) -> Path:
    from planish.web.app import data_folder
    from planish.web.private import private_folder

    return private_folder(data or data_folder())


def _standing(data: Path | None) -> Path:
    """Return the folder of a bench that is there.

    Raises
    ------
    DataError
        Where there is none.
    """
    from planish.web.app import data_folder

    if not (data or data_folder()).is_dir():
        raise DataError(f"--data {data or data_folder()}: no such folder; name the one that the bench keeps")
    return _folder(data)


def add_person(name: str, role: str, data: Path | None, password_stdin: bool) -> None:
    """Add a person, or change password and role of one."""
    from planish.web.accounts import Accounts
    from planish.web.leaving import settle
    from planish.web.log import Log
    from planish.web.sessions import Sessions

    folder = _folder(data)
    accounts = Accounts(folder / "people.json")
    if password_stdin:
        password = sys.stdin.readline().rstrip("\n")
    else:
        try:
            password = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
        except typer.Abort:
            raise DataError("password: not given; type it twice, or give it by --password-stdin") from None
    settle(folder, accounts)
    before = accounts.find(name)
    made = accounts.add(name, password, role)
    if before is not None:  # whoever is signed in with the old password is out
        sessions = Sessions(folder / "sessions.sqlite")
        sessions.end_all(made.id)
        sessions.close()
    what = "person changed" if before is not None else "person added"
    Log(folder).note(what, name, made.id, role=role, by="command")
    typer.echo(f"{name} may now {role}")


def remove_person(name: str, data: Path | None) -> None:
    """Take a person out, and delete what is theirs."""
    from planish.web.leaving import remove

    files, jobs = remove(_standing(data), name)
    typer.echo(f"{name} is out; {files} files and {jobs} jobs deleted")


def list_people(data: Path | None) -> None:
    """Print names and roles."""
    from planish.cli import show
    from planish.web.accounts import Accounts

    people = Accounts(_standing(data) / "people.json").names()
    show.table(["name", "role"], [[name, role] for name, role in sorted(people.items())])


def print_log(data: Path | None, last: int, as_json: bool) -> None:
    """Print the log, and say whether it and the book of approvals are whole."""
    import json

    from planish.web.book import plain
    from planish.web.log import Approvals, Log

    folder = _standing(data)
    entries, book = Log(folder).read(last)
    approvals = Approvals(folder / "approvals.jsonl").read()
    reasons = [f"log: {r}" for r in book.reasons] + [f"approvals: {r}" for r in approvals.reasons]
    notes = [f"log: {n}" for n in book.notes] + [f"approvals: {n}" for n in approvals.notes]
    if as_json:
        told = {"entries": entries, "of": len(book.entries), "whole": not reasons}
        typer.echo(json.dumps({**told, "reasons": reasons, "notes": notes}))
        _stop_unless_whole(reasons)
        return
    for entry in entries:
        more = {k: v for k, v in entry.items() if k not in ("at", "what", "person", "id", "before", "hash")}
        said = ", ".join(f"{key} {value}" for key, value in more.items())
        line = f"{entry.get('at')}  {entry.get('what')}  {entry.get('person', '')}  {said}"
        typer.echo(plain(line.rstrip()))  # somebody may have written in the file
    typer.echo(f"{len(entries)} of {len(book.entries)} entries; {len(approvals.entries)} approvals")
    for words in notes:
        typer.echo(f"note: {words}")
    for words in reasons:
        typer.echo(f"NOT WHOLE: {words}")
    if not reasons:
        typer.echo("log and approvals are whole")
    _stop_unless_whole(reasons)


def _stop_unless_whole(reasons: list[str]) -> None:
    """Exit with 3, an alarm that was found, where a book was cut or changed."""
    if reasons:
        raise typer.Exit(3)
