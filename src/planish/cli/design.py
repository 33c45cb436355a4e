"""The verbs of a designed experiment: write its sheet, read it back with the results."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show


def write(
    file: Path,
    settings: list[str],
    vary: list[str],
    output: Path,
    results: list[str],
    json_out: bool,
    **options: Any,
) -> None:
    """Lay the experiment out and write its sheet."""
    from planish import design_runs
    from planish.jobs.changed import load_changed
    from planish.jobs.studies import read_varied

    sheet = design_runs(load_changed(file, settings), read_varied(vary, named="--vary"), **options)
    path = sheet.write(output, results) if results else sheet.write(output)
    figures: dict[str, Any] = sheet.document()
    if json_out:
        show.print_json(figures)
    else:
        rows = [[row["letter"], row["path"], row["range"]] for row in figures["factors"]]
        show.table(["letter", "key", "range"], rows)
        show.summary(figures)
    show.written([path], json_out)


def read(file: Path, json_out: bool, out: Path | None, **options: Any) -> None:
    """Fit the surface and print it; ``out`` gets picture and result."""
    from planish import fit_runs

    found = fit_runs(file, **options)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
    else:
        _print(figures)
    show.files(found, out, json_out)


def _print(figures: dict[str, Any]) -> None:
    factors = [[row["letter"], row["path"], row["range"]] for row in figures["factors"]]
    show.table(["letter", "key", "range"], factors)
    columns = ["term", "coefficient", "error", "t", "p"]
    heads = ["term", "coefficient for half a range", *columns[2:]]
    rows = [[row[name] for name in columns] for row in figures["terms"]]
    show.table(heads, rows, title=figures["result"])
    columns = ["source", "degrees", "sum_of_squares", "mean_square", "F", "p"]
    rows = [[row[name] for name in columns] for row in figures["variance"]]
    show.table([name.replace("_", " ") for name in columns], rows)
    if figures["flat_point"] != "none":
        rows = [[row["path"], row["flat"], row["unit"], row["flat_coded"]] for row in figures["settings"]]
        show.table(["where it is flat", "setting", "unit", "coded"], rows)
    else:
        rows = [[row["path"], row["steepest_up_coded"]] for row in figures["settings"]]
        show.table(["steepest way up", "coded"], rows)
    show.summary(figures)
    show.changes(figures["changes"], f"to polish at that {figures['flat_point']}, add")
    if figures["flat_point"] == "saddle":
        typer.echo("it rises one way and falls the other: look at the picture (--out)")
