"""The verb that holds a step: charts, run lengths, capability, gauge studies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show

if TYPE_CHECKING:
    from planish.results.result import Result

ALARM = 3
MOST_SHOWN = 40


def chart(file: Path, output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Draw the chart, print it, and end with 3 where it alarms."""
    from planish import hold_chart

    show_chart(hold_chart(file, **options), output, json_out, out, model=options.get("model"))


def show_chart(
    found: Result, output: Path | None, json_out: bool, out: Path | None, *, model: Path | None = None
) -> None:
    """Print a chart and write its files; ends with 3 where it alarms, and says then how the ``model`` can rank causes."""
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        _phases(document)
        _alarms(document)
        show.summary(document)
        if document["alarms"] and model is not None:
            typer.echo(
                f"which part changed? planish hold causes {model} BEFORE AFTER --baseline N ranks them by this model"
            )
    _written(found, output, json_out, out)
    if document["alarms"]:
        raise typer.Exit(ALARM)


def run_length(output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Solve for the run length and print it."""
    from planish import hold_run_length

    _show(hold_run_length(**options), "run_lengths", output, json_out, out)


def limit(output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Solve for the limit and print it."""
    from planish import hold_limit

    _show(hold_limit(**options), "run_lengths", output, json_out, out)


def capability(file: Path, output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Say how the rows fit between their limits."""
    from planish import hold_capability

    _show(hold_capability(file, **options), "", output, json_out, out)


def gauge(file: Path, output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Say how much of the spread is the gauge."""
    from planish import hold_gauge

    _show(hold_gauge(file, **options), "components", output, json_out, out)


def _show(found: Result, listed: str, output: Path | None, json_out: bool, out: Path | None) -> None:
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        rows = document.get(listed) or []
        if rows:
            head = list(rows[0])
            show.table(
                [name.replace("_", " ") for name in head], [[row[name] for name in head] for row in rows]
            )
        show.summary(document)
    _written(found, output, json_out, out)


def _written(found: Result, output: Path | None, json_out: bool, out: Path | None) -> None:
    if output is not None:
        from planish.jobs.held_pictures import write_picture

        show.written([write_picture(found, output)], json_out)
    show.files(found, out, json_out)


def _phases(document: dict[str, Any]) -> None:
    columns = ["phase", "first_row", "last_row", "centre", "sigma", "lower", "upper", "taken_from"]
    rows = [[phase[name] for name in columns] for phase in document["phases"][:MOST_SHOWN]]
    show.table([name.replace("_", " ") for name in columns], rows)


def _alarms(document: dict[str, Any]) -> None:
    alarms = document["alarms"]
    if not alarms:
        typer.echo("no alarm")
        return
    more = f", the first {MOST_SHOWN} of {len(alarms)}" if len(alarms) > MOST_SHOWN else ""
    called = ["name"] if "name" in alarms[0] else []
    columns = ["row", *called, "rule", "cause"]
    rows = [[alarm[name] for name in columns] for alarm in alarms[:MOST_SHOWN]]
    show.table(["row", *called, "rule", "what changed"], rows, title=f"alarms{more}")
