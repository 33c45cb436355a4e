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
    from planish import clean_wafer
    from planish.errors import DataError, PlanishError, refuse
    from planish.jobs.changed import load_changed
    from planish.predict.cleaning import LARGEST, SIZES
    from planish.units import to_si

    asked: dict[str, Any] = {"steps": steps} if steps else {}
    each: dict[str, float] = {}
    try:
        if sizes is not None:
            each |= {size.strip(): to_si(size.strip(), "thickness") for size in sizes.split(",")}
            asked["sizes"] = list(each.values())
    except PlanishError as error:
        raise DataError(f"--sizes = {error}") from None
    for text, size in each.items():
        if not 0 < size <= LARGEST:
            raise DataError(refuse("--sizes", text, SIZES))
    try:
        if hamaker is not None:
            asked["hamaker"] = to_si(hamaker, "energy")
    except PlanishError as error:
        raise DataError(f"--hamaker = {error}") from None
    found = clean_wafer(load_changed(file, settings), **asked)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
        return
    show.cleaning(figures["steps"], figures["sizes_nm"])
    for note in figures["notes"]:
        typer.echo(f"note: {note}")
