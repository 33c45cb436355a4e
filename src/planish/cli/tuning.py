"""The verb that solves for settings."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show
from planish.cli.options import writable, writable_file
from planish.units import PSI


def tune(files: list[Path], settings: list[str], json_out: bool, out: Path | None, **options: Any) -> None:
    """Print the settings that a wafer asks for; ``out`` gets the setup with them, or a folder those of several platens."""
    from planish.engine.execute import CancelledError, stopped_by_interrupt
    from planish.jobs.tuning import settings_for

    if len(files) > 1:
        _in_turn(files, settings, json_out, out, options)
        return
    (file,) = files
    writable_file(out, [file, *options["incoming"]])
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


def _in_turn(
    files: list[Path], settings: list[str], json_out: bool, out: Path | None, options: dict[str, Any]
) -> None:
    from planish.jobs.tuning import settings_in_turn

    writable(out)
    found = settings_in_turn(files, settings, **options)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        _print_platens(figures)
    show.files(found, out, json_out)


def _print_platens(figures: dict[str, Any]) -> None:
    for row in figures["platens"]:
        _print_steps(row, title=f"platen {row['platen']}: {row['setup']}")
    show.table(
        [
            "platen",
            "time before [s]",
            "time after [s]",
            "leaves before [nm]",
            "leaves after [nm]",
            "1σ after [nm]",
        ],
        [
            [
                f"{row['platen']}",
                row["time_before_s"],
                row["time_after_s"],
                row["mean_remaining_before_nm"],
                row["mean_remaining_after_nm"],
                row["sigma_remaining_after_nm"],
            ]
            for row in figures["platens"]
        ],
    )
    _print_wafers(figures)
    show.summary(figures)
    _print_bounds(figures)
    for row in figures["platens"]:
        words = f"to polish with these settings on platen {row['platen']}, add"
        show.changes(row["changes"], words)


def _print(figures: dict[str, Any]) -> None:
    _print_steps(figures)
    _print_wafers(figures)
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
    _print_bounds(figures)
    show.changes(figures["changes"], "to polish with these settings, add")


def _print_steps(figures: dict[str, Any], title: str = "") -> None:
    rows = []
    for before, after in zip(figures["steps_before"], figures["steps"], strict=True):
        for words, step in (("before", before), ("after", after)):
            zones = ", ".join(f"{1e3 * value / PSI:.3f}" for value in step["zone_pressures_kPa"])
            rows.append(
                [
                    f"{step['name']}, {words}",
                    zones,
                    f"{1e3 * step['ring_pressure_kPa'] / PSI:.3f}",
                    step["time_s"],
                    _stop(step),
                ]
            )
    heads = ["step", "zone pressures [psi]", "ring [psi]", "time [s]", "stops on"]
    show.table(heads, rows, title=title)


def _stop(step: dict[str, Any]) -> str:
    """Return what a step stops on."""
    for key, words in (("stop_on_removed_nm", "removed"), ("stop_on_remaining_nm", "left")):
        if key in step:
            return f"{step[key]:.5g} nm {words}"
    return "time"


def _print_wafers(figures: dict[str, Any]) -> None:
    if "wafers" not in figures:
        return
    heads = ["wafer", "left [nm]", "1σ before [%]", "1σ after [%]"]
    keys = ["wafer", "mean_remaining_after_nm", "wiwnu_sigma_percent_before", "wiwnu_sigma_percent_after"]
    if "mean_incoming_nm" in figures["wafers"][0]:
        heads.insert(1, "comes in [nm]")
        keys.insert(1, "mean_incoming_nm")
    show.table(heads, [[row[key] for key in keys] for row in figures["wafers"]])


def _print_bounds(figures: dict[str, Any]) -> None:
    for bound in figures["binding"]:
        typer.echo(f"- {bound['words']}")
    if not figures["binding"]:
        typer.echo("- no limit holds the settings")
