"""The verb that says what each input moves."""

from __future__ import annotations

from typing import Any

import typer

from planish.cli import show

LONGEST = 60  # characters of one value set beside, in the table
MOST = 5  # answers named in a row; --json has them all


def inputs(keys: list[str], settings: int, wafers: int, json_out: bool) -> None:
    """Print each input with its usual range, what it moves, and what the trade or a source says."""
    from planish.jobs.inputs import inputs_moved

    with show.progress("inputs", quiet=json_out) as tell:
        found: dict[str, Any] = inputs_moved(keys, settings=settings, wafers=wafers, tell=tell).document()
    if json_out:
        show.print_json(found)
        return
    rows = [[row["key"], row["usual"], _moves(row) + _beside(row), _stated(row)] for row in found["inputs"]]
    show.table(["input", "usual", "moves", "stated"], rows)
    for row in found["inputs"]:
        for place, value in row["beside"].items():
            typer.echo(f"note: {row['key']}: tried beside {place} = {value}")
        for line in row["refused"]:
            typer.echo(f"note: {row['key']}: not at {line}")
    for note in found["notes"]:
        typer.echo(f"note: {note}")


def _beside(row: dict[str, Any]) -> str:
    """Return what was set beside, in short; the notes have it in full."""
    told = [f"{place} = {value}" for place, value in row["beside"].items()]
    short = [each if len(each) <= LONGEST else each[: LONGEST - 1] + "…" for each in told]
    return f" (beside {', '.join(short)})" if short else ""


def _moves(row: dict[str, Any]) -> str:
    if row["descriptive"] and not row["moves"]:
        return "descriptive: moves no answer"
    told = [move["told"] for move in row["moves"][:MOST]]
    more = len(row["moves"]) - MOST
    return "; ".join([*told, *([f"and {more} more"] if more > 0 else [])]) or "nothing"


def _stated(row: dict[str, Any]) -> str:
    return "; ".join(
        f"{one['answer']} {one['way']}" + ("" if one["agrees"] else f" (here {one['found']})")
        for one in row["stated"]
    )
