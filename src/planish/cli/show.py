"""What the verbs share: one JSON document, tables on the terminal, progress, files written and named."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.errors import DataError, SetupError, refuse

if TYPE_CHECKING:
    from planish.jobs.bands import Bands

PIPED_WIDTH = 120


def print_json(document: Any) -> None:
    """Print ``document`` as one strict JSON document on standard output."""
    from planish.results.plain import clean

    spells = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    typer.echo(json.dumps(clean(document), indent=1, ensure_ascii=not spells, allow_nan=False))


def table(head: Sequence[str], rows: Sequence[Sequence[Any]], title: str = "") -> None:
    """Print a plain table; numbers to the right, wrapped to the terminal."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    made = Table(*[], title=title or None, box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    for index, cell in enumerate(head):
        numeric = (
            index > 0
            and rows
            and all(isinstance(row[index], int | float) or row[index] is None for row in rows)
        )
        made.add_column(cell, justify="right" if numeric else "left", overflow="fold")
    for row in rows:
        made.add_row(*[text(cell) for cell in row])
    console = Console() if sys.stdout.isatty() else Console(width=PIPED_WIDTH)
    console.print(made, markup=False)


def text(value: Any) -> str:
    """Return a value as shown in tables: four significant digits for numbers, a dash for nothing."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    return str(value)


# Figures that a measured wafer may lack: a row of dashes tells a reader nothing.
_LEFT_OUT = (
    "mean_speed_m_per_s",
    "peak_temperature_C",
    "wiwnu_sigma_percent_without_flagged",
    "wiwnu_range_percent_without_flagged",
)


def summary(figures: dict[str, Any], units: str = "trade") -> None:
    """Print a flat summary as a two-column table, then its notes."""
    from planish.explain.words import label

    flat = {
        key: value
        for key, value in figures.items()
        if not isinstance(value, dict | list) and not (value is None and key in _LEFT_OUT)
    }
    table(
        ["figure", "value"],
        [[label(key, units), text(in_units(key, value, units))] for key, value in flat.items()],
    )
    for note in figures.get("notes", []):
        typer.echo(f"note: {note}")


def in_units(key: str, value: Any, units: str) -> Any:
    """Return the value of a summary key in the units asked for."""
    from planish.results.units import si_value

    return si_value(key, value) if units == "si" and isinstance(value, float) else value


def check_units(units: str) -> None:
    """Refuse an unknown unit system."""
    if units not in ("trade", "si"):
        raise SetupError(f"--units = {units!r}: must be trade or si")


def quantity(option: str, text: str, dimension: str) -> float:
    """Return the SI value of an option, or refuse it by its name."""
    from planish.units import UnitError, to_si

    try:
        return to_si(text, dimension)
    except UnitError as error:
        raise SetupError(refuse(option, text, error.allowed, error.remedy)) from None


def changes(found: dict[str, Any] | None, words: str) -> None:
    """Print changes as options that a next command takes."""
    if not found:
        return
    from planish.explain.words import set_options

    typer.echo(f"{words}:")
    for line in set_options(found):
        typer.echo(f"  {line}")


def written(paths: Sequence[Path], json_out: bool) -> None:
    """Name the files that were written (on standard error when JSON has standard output)."""
    for path in paths:
        typer.echo(f"wrote {path}", err=json_out)


def files(answer: Any, out: Path | None, json_out: bool, units: str = "trade") -> None:
    """Write the files of an answer into the folder that was asked for, and name them."""
    if out is None:
        return
    from planish.jobs.written import write_files

    written(write_files(answer, make_folder(out), units), json_out)


def stages(quiet: bool) -> Callable[[str], AbstractContextManager[Callable[[float], None]]]:
    """Return what shows each stage of a job as a bar."""
    return partial(progress, quiet=quiet)


@contextmanager
def progress(words: str, quiet: bool) -> Iterator[Callable[[float], None]]:
    """Show a bar on a terminal; yields a function that takes the share done (0 to 1)."""
    if quiet or not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bars:
        bar = bars.add_task(words, total=1.0)
        yield lambda share: bars.update(bar, completed=share)


def make_folder(out: Path) -> Path:
    """Return ``out`` as an existing folder, or refuse in one line."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise DataError(f"--out {out}: cannot make this folder ({exc.strerror}); name another") from None
    return out


def cleaning(steps: Sequence[dict[str, Any]], sizes: Sequence[float]) -> None:
    """Print what each cleaning step leaves of the particles of each size [nm]."""
    table(
        ["step", "shear rate [1/s]", *(f"{size:.4g} nm" for size in sizes)],
        [[row["step"], row["shear_rate_per_s"], *row["left_percent"]] for row in steps],
        title="share of the particles left after each step [%]",
    )


def bands(found: Bands) -> None:
    """Print how far each figure may be off, the spreads that do most to it, and those that do nothing."""
    from planish.explain.words import label

    if not found.found:
        table(["band"], [["no spread is stated in this setup, so there is no band"]])
        return
    rows = [[label(key), value, sd, mostly] for key, value, sd, mostly in found.rows()]
    title = "bands from the stated spreads: one standard deviation, first order"
    table(["figure", "value", "±", "mostly from"], rows, title=title)
    for note in found.notes:
        typer.echo(f"note: {note}")
