"""Options that several verbs share, and their words."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from planish.errors import DataError

Json = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]


def writable(out: Path | None) -> Path | None:
    """Refuse a folder that cannot be made or written, before anything is computed or printed."""
    if out is None:
        return None
    standing = out
    while not standing.exists() and standing != standing.parent:
        standing = standing.parent
    if not standing.is_dir():
        raise DataError(f"--out {out}: {standing} is a file, not a folder; name another")
    if not os.access(standing, os.W_OK | os.X_OK):
        raise DataError(f"--out {out}: cannot write into {standing}; name another folder")
    return out


def writable_file(
    out: Path | None, read: Sequence[Path] = (), *, option: str = "--out", as_in: str = "tuned.toml"
) -> Path | None:
    """Refuse a file that cannot be written, or that was read, before anything is computed or printed."""
    if out is None:
        return None
    if out.is_dir():
        raise DataError(f"{option} {out}: is a folder: must be a file; name one in it, as {out / as_in}")
    for one in read:
        if out.exists() and one.exists() and out.samefile(one):
            raise DataError(f"{option} {out}: is the file that is read: must be another, so that it stays")
    folder = out.parent
    if not folder.is_dir():
        raise DataError(f"{option} {out}: there is no folder {folder}; make it, or name another")
    if not os.access(out if out.exists() else folder, os.W_OK):
        raise DataError(f"{option} {out}: cannot be written; name another")
    return out


Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder for figures, tables and the result file.", callback=writable),
]
Units = Annotated[str, typer.Option("--units", help="Units shown: trade (psi, rpm, nm/min) or si.")]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="Set a value for this run, as 'recipe.step.main.time=90 s'; nothing after = takes it out; repeatable.",
    ),
]
Columns = Annotated[
    Path | None,
    typer.Option("--columns", help="How the site files are written: a file of measure --remember."),
]
WaferId = Annotated[
    str | None, typer.Option("--wafer", help="Which wafer, where site files hold several.", metavar="ID")
]
SetupFile = Annotated[Path, typer.Argument(help="Setup file (TOML).", metavar="FILE")]


Db = Annotated[
    str | None,
    typer.Option(
        "--db",
        metavar="URL",
        help="History: a file, or postgresql+pg8000://USER@HOST/NAME; 'own' is the user's own, which is meant by log unless given.",
    ),
]
Tool = Annotated[str | None, typer.Option("--tool", help="Of a history: wafers of this tool.")]
Head = Annotated[str | None, typer.Option("--head", help="Of a history: wafers of this head.")]
Platen = Annotated[str | None, typer.Option("--platen", help="Of a history: wafers of this platen.")]
Recipe = Annotated[str | None, typer.Option("--recipe", help="Of a history: wafers of this recipe.")]
OfLot = Annotated[str | None, typer.Option("--lot", help="Of a history: wafers of this lot.")]
Since = Annotated[str | None, typer.Option("--since", help="Of a history: from this day or moment on (UTC).")]
Until = Annotated[
    str | None,
    typer.Option("--until", help="Of a history: to this moment; a day that is named counts whole."),
]
Month = Annotated[str | None, typer.Option("--month", help="Of a history: a month, as 2026-03.")]
Last = Annotated[int | None, typer.Option("--last", help="Of a history: the newest so many of them.")]
