"""The verb that fits any numbers of a setup to any data."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from planish.cli import show
from planish.cli.measuring import seconds as seconds
from planish.errors import DataError, SetupError


def fit(
    files: Sequence[Path],
    free: Sequence[str],
    bounds: Sequence[str],
    settings: Sequence[str],
    columns: Path | None,
    reading: dict[str, Any],
    json_out: bool,
    out: Path | None,
    **options: Any,
) -> None:
    """Print fitted numbers with their doubt; ``out`` gets the fitted setup, or a folder all files."""
    from planish.jobs.calibrated import calibrated, write_fitted
    from planish.jobs.measured import told_columns

    if len(files) < 2 and not (files and reading.get("history")):
        raise SetupError(
            f"fit --free: {len(files)} file(s) given: must be SETUP and one or more files of measurements, or a history (--db)"
        )
    _can_be_written(out)
    found = calibrated(
        files[0],
        files[1:],
        free,
        settings=settings,
        bounds=bounds,
        columns=told_columns(file=columns),
        reading={name: value for name, value in reading.items() if value is not None},
        **options,
    )
    if out is not None:
        found.fitted()  # first: the notes say what of the held spreads it could not follow
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        _print(figures)
    if out is not None and out.suffix.lower() == ".toml":
        show.written([write_fitted(found, out)], json_out)
    elif out is not None:
        show.files(found, out, json_out)


def reading(
    time: str | None,
    wafer: str | None,
    runs: tuple[Sequence[str], Sequence[str], str | None, str | None],
    drawn: tuple[Path | None, str | None, str],
    step: str | None,
    history: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return what the files do not say of themselves: of sites, of a table of runs, of a table of steps on a layout."""
    from planish.cli.bounds import option_length
    from planish.jobs.calibrating import told_runs
    from planish.jobs.dies import die_quantity

    column, leave_out, decimal, sheet = runs
    layout, layer, cell = drawn
    return {
        "time": seconds(time),
        "wafer": wafer,
        "told": told_runs(column, leave_out, decimal=decimal, sheet=sheet),
        "layout": layout,
        "layer": layer,
        "cell": option_length("--cell", cell),
        "step": None if step is None else die_quantity("--step-height", step, "step"),
        "history": history,
    }


def _can_be_written(out: Path | None) -> None:
    """Refuse a file in a folder that is not there, and a file where a folder is meant, before anything is fitted."""
    if out is None:
        return
    if out.suffix.lower() == ".toml":
        if out.is_dir():
            raise DataError(f"--out {out}: is a folder: must be the file for the fitted setup")
        if not out.parent.is_dir():
            raise DataError(f"--out {out}: there is no folder {out.parent}; make it or name another")
    elif out.exists() and not out.is_dir():
        raise DataError(
            f"--out {out}: is a file: must be a folder, or a name that ends in .toml for the fitted setup"
        )


def _print(figures: dict[str, Any]) -> None:
    from planish.jobs.calibrated import sentences

    level = f"{100 * figures['level_share']:g} %"
    rows = [
        [path, row["value"], _end(row["low"], row["no_end_below"]), _end(row["high"], row["no_end_above"]),
         row["unit"], row["before"]]
        for path, row in figures["parameters"].items()
    ]  # fmt: skip
    show.table(["number", "fitted", f"{level} from", "to", "unit", "before"], rows)
    first, *rest = sentences(figures)
    typer.echo(first)
    for line in rest:
        typer.echo(f"- {line}")
    for note in figures["notes"]:
        typer.echo(f"note: {note}")
    show.changes(figures["changes"], "to predict with the fitted numbers, add")


def _end(value: float, none: bool) -> str:
    return f"{show.text(value)} (no end)" if none else show.text(value)
