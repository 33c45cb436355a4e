"""The verbs that qualify a step: checklists, signed records, tests of equivalence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show

if TYPE_CHECKING:
    from planish.results.result import Result

MISSED = 3


def checklist(output: Path) -> None:
    """Write a checklist to fill in."""
    from planish.jobs.qualifying import write_checklist

    show.written([write_checklist(output)], json_out=False)


def qualify(
    file: Path,
    record: Path | None,
    key: Path | None,
    output: Path | None,
    json_out: bool,
    out: Path | None,
    **options: Any,
) -> None:
    """Judge rows by a checklist, sign the record, and end with 3 where a check is missed."""
    from planish import hold_qualify
    from planish.jobs.qualifying import seal_key

    seal = seal_key(key)
    found = hold_qualify(file, **options)
    _show(found, "checks", output, json_out, out)
    if record is not None:
        show.written([found.sign(record, seal)], json_out)
    if not found.passed:
        raise typer.Exit(MISSED)


def qualified(record: Path, key: Path | None, output: Path | None, json_out: bool, out: Path | None) -> None:
    """Show a signed record, refused where it was changed; end with 3 where a check was missed."""
    from planish import read_qualification
    from planish.jobs.qualifying import seal_key

    found = read_qualification(record, seal_key(key))
    _show(found, "checks", output, json_out, out)
    if not found.passed:
        raise typer.Exit(MISSED)


def equivalence(file: Path, output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Say whether a new part is equivalent to the old one, and end with 3 where that is not shown."""
    from planish import hold_equivalence

    found = hold_equivalence(file, **options)
    _show(found, "parts", output, json_out, out)
    if not found.shown:
        raise typer.Exit(MISSED)


def equivalence_size(output: Path | None, json_out: bool, out: Path | None, **options: Any) -> None:
    """Say how many rows a test of equivalence needs."""
    from planish import hold_equivalence_size

    _show(hold_equivalence_size(**options), "", output, json_out, out)


def _show(found: Result, listed: str, output: Path | None, json_out: bool, out: Path | None) -> None:
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        rows = document.get(listed) or []
        if rows:
            head = [name for name in rows[0] if any(row[name] not in (None, "") for row in rows)]
            show.table(
                [name.replace("_", " ") for name in head], [[row[name] for name in head] for row in rows]
            )
        show.summary(document)
    if output is not None:
        from planish.jobs.held_pictures import write_picture

        show.written([write_picture(found, output)], json_out)
    show.files(found, out, json_out)
