"""The verb that keeps a step's history."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from planish.cli import show
from planish.errors import DataError, refuse

MOST_SHOWN = 40
SHOWN = ("polished", "wafer", "lot", "tool", "head", "platen", "recipe", "pad")
FIGURES = ("rate_nm_per_min", "mean_removed_nm", "wiwnu_sigma_percent", "pad_wafers")


def add(
    files: Sequence[Path],
    db: str | None,
    json_out: bool,
    told: tuple[Sequence[str], Sequence[str], Sequence[str]],
    columns: Path | None,
    who: str | None,
    why: str,
    **rest: str | None,
) -> None:
    """Add files one after the other, and say what each brought as soon as it is in."""
    from planish import open_history
    from planish.jobs.calibrating import told_runs
    from planish.jobs.measured import told_columns

    column, leave_out, keep = told
    runs = told_runs(column, leave_out, keep, **rest)
    sites = told_columns(file=columns)
    found = []
    with open_history(db) as history:
        for file in files:
            (one,) = history.add(file, columns=sites, told=runs, who=who, why=why)
            found.append({"history": history.place, **one.document()})
            if not json_out:
                typer.echo(
                    f"{file}: {one.added} {one.what} added, {one.present} there already ({history.place})"
                )
                typer.echo(f"note: {one.understood}")
    if json_out:
        show.print_json({"added": found})


def show_wafers(
    value: str, filters: dict[str, Any], db: str | None, output: Path | None, json_out: bool, out: Path | None
) -> None:
    """Print wafers, the newest where none are asked for."""
    from planish import open_history

    with open_history(db) as history:
        found = history.wafers(value, **(filters or {"last": MOST_SHOWN}))
    document: dict[str, Any] = found.document()
    if json_out:
        show.print_json(document)
    else:
        _wafers(document)
        show.summary(document)
    _picture(found, output, json_out)
    show.files(found, out, json_out)


def _wafers(document: dict[str, Any]) -> None:
    from planish.explain.words import label

    rows = document["rows"][-MOST_SHOWN:]
    value = document["value"]
    wanted = [*SHOWN, *FIGURES, *([] if value in FIGURES else [value])]
    names = [name for name in wanted if any(row.get(name) not in (None, "") for row in rows)]
    if rows:
        more = f", the last {len(rows)} of {document['wafers']}" if len(rows) < document["wafers"] else ""
        show.table(
            [label(name) for name in names],
            [[row.get(name) for name in names] for row in rows],
            f"wafers{more}",
        )
    events = document["events"][-MOST_SHOWN:]
    if events:
        columns = [
            name
            for name in ("at", "kind", "tool", "head", "platen", "part", "note")
            if any(e[name] for e in events)
        ]
        show.table(columns, [[event[name] for name in columns] for event in events], "events")


def chart(
    value: list[str],
    filters: dict[str, Any],
    db: str | None,
    output: Path | None,
    json_out: bool,
    out: Path | None,
    **options: Any,
) -> None:
    """Chart wafers, and end with 3 where the chart alarms."""
    from planish import open_history
    from planish.cli import hold

    with open_history(db) as history:
        which: Any = filters
        found = history.chart(value if len(value) > 1 else value[0], filters=which, **options)
    hold.show_chart(found, output, json_out, out)


def note(event: str, db: str | None, json_out: bool, **options: Any) -> None:
    """Note an event."""
    from planish import open_history

    with open_history(db) as history:
        new = history.note(event, **options)
        place = history.place
    if json_out:
        show.print_json({"history": place, "event": event, "added": new})
    else:
        typer.echo(f"{event}: {'noted' if new else 'there already'} ({place})")


def decide(what: str, changes: Sequence[str], db: str | None, json_out: bool, **options: Any) -> None:
    """Record a decision."""
    from planish import open_history

    told: dict[str, str] = {}
    for line in changes:
        path, equals, value = line.partition("=")
        if not equals or not path.strip() or not value.strip():
            raise DataError(
                refuse("--change", line, "of the form PATH=VALUE", "as 'recipe.step.main.time=62 s'")
            )
        told[path.strip()] = value.strip()
    with open_history(db) as history:
        number = history.decide(what, told or None, **options)
        place = history.place
    if json_out:
        show.print_json({"history": place, "decision": what, "number": number})
        return
    typer.echo(f"decision {number}: {what} ({place})")
    typer.echo(
        "care: this is a record and sets nothing on a machine; settings are reviewed by qualified staff against the tool maker's "
        "limits before they are used"
    )


def listed(what: str, last: int, db: str | None, json_out: bool) -> None:
    """Print decisions or additions."""
    from planish import open_history

    with open_history(db) as history:
        rows = history.decisions(last) if what == "decisions" else history.audit(last)
    if json_out:
        show.print_json({what: rows})
        return
    columns = {
        "decisions": ["id", "at", "what", "who", "why", "changes", "answers", "tool", "recipe"],
        "audit": ["id", "at", "what", "who", "why", "source", "added", "present"],
    }[what]
    show.table(columns, [[_text(row[name]) for name in columns] for row in rows])


def _text(value: Any) -> Any:
    return ", ".join(f"{path}={text}" for path, text in value.items()) if isinstance(value, dict) else value


def _picture(found: Any, output: Path | None, json_out: bool) -> None:
    if output is not None:
        from planish.jobs.held_pictures import write_picture

        show.written([write_picture(found, output)], json_out)
