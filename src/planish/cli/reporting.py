"""The verb that writes a report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from planish.cli import show
from planish.cli.measuring import Written
from planish.errors import DataError


def report(
    file: Path,
    settings: list[str],
    output: Path,
    pre: Path | None,
    post: Path | None,
    time: str | None,
    written: Written,
) -> None:
    """Polish the wafer of a setup and write the page; with PRE and POST, measured sites beside it."""
    from planish import write_report
    from planish.cli.measuring import seconds
    from planish.jobs.changed import load_changed

    if (pre is None) != (post is None):
        raise DataError("--pre and --post: one given without the other: must be both or neither")
    if time is not None and pre is None:
        raise DataError("--time: must stand with --pre and --post")
    if written and pre is None:
        raise DataError("--columns and --wafer: must stand with --pre and --post")
    setup = load_changed(file, settings)
    against = None
    if pre is not None:
        from planish.jobs.measured import measured_against

        against = measured_against(setup, pre, post, seconds(time), written.columns(), written.wafer)
    try:
        path = write_report(setup, output, against)
    except OSError as exc:
        raise DataError(f"{output}: cannot be written ({exc.strerror}); name another file") from None
    show.written([path], json_out=False)


def compare(
    a: Path, b: Path, settings: list[str], outcomes: list[str] | None, json_out: bool, out: Path | None
) -> None:
    """Compare two setups and share out the differences among the groups of choices."""
    from planish import compare as run
    from planish.explain.words import label
    from planish.jobs.changed import load_changed

    one, other = load_changed(a, settings), load_changed(b, settings)
    found = run(one, other, outcomes) if outcomes else run(one, other)
    if json_out:
        show.print_json(found.document())
        show.files(found, out, json_out)
        return
    show.table(
        ["figure", "A", "B"],
        [[label(key), found.a[key], found.b[key]] for key in found.a],
        title=f"A {a}, B {b}",
    )
    for sentence in map(found.sentence, found.outcomes):
        typer.echo(sentence)
    for note in found.notes:
        typer.echo(f"note: {note}")
    show.changes(found.changes, "to make B of A, add")
    show.files(found, out, json_out)


def compare_all(
    files: list[Path],
    settings: list[str],
    outcomes: list[str] | None,
    cost: int | None,
    json_out: bool,
    out: Path | None,
) -> None:
    """Hold setups against the first, side by side, with what each difference is made of."""
    from planish import compare_all as run
    from planish.explain.words import label
    from planish.jobs.changed import load_changed

    setups = [load_changed(file, settings) for file in files]
    with show.progress("setups", quiet=json_out) as tell:
        asked = {"outcomes": outcomes} if outcomes else {}
        found = run(setups, **asked, cost_wafers=cost, progress=lambda done, of: tell(done / of))
    figures: Any = found.document()
    if json_out:
        show.print_json(figures)
    else:
        columns = list(figures["figures"][0])[1:]
        rows = [[label(row["figure"]), *(row[name] for name in columns)] for row in figures["figures"]]
        titled = ", ".join(f"{letter} {file}" for letter, file in zip(found.letters, files, strict=True))
        show.table(["figure", *columns], rows, title=titled)
        for pair in figures["pairs"]:
            for sentence in pair["sentences"]:
                typer.echo(sentence)
        for note in figures["notes"]:
            typer.echo(f"note: {note}")
        for pair in figures["pairs"]:
            show.changes(pair["changes"], f"to make {pair['letter']} of A, add")
    show.files(found, out, json_out)
