"""The verb that cleans a wafer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show


def clean(
    file: Path, settings: list[str], steps: list[str], sizes: str | None, hamaker: str | None, json_out: bool
) -> None:
    """Print which share of the slurry's particles each cleaning step leaves."""
    from planish.jobs.changed import load_changed
    from planish.jobs.cleaning import cleaned

    found = cleaned(load_changed(file, settings), steps, sizes, hamaker)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
        return
    show.cleaning(figures["steps"], figures["sizes_nm"])
    for note in figures["notes"]:
        typer.echo(f"note: {note}")
