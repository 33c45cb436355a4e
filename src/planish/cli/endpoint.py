"""The verbs of the endpoint: follow a film by its light, watch a signal for its change, invent a trace."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show
from planish.errors import DataError


def follow(trace: Path, target: str, json_out: bool, out: Path | None, **options: Any) -> None:
    """Replay an optical trace, and say when the target was reached."""
    from planish import follow_trace

    given = {name: value for name, value in options.items() if value is not None}
    _show(follow_trace(trace, target, **given), json_out, out)


def watch(trace: Path, json_out: bool, out: Path | None, **options: Any) -> None:
    """Replay a signal, and say when its change was sure."""
    from planish import watch_trace

    given = {name: value for name, value in options.items() if value is not None}
    _show(watch_trace(trace, **given), json_out, out)


def invent(
    file: Path, settings: list[str], output: Path, json_out: bool, out: Path | None, **options: Any
) -> None:
    """Write the trace that a wafer of a setup would give."""
    from planish import invent_trace
    from planish.jobs.changed import load_changed

    given = {name: value for name, value in options.items() if value is not None}
    if output.exists() and file.exists() and output.samefile(file):
        raise DataError(f"-o {output}: is the setup that is read: must be another file, so that it stays")
    found = invent_trace(load_changed(file, settings), **given)
    path = found.write(output)
    _show(found, json_out, out)
    show.written([path], json_out)


def _show(found: Any, json_out: bool, out: Path | None) -> None:
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        typer.echo(str(found).strip("<>").partition(": ")[2])  # the sentence, without the record's name
        show.summary(figures)
    show.files(found, out, json_out)
