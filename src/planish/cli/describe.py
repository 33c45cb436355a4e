"""The verbs that describe: new, parts, check, schema."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from planish.cli import show
from planish.errors import SetupError


def new(motion: str, output: Path, force: bool) -> None:
    """Write a commented setup of the chosen motion to ``output``."""
    from planish.setup.new import new_setup

    content = new_setup(motion)
    try:
        if output.is_dir():
            raise SetupError(f"{output}: is a folder: must be a file to write")
        if (output.exists() or output.is_symlink()) and not force:
            raise SetupError(f"{output}: exists already; nothing written (give --force to replace it)")
    except OSError as exc:
        raise SetupError(f"{output}: cannot be written ({exc.strerror}); name another file") from None
    _write(output, content)
    typer.echo(f"wrote {output}; next: planish check {output}")


def parts(kind: str | None, folders: list[Path], json_out: bool) -> None:
    """Print the catalogue, where each part is from, every value with its source and spread."""
    from planish.setup.part import OURS
    from planish.setup.parts import PART_KINDS, list_parts

    if kind is not None and kind not in PART_KINDS:
        raise SetupError(f"parts kind = {kind!r}: must be one of {', '.join(sorted(PART_KINDS))}")
    rows = [row._asdict() for row in list_parts(kind, folders=folders)]
    if json_out:
        show.print_json(rows)
        return
    if not rows:
        typer.echo(f"no {kind} here: neither planish, an installed package nor a folder brings one")
    for of, name in dict.fromkeys((row["kind"], row["part"]) for row in rows):
        mine = [row for row in rows if (row["kind"], row["part"]) == (of, name)]
        head = [key for key in mine[0] if key not in ("kind", "part", "origin")]
        origin = "" if mine[0]["origin"] == OURS else f" (from {mine[0]['origin']})"
        show.table(head, [[row[key] for key in head] for row in mine], title=f"{of}: {name}{origin}")


def check(file: Path, json_out: bool, settings: Sequence[str] = ()) -> None:
    """Validate a setup; errors end with exit code 2, warnings, unlikely values and notes are listed."""
    from planish.setup.changes import read_changes
    from planish.setup.check import check as run

    changes = read_changes(settings)
    findings = [
        {"level": item.level, "place": item.place, "message": item.message} for item in run(file, changes)
    ]
    errors = [item for item in findings if item["level"] == "error"]
    if json_out:
        show.print_json({"file": str(file), "ok": not errors, "findings": findings})
    else:
        for item in findings:
            if item["level"] != "error":
                told = item["message"].startswith(item["place"])  # most messages name the place themselves
                typer.echo(
                    f"{item['level']}: {item['message'] if told else item['place'] + ': ' + item['message']}"
                )
        if not errors:
            typer.echo(f"{file}: {_verdict(findings)}")
    if errors:
        for item in errors:
            named = f"{file.name}: " if item["place"] else ""
            typer.echo(f"planish: {named}{item['message']}", err=True)
        raise typer.Exit(2)


def _verdict(findings: list[dict[str, str]]) -> str:
    """Say of a setup that can be used whether it is good, or what in it to look at again."""
    odd = {"warning": "warning", "unlikely": "unlikely value"}
    told = [
        f"{count} {words}{'s' if count > 1 else ''}"
        for level, words in odd.items()
        if (count := sum(item["level"] == level for item in findings))
    ]
    return f"can be used, but look at {' and '.join(told)} above" if told else "good"


def schema(output: Path | None) -> None:
    """Write or print the JSON Schema of setup files."""
    import json

    from planish.setup.schema import json_schema

    content = json.dumps(json_schema(), indent=1, ensure_ascii=False)
    if output is None:
        typer.echo(content)
        return
    _write(output, content + "\n")
    typer.echo(f"wrote {output}")


def _write(output: Path, content: str) -> None:
    from planish.engine.files import write_whole

    try:
        write_whole(output, content.encode())
    except OSError as exc:
        raise SetupError(f"{output}: cannot be written ({exc.strerror}); name another file") from None
