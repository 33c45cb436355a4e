"""The verb that solves for settings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show


def tune(file: Path, settings: list[str], json_out: bool, out: Path | None, **options: Any) -> None:
    """Print the settings that a wafer asks for; ``out`` gets the setup with them."""
    from planish.jobs.tuning import settings_for

    found = settings_for(file, settings, **options)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        _print(figures)
    if out is not None:
        from planish.engine.files import write_whole

        write_whole(out, found.tuned().to_toml().encode())
        show.written([out], json_out)


def _print(figures: dict[str, Any]) -> None:
    rows = []
    for before, after in zip(figures["steps_before"], figures["steps"], strict=True):
        for words, step in (("before", before), ("after", after)):
            zones = ", ".join(f"{value:.3f}" for value in step["zone_pressures_kPa"])
            rows.append([f"{step['name']}, {words}", zones, step["ring_pressure_kPa"], step["time_s"]])
    show.table(["step", "zone pressures [kPa]", "ring [kPa]", "time [s]"], rows)
    show.summary(figures)
    for bound in figures["binding"]:
        typer.echo(f"- {bound['words']}")
    if not figures["binding"]:
        typer.echo("- no limit holds the settings: no more room would make the wafer more even")
    show.changes(figures["changes"], "to polish with these settings, add")
