"""The verbs that describe: new, parts, check, schema."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from planish.cli import show
from planish.errors import SetupError


def new(motion: str, output: Path, force: bool) -> None:
    """Write a commented setup of the chosen motion to ``output``."""
    from planish import new_setup

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
    """Print the catalogue or a registry, where each record is from, every value with its source and spread."""
    from planish.jobs.parts import parts_by_name

    found = parts_by_name(kind, folders)
    if json_out:
        show.print_json([row._asdict() for rows in found.values() for row in rows])
        return
    if not found:
        typer.echo(f"no {kind} here: neither planish, an installed package nor a folder brings one")
    for (of, name), rows in found.items():
        head = [key for key in rows[0]._fields if key not in ("kind", "part", "origin")]
        origin = "" if rows[0].is_ours else f" (from {rows[0].origin})"
        show.table(head, [[getattr(row, key) for key in head] for row in rows], title=f"{of}: {name}{origin}")


def check(file: Path, json_out: bool, settings: Sequence[str] = ()) -> None:
    """Validate a setup; errors end with exit code 2, warnings, unlikely values and notes are listed."""
    from planish.jobs.changed import check_changed

    findings = [
        {"level": item.level, "place": item.place, "message": item.message}
        for item in check_changed(file, settings)
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

    from planish import json_schema

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
