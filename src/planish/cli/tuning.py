"""The verb that solves for settings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show


def tune(file: Path, settings: list[str], json_out: bool, out: Path | None, **options: Any) -> None:
    """Print the settings that a wafer asks for; ``out`` gets the setup with them."""
    from planish.engine.execute import CancelledError, stopped_by_interrupt
    from planish.jobs.tuning import settings_for

    if not options["meet"]:
        found = settings_for(file, settings, **options)
    else:
        try:
            with show.progress("draws", quiet=json_out) as tell, stopped_by_interrupt() as cancel:
                found = settings_for(
                    file, settings, progress=lambda done, of: tell(done / of), cancel=cancel, **options
                )
        except CancelledError as stopped:
            typer.echo(f"planish: {stopped}", err=True)
            raise typer.Exit(130) from None
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
    if "wafers" in figures:
        show.table(
            ["wafer", "comes in [nm]", "left [nm]", "1σ before [%]", "1σ after [%]"],
            [
                [
                    row["wafer"],
                    row["mean_incoming_nm"],
                    row["mean_remaining_after_nm"],
                    row["wiwnu_sigma_percent_before"],
                    row["wiwnu_sigma_percent_after"],
                ]
                for row in figures["wafers"]
            ],
        )
    show.summary(figures)
    if "meet" in figures:
        show.table(
            ["to be met", "not met [%]", "with plain settings [%]", "9 of 10 draws have"],
            [
                [
                    row["limit"],
                    row["failed_percent"],
                    row["failed_plain_percent"],
                    f"{row['p5']:.4g} to {row['p95']:.4g} {row['unit']}",
                ]
                for row in figures["meet"]
            ],
        )
    for bound in figures["binding"]:
        typer.echo(f"- {bound['words']}")
    if not figures["binding"]:
        typer.echo("- no limit holds the settings: no more room would make the wafer more even")
    show.changes(figures["changes"], "to polish with these settings, add")
