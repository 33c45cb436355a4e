"""The verbs that read measurements: measure and fit."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from planish.cli import show
from planish.cli.die import read_maps
from planish.errors import DataError, SetupError

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap


@dataclass(frozen=True)
class Written:
    """What the options say of how site files are written."""

    column: list[str] = field(default_factory=list)
    unit: list[str] = field(default_factory=list)
    file: Path | None = None
    told: dict[str, str | int | None] = field(default_factory=dict)
    wafer: str | None = None
    remember: Path | None = None

    def __bool__(self) -> bool:
        return self.first() != ""

    def first(self) -> str:
        """Return the first option that was given, or nothing."""
        given = {"--column": self.column, "--unit": self.unit, "--columns": self.file,
                 **{f"--{key.replace('_', '-')}": text for key, text in self.told.items()},
                 "--wafer": self.wafer, "--remember": self.remember}  # fmt: skip
        return next((option for option, what in given.items() if what not in (None, [])), "")

    def columns(self) -> ColumnMap:
        """Return them as a column map."""
        from planish.jobs.measured import told_columns

        return told_columns(self.column, self.unit, self.file, **self.told)


def measure(
    files: list[Path],
    time: str | None,
    nested: str | None,
    value: str | None,
    layer: str | None,
    cell: str,
    json_out: bool,
    out: Path | None,
    written: Written,
    *,
    pixels: int = 1,
    covered: str = "dark",
    rows: bool = False,
) -> None:
    """Read site files, a table of nested factors or of wafers, a layout or its cell maps, by what is given."""
    if written and (rows or nested is not None or len(files) != 2):
        raise DataError(f"measure {written.first()}: must stand with PRE and POST site files")
    if rows:
        _rows(_only(files, "--rows"), json_out)
    elif nested is not None:
        _nested(_only(files, "--nested"), nested, value, json_out)
    elif len(files) == 2:
        _pair(files[0], files[1], time, json_out, out, written)
    else:
        _layout(files, layer, cell, pixels, covered, json_out, out)


@dataclass(frozen=True)
class RunWords:
    """What the options say of tables of runs."""

    column: list[str]
    leave_out: list[str]
    decimal: str | None
    sheet: str | None


def against(
    setup: Path,
    files: list[Path],
    time: str | None,
    wafer: str | None,
    columns: Path | None,
    runs: RunWords,
    of_layout: tuple[str | None, str],
    json_out: bool,
    out: Path | None,
    other: dict[str, Any],
) -> None:
    """Hold all that was measured against the setup as it stands, and say what was understood of the files."""
    given = next((option for option, what in other.items() if what), "")
    if given:
        raise DataError(f"measure {given}: must stand without --setup")
    from planish import load
    from planish.cli.bounds import option_length
    from planish.jobs.calibrating import held_against, observed_of, told_runs
    from planish.jobs.measured import told_columns

    described, stage = load(setup), show.stages(json_out)
    told = told_runs(runs.column, runs.leave_out, decimal=runs.decimal, sheet=runs.sheet)
    layer, cell = of_layout
    found = observed_of(
        described,
        files,
        told_columns(file=columns),
        told=told,
        time=seconds(time),
        wafer=wafer,
        layer=layer,
        cell=option_length("--cell", cell),
        stage=stage,
    )
    held = held_against(described, found, stage)
    figures: dict[str, Any] = held.document()
    if json_out:
        show.print_json(figures)
    else:
        rows = [[row[key] for key in _SHOWN] for row in figures["sets"]]
        title = "measured, and what the setup says of it"
        show.table([key.replace("_", " ") for key in _SHOWN], rows, title=title)
        for line in figures["notes"]:
            typer.echo(f"- {line}")
    show.files(held, out, json_out)


_SHOWN = (
    "name",
    "kind",
    "numbers",
    "measured_mean",
    "predicted_mean",
    "unit",
    "off_percent",
    "misfit_percent",
)


def _only(files: list[Path], option: str) -> Path:
    if len(files) != 1:
        raise DataError(f"measure {option}: {len(files)} files given: must be one table")
    return files[0]


def _rows(file: Path, json_out: bool) -> None:
    from planish.jobs.measured import odd_rows

    found = odd_rows(file).document()
    if json_out:
        show.print_json(found)
        return
    flags = found["flags"]
    title = f"{len({flag['row'] for flag in flags})} of {found['rows']} rows flagged"
    show.table(["row", "reason", "score"], [list(flag.values()) for flag in flags], title=title)


def _nested(file: Path, nested: str, value: str | None, json_out: bool) -> None:
    from planish import read_nested

    if value is None:
        raise DataError("--value: not given: must be the column of the measured value (with --nested)")
    levels = [name.strip() for name in nested.split(",") if name.strip()]
    found = read_nested(file, levels, value)
    figures: dict[str, Any] = found.document()
    if json_out:
        show.print_json(figures)
        return
    columns = ("variance_components", "sd", "percent", "mean_squares", "degrees_of_freedom")
    rows = [[level, *(figures[column][level] for column in columns)] for level in figures["levels"]]
    title = f"{figures['value']}: mean {figures['mean']:.6g} of {figures['observations']} observations"
    show.table(["level", *(column.replace("_", " ") for column in columns)], rows, title=title)
    for note in figures.get("notes", []):
        typer.echo(f"note: {note}")


def seconds(time: str | None) -> float | None:
    """Return the polish time [s] of ``--time``."""
    if time is None:
        return None
    found = show.quantity("--time", time, "time")
    if found <= 0:
        raise DataError(f"--time = {time!r}: must be above 0 s (as --time '60 s')")
    return found


def _pair(
    pre: Path, post: Path, time: str | None, json_out: bool, out: Path | None, written: Written
) -> None:
    from planish import measure_wafer

    columns = written.columns()
    if written.remember is not None and not columns:
        raise DataError(
            f"--remember {written.remember}: nothing to remember: must stand with --column, --unit or another"
        )
    wafer = measure_wafer(pre, post, seconds(time), columns=columns, wafer=written.wafer)
    figures: dict[str, Any] = wafer.document()
    if json_out:
        show.print_json(figures)
    else:
        show.summary({key: item for key, item in figures.items() if key != "sources"})
        if figures["flags"]:
            show.table(
                ["site", "reason"],
                [[f["site"], f["reason"]] for f in figures["flags"]],
                title="flagged sites",
            )
    show.files(wafer, out, json_out)
    if written.remember is not None:
        try:
            columns.save(written.remember)
        except OSError as exc:
            raise DataError(
                f"--remember {written.remember}: cannot be written ({exc.strerror}); name another"
            ) from None
        show.written([written.remember], json_out=json_out)


def _layout(
    files: list[Path],
    layer: str | None,
    cell: str,
    pixels: int,
    covered: str,
    json_out: bool,
    out: Path | None,
) -> None:
    from planish.jobs.layouts import LAYOUTS, holds_cells

    if len(files) != 1 or not holds_cells(files[0]):
        raise DataError(
            f"measure: {len(files)} file(s) given: must be PRE and POST site files, or one layout "
            f"({', '.join(LAYOUTS)}) with --layer, or one table with --nested lot,wafer,site --value COLUMN"
        )
    maps = read_maps(files[0], layer, cell, json_out, pixels=pixels, covered=covered)
    figures: dict[str, Any] = maps.document()
    if json_out:
        show.print_json(figures)
    else:
        show.table(
            ["figure", "value"], [[key, _short(item)] for key, item in figures.items() if key != "sources"]
        )
    show.files(maps, out, json_out)


def _short(item: Any) -> Any:
    if isinstance(item, list | tuple):
        return ", ".join(show.text(part) for part in item)
    return item


def fit(
    files: list[Path],
    rates: Path | None,
    time: str | None,
    json_out: bool,
    out: Path | None,
    written: Written,
    *,
    predict: Path | None = None,
    ahead: bool = False,
    folds: int = 0,
) -> None:
    """Fit k_p and a radial residual to measured sites, or rate laws to traces; guess rates of other wafers."""
    from planish.cli import rates as of_traces

    if folds and (rates is None or predict is not None):
        raise DataError("fit --check: must stand with TRACES --rates RATES, and without --predict")
    if predict is not None and (rates is None or len(files) != 1):
        raise DataError("fit --predict: must have one trace file and --rates RATES to learn from")
    if ahead and predict is None:
        raise DataError("fit --ahead: must stand with --predict OTHER_TRACES")
    if written and rates is not None:
        raise DataError(f"fit {written.first()}: must stand with SETUP PRE POST")
    if rates is not None and predict is not None:
        of_traces.predict_rates(files[0], rates, predict, ahead, json_out, out)
        return
    if rates is not None:
        if len(files) != 1:
            raise DataError(f"fit --rates: {len(files)} files given: must be one trace file")
        of_traces.fit(files[0], rates, folds, json_out, out)
        return
    if len(files) != 3:
        raise SetupError(
            f"fit: {len(files)} file(s) given: must be SETUP PRE POST, or one trace file with --rates RATES"
        )
    _fit_wafer(files[0], files[1], files[2], time, json_out, out, written)


def _fit_wafer(
    setup: Path, pre: Path, post: Path, time: str | None, json_out: bool, out: Path | None, written: Written
) -> None:
    from planish import fit_wafer, load
    from planish.jobs.measured import read_removal

    found = fit_wafer(load(setup), read_removal(pre, post, written.columns(), written.wafer), seconds(time))
    _show_fit(found.document(), json_out)
    show.files(found, out, json_out)


def _show_fit(figures: dict[str, Any], json_out: bool) -> None:
    if json_out:
        show.print_json(figures)
        return
    show.summary(figures)
    for sentence in figures["findings"]:
        typer.echo(f"- {sentence}")
    show.changes(figures["changes"], "to predict at the measured rate, add")
