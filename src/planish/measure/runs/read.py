"""A table of runs as records: a row a wafer or a measurement, whatever way the table is written."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeAlias

from planish.errors import DataError, refuse
from planish.measure.runs.cells import QUANTITY, count, figure, file_beside, quantity, setting
from planish.measure.runs.columns import (
    MEASURED,
    ROLES,
    WORDS,
    Column,
    nearest_name,
    understood,
    unit_of_name,
)
from planish.measure.runs.record import Run, RunColumns, RunTable
from planish.measure.sites.column_names import named
from planish.measure.tables.decimals import Decimal, decimal_sign, missing
from planish.measure.tables.grid import Grid, read_grids
from planish.measure.tables.named import is_unit, names_row, rows_below, units_first
from planish.measure.tables.workbook import Row

MOST_RUNS = 10_000
EXAMPLE = "wafer,pre file,post file,time_s"  # of column names, for a refusal
_FILES = ("before", "after", "removal")
_WORDS = ("wafer", "lot", *_FILES, *WORDS)
IsKey: TypeAlias = Callable[[str], bool]


def read_runs(
    path: str | os.PathLike[str],
    *,
    told: RunColumns | None = None,
    is_key: IsKey = lambda _: False,
    keys: Sequence[str] = (),
    most: int = MOST_RUNS,
) -> RunTable:
    """Read a table of runs: text with any usual separator, Parquet or a workbook.

    Parameters
    ----------
    path
        The file. Columns are known by their names, in any order (see :data:`~planish.measure.runs.columns.ROLES`);
        one whose name is the path of a key of the setup, as ``recipe.step.main.time [s]``, says what was set for a
        row. Units stand in the names or in the cells. Site files are named relative to the table.
    told
        What it does not say of itself.
    is_key
        Whether a path is that of a key of the setup.
    keys
        Paths of keys, for the refusal of a name that is none.
    most
        Rows that it may have.

    Returns
    -------
    RunTable
        In SI.

    Raises
    ------
    DataError
        Naming line and column: a column that means nothing, two of one meaning, a number without unit or that cannot
        be, a file that is not there, and a row that holds no measurement.
    """
    told = RunColumns() if told is None else told
    grid = _chosen(read_grids(path, told.sheet), told, is_key)
    at = names_row(grid, EXAMPLE)
    columns = _columns(grid, at, told, is_key, keys)
    rows = rows_below(grid, at, len(columns))
    columns, rows = _units_below(columns, rows)
    if not rows:
        raise DataError(f"{grid.path}: has column names but no rows")
    if len(rows) > most:
        raise DataError(f"{grid.path}: {len(rows)} rows: must be at most {most} runs (split the table)")
    _check_measured(grid, at, columns)
    decimal = _decimal(grid, columns, rows, told)
    files: dict[str, Path] = {}
    made = [_run(grid, line, cells, columns, decimal, files) for line, cells in rows]
    return RunTable(grid.path, tuple(made), _told(grid, columns, len(made)))


def holds_runs(
    path: str | os.PathLike[str], is_key: IsKey = lambda _: False, told: RunColumns | None = None
) -> bool:
    """Return whether the column names of a file are those of a table of runs rather than of sites.

    Parameters
    ----------
    path
        The file.
    is_key, told
        As for :func:`read_runs`.

    Raises
    ------
    DataError
        For a file that is no table.
    """
    said = RunColumns() if told is None else told
    return any(_is_runs(grid, is_key, said) for grid in read_grids(path))


def count_runs(path: str | os.PathLike[str]) -> int:
    """Return how many rows a table of runs has below its names.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    DataError
        For a file that is no table.
    """
    grid = _chosen(read_grids(path), RunColumns(), lambda _: False)
    at = names_row(grid, EXAMPLE)
    return len(rows_below(grid, at, len(grid.rows[at][1])))


def files_named(
    path: str | os.PathLike[str], *, told: RunColumns | None = None, is_key: IsKey = lambda _: False
) -> tuple[str, ...]:
    """Return the site files that a table of runs names, as written, each once, whether they are there or not.

    Parameters
    ----------
    path
        The table.
    told, is_key
        As for :func:`read_runs`.

    Raises
    ------
    DataError
        For a file that is no table, or whose columns :func:`read_runs` refuses.
    """
    told = RunColumns() if told is None else told
    grid = _chosen(read_grids(path, told.sheet), told, is_key)
    at = names_row(grid, EXAMPLE)
    columns = _columns(grid, at, told, is_key, ())
    names = [
        cells[i]
        for i, one in enumerate(columns)
        if one is not None and one.role in _FILES
        for _, cells in rows_below(grid, at, len(columns))
        if not missing(cells[i])
    ]
    return tuple(dict.fromkeys(names))


def _is_runs(grid: Grid, is_key: IsKey, told: RunColumns) -> bool:
    try:
        names = grid.rows[names_row(grid, EXAMPLE)][1]
    except DataError:
        return False
    if any(_of_sites(name) for name in names):
        return False
    found = [_as_told(name, told) or understood(name, is_key) for name in names]
    return any(one is not None and one.role in MEASURED for one in found) or None not in found


def _of_sites(name: str) -> bool:
    """Whether a column is one of a table with a row a site; a column of numbers alone may be of any table."""
    role = named(name).role
    numbers = re.fullmatch(r"(no|nr|num|number|index|#)\W*", name.strip().lower()) is not None
    return role in ("x", "y", "r", "die_x", "die_y") or (role == "site" and not numbers)


def _chosen(grids: Sequence[Grid], told: RunColumns, is_key: IsKey) -> Grid:
    if len(grids) == 1:
        return grids[0]
    fit = [grid for grid in grids if _is_runs(grid, is_key, told)]
    if len(fit) == 1:
        return fit[0]
    names = "; ".join(grid.how[0] for grid in (fit or grids) if grid.how)
    count = "a table of runs stands on each of" if fit else "no table of runs stands on"
    raise DataError(f"{grids[0].path}: {count} {names}: must be one (say which: sheet)")


def _columns(
    grid: Grid, at: int, told: RunColumns, is_key: IsKey, keys: Sequence[str]
) -> list[Column | None]:
    line, headers = grid.rows[at]
    place = f"{grid.path}: {grid.place} {line}"
    _check_told(place, headers, told)
    out: list[Column | None] = []
    for position, header in enumerate(headers):
        if not header:
            filled = any(len(cells) > position and cells[position] for _, cells in grid.rows[at + 1 :])
            if filled:
                raise DataError(f"{place}: column {position + 1} has no name (name every column)")
            out.append(None)
            continue
        if any(header.casefold() == name.strip().casefold() for name in told.leave_out):
            out.append(None)
            continue
        found = _as_told(header, told) or understood(header, is_key)
        if found is None:
            raise DataError(
                f"{place}, column {header[:60]!r}: means nothing here: must be a name that is known "
                f"({nearest_name(header, keys)} Or leave it out: --leave-out {header[:40]!r})"
            )
        out.append(found)
    _check_once(place, [one for one in out if one is not None])
    return out


def _check_told(place: str, headers: Sequence[str], told: RunColumns) -> None:
    have = {header.casefold() for header in headers}
    for what, name in (
        *((f"column of {role}", name) for role, name in told.columns.items()),
        *(("column left out", name) for name in told.leave_out),
        *(("column kept", name) for name in told.keep),
    ):
        if name.strip().casefold() not in have:
            shown = ", ".join(header[:40] for header in headers[:12])
            raise DataError(refuse(f"{place}: {what}", name, f"one of its columns: {shown}"))


def _as_told(header: str, told: RunColumns) -> Column | None:
    for role, name in told.columns.items():
        if header.casefold() == name.strip().casefold():
            return Column(header, role, unit=unit_of_name(header, role))
    if any(header.casefold() == name.strip().casefold() for name in told.keep):
        return Column(header, "kept")
    return None


def _check_once(place: str, columns: Sequence[Column]) -> None:
    seen: dict[str, str] = {}
    for one in columns:
        what = one.role or one.path
        if what in seen and what != "kept":
            words = ROLES[one.role][0] if one.role else one.path
            raise DataError(
                f"{place}: columns {seen[what][:40]!r} and {one.header[:40]!r} could each be the {words}: must be one "
                f"(leave one out: --leave-out {one.header[:40]!r})"
            )
        seen[what] = one.header


def _check_measured(grid: Grid, at: int, columns: Sequence[Column | None]) -> None:
    roles = {one.role for one in columns if one is not None}
    place = f"{grid.path}: {grid.place} {grid.rows[at][0]}"
    if not roles & {*MEASURED, "after"}:
        raise DataError(
            f"{place}: no column says what was measured: must be pre file and post file, removal file, rate, or cut rate"
        )
    for one, other in (("before", "after"), ("after", "before")):
        if one in roles and other not in roles:
            raise DataError(
                f"{place}: a column of the {ROLES[one][0]} and none of the {ROLES[other][0]}: must be both "
                "(or one file of the removal: a column removal file)"
            )


def _units_below(columns: list[Column | None], rows: list[Row]) -> tuple[list[Column | None], list[Row]]:
    """Take a row of units below the names into the columns."""
    if not units_first(rows):
        return columns, rows
    made = [
        Column(one.header, one.role, one.path, cell[1:-1].strip())
        if one is not None and is_unit(cell)
        else one
        for one, cell in zip(columns, rows[0][1], strict=True)
    ]
    return made, rows[1:]


def _decimal(
    grid: Grid,
    columns: Sequence[Column | None],
    rows: Sequence[Row],
    told: RunColumns,
) -> Decimal:
    if told.decimal is not None:
        return "comma" if told.decimal == "comma" else "point"
    cells = [
        found[1]
        for _, row in rows
        for one, cell in zip(columns, row, strict=True)
        if one is not None and one.role not in _WORDS and (found := QUANTITY.fullmatch(cell))
    ]
    return decimal_sign(cells, grid.path)[0]


def _run(
    grid: Grid,
    line: int,
    cells: Sequence[str],
    columns: Sequence[Column | None],
    decimal: Decimal,
    files: dict[str, Path],
) -> Run:
    place = f"{grid.path}: {grid.place} {line}"
    found: dict[str, object] = {}
    settings: dict[str, str] = {}
    words: dict[str, str] = {}
    kept: dict[str, float] = {}
    folder = Path(grid.path).parent
    for one, cell in zip(columns, cells, strict=True):
        if one is None or missing(cell):
            continue
        where = f"{place}, column {one.header[:40]!r}"
        if one.path:
            settings[one.path] = setting(cell, one.unit, decimal)
        elif one.role in _FILES:
            if cell not in files:  # a file of many wafers is looked for once
                files[cell] = file_beside(folder, cell, where)
            found[one.role] = files[cell]
        elif one.role in WORDS:
            words[one.role] = cell
        elif one.role in _WORDS:
            found[one.role] = cell
        elif one.role == "kept":
            kept[one.header] = figure(cell, where, decimal)
        elif one.role == "pad_wafers":
            found[one.role] = count(cell, where, decimal)
        else:
            value, unit = quantity(cell, one, where, decimal)
            found[one.role] = value
            if one.role == "sd":
                found["sd_is_rate"] = "/" in unit
    run = Run(place=place, settings=settings, words=words, kept=kept, **found)  # type: ignore[arg-type]  # by the roles above
    _check_run(run)
    return run


def _check_run(run: Run) -> None:
    if (run.before is None) != (run.after is None):
        lacking = "before" if run.before is None else "after"
        raise DataError(f"{run.place}: the {ROLES[lacking][0]} is not given: must be both files, or neither")
    if run.removal is not None and run.before is not None:
        raise DataError(
            f"{run.place}: files before and after, and one of the removal: must be one of both ways"
        )
    if run.cut is not None and (run.rate is not None or run.files):
        raise DataError(
            f"{run.place}: a cut rate of the pad beside a removal of the wafer: must be a row each (the pad is cut "
            "whether or not a wafer is polished)"
        )
    if run.cut is None and run.rate is None and not run.files:
        raise DataError(
            f"{run.place}: holds no measurement: must be files, a rate or a cut rate (leave the row out if nothing was "
            "measured)"
        )
    if run.sd is not None and run.sd_is_rate == bool(run.files):
        wants = "a length, of one site" if run.files else "a rate"
        raise DataError(
            f"{run.place}: the measurement error: must be {wants} here (such as {'nm' if run.files else 'nm/min'})"
        )
    if run.pad_wafers is not None and run.pad_time is not None:
        raise DataError(
            f"{run.place}: wafers and hours of the pad: must be one of both (leave one column out)"
        )


def _told(grid: Grid, columns: Sequence[Column | None], rows: int) -> str:
    how = f" ({', '.join(grid.how)})" if grid.how else ""
    headers = next(cells for _, cells in grid.rows if not (cells[0].startswith("#") and len(cells) == 1))
    known = ", ".join(one.told() for one in columns if one is not None and one.role)
    set_ = ", ".join(one.told() for one in columns if one is not None and one.path)
    known += f"; set a row: {set_}" if set_ else ""
    left = [name for name, one in zip(headers, columns, strict=True) if one is None and name]
    tail = f"; left out: {', '.join(repr(name[:40]) for name in left)}" if left else ""
    return f"{Path(grid.path).name}{how}: {rows} {'row' if rows == 1 else 'rows'}; {known}{tail}"
