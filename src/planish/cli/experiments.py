"""The verb that holds planish against published experiments."""

from __future__ import annotations

from typing import Any

import typer

from planish.cli import show


def experiments(names: list[str], json_out: bool) -> None:
    """Print what was measured, what planish says and how far off it is."""
    from planish.jobs.experiments import held_against

    found: dict[str, Any] = held_against(names).document()
    if json_out:
        show.print_json(found)
        return
    for one in found["experiments"]:
        rows = [
            [
                row["what"],
                f"{row['measured']:.4g} {row['unit']}".strip(),
                f"{row['planish']:.4g} {row['unit']}".strip(),
                row["off_by"],
                row["kind"],
            ]
            for row in one["rows"]
        ]
        title = f"{one['name']}: {one['title']}"
        if rows:
            show.table(["what", "measured", "planish", "off by", "kind"], rows, title=title)
        else:
            typer.echo(title)
        typer.echo(f"{one['said']}\nsource: {one['source']} ({one['read']})\n")
    for note in found["notes"]:
        typer.echo(f"note: {note}")
