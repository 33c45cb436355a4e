"""The verb that ranks the causes of an alarm."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show


def causes(
    setup: Path,
    settings: list[str],
    before: Path,
    after: Path,
    output: Path | None,
    json_out: bool,
    out: Path | None,
    **options: Any,
) -> None:
    """Rank the causes, print them with their evidence, and write what was asked for."""
    from planish import rank_causes
    from planish.jobs.changed import load_changed

    found = rank_causes(load_changed(setup, settings), before, after, **options)
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        show.table(
            ["cause", "share [%]", "likeliest change", "since row", "check first"],
            [
                [
                    one["cause"],
                    f"{one['share_percent']:.1f}",
                    one["change"],
                    one["onset_row"],
                    one["check_first"],
                ]
                for one in document["causes"]
            ],
        )
        for line in document["said"]:
            typer.echo(line)
        for note in document["notes"]:
            typer.echo(f"note: {note}")
    if output is not None:
        from planish.jobs.held_pictures import write_picture

        show.written([write_picture(found, output)], json_out)
    show.files(found, out, json_out)
