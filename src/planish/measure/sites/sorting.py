"""Rows under the column names of a gauge's table: sites, and what is none."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from planish.errors import DataError, refuse
from planish.measure.sites.column_names import unit_of
from planish.measure.tables.decimals import missing
from planish.measure.tables.grid import Grid, numeric
from planish.measure.tables.workbook import Row

_SUMMARY = re.compile(
    r"(site|thickness|wafer|grand|overall)?(mean|average|avg|ave|std|stdev|stddev|standarddeviation|sd|\d?sigma|min|max|minimum|"
    r"maximum|range|median|count|n|sum|total|uniformity|nonuniformity|nu|cv|wiwnu|variance|statistics|summary|"
    r"stdevpercent|stdpercent|sigmapercent|rangepercent|maxmin|halfrange|percentrange|percentstd\w*|"
    r"percentsigma|percentnu|percentuniformity)"
)


@dataclass(slots=True)
class Sorted:
    """The rows of a table by what they are; each list but ``sites`` is of line numbers and what stood there.

    Attributes
    ----------
    sites
        Rows with a number in every column that is needed, as long as the names.
    without
        Rows without a value, and how that is written.
    summary
        Rows of means and the like.
    text
        Rows of text after the table.
    again
        Rows that repeat the column names.
    units_line
        Of the row of units under the names, or 0.
    units
        Its units by column.
    """

    sites: list[Row] = field(default_factory=list)
    without: list[tuple[int, str]] = field(default_factory=list)
    summary: list[tuple[int, str]] = field(default_factory=list)
    text: list[int] = field(default_factory=list)
    again: list[int] = field(default_factory=list)
    units_line: int = 0
    units: dict[int, str] = field(default_factory=dict)


def sort_rows(grid: Grid, head: int, needed: Sequence[int], labels: Sequence[int]) -> Sorted:
    """Sort the rows under the column names.

    Parameters
    ----------
    grid
        The file.
    head
        Which of its rows has the names.
    needed
        Columns that must hold numbers.
    labels
        Columns that name the site or the wafer.

    Returns
    -------
    Sorted
        Nothing is dropped that is not listed.

    Raises
    ------
    DataError
        At a row that is neither a site nor one of the kinds that are left out.
    """
    out = Sorted()
    names = grid.rows[head][1]
    width = len(names)
    rows = grid.rows[head + 1 :]
    if rows and (units := _units_row(rows[0][1], width)):
        out.units_line, out.units = rows[0][0], units
        rows = rows[1:]
    before = rows[0][0] if rows else 0
    for line, cells in rows:
        apart, before = line > before + 1, line
        while len(cells) > width and not cells[-1]:
            cells = cells[:-1]
        if cells[0].startswith("#") and len(cells) == 1:
            continue  # a note
        if cells == names:
            out.again.append(line)
        elif word := _summary(cells, labels):
            out.summary.append((line, word))
        elif _is_text(cells, width, needed, apart=apart or bool(out.text)):
            out.text.append(line)
        else:
            if out.text:
                raise DataError(
                    f"{grid.path}: {grid.place} {line}: a row of the table after text on {grid.place} {out.text[-1]}: "
                    "must be one table a file (split the file, or take that line out)"
                )
            _sort_site(grid, names, line, cells, needed, out)
    if not rows:
        raise DataError(f"{grid.path}: has column names but no rows")
    if not out.sites:
        raise DataError(
            f"{grid.path}: under the column names on {grid.place} {grid.rows[head][0]} no row holds a number in each "
            f"of {', '.join(repr(names[i][:40]) for i in needed[:6])} (say the columns: --column thickness=NAME)"
        )
    return out


def _sort_site(
    grid: Grid, names: tuple[str, ...], line: int, cells: tuple[str, ...], needed: Sequence[int], out: Sorted
) -> None:
    if len(cells) != len(names):
        raise DataError(
            f"{grid.path}: {grid.place} {line}: {len(cells)} cells where {len(names)} columns are named "
            "(one cell a column)"
        )
    empty = [cells[i] for i in needed if missing(cells[i])]
    for i in needed:
        if not missing(cells[i]) and not numeric(cells[i]):
            raise DataError(
                not_a_number(f"{grid.path}: {grid.place} {line}, column {names[i][:40]!r}", cells[i])
            )
    if empty:
        out.without.append((line, empty[0] or "blank"))
    else:
        out.sites.append((line, cells))


def not_a_number(place: str, cell: str) -> str:
    """Return the refusal of a cell that must be a number.

    Parameters
    ----------
    place
        Of the cell.
    cell
        Its text.
    """
    endless = re.fullmatch(r"[+-]?inf(inity)?", cell.lower()) is not None
    return refuse(
        place,
        cell[:40],
        "a finite number" if endless else "a number",
        "numbers only, the unit belongs in the column's name; blank, -, NaN or *** where nothing was measured",
    )


def _units_row(cells: tuple[str, ...], width: int) -> dict[int, str] | None:
    """Units by column, if a row holds nothing but units and signs for none."""
    units = {i: unit for i, cell in enumerate(cells[:width]) if cell and (unit := unit_of(cell))}
    rest = [cell for i, cell in enumerate(cells) if i not in units]
    plain = all(
        not cell.strip("-#()[] ") or cell.lower() in ("none", "n/a", "%", "s", "sec", "id", "no unit")
        for cell in rest
    )
    return units if units and plain else None


def _summary(cells: tuple[str, ...], labels: Iterable[int]) -> str:
    """The word that makes a row a summary, in its first filled cell or where its label stands."""
    first = next((cell for cell in cells if cell), "")
    for cell in (first, *(cells[i] for i in labels if i < len(cells))):
        word = re.sub(r"[^a-z0-9]", "", cell.lower().replace("%", "percent").replace("σ", "sigma"))
        if word and not word.isdigit() and _SUMMARY.fullmatch(word):
            return cell
        if ":" in cell and _SUMMARY.fullmatch(
            re.sub(r"[^a-z0-9]", "", cell.partition(":")[0].lower()) or "-"
        ):
            return cell.partition(":")[0]
    return ""


def _is_text(cells: tuple[str, ...], width: int, needed: Sequence[int], *, apart: bool) -> bool:
    """Whether a row is a line of words: no number where numbers belong, and words there or cells missing.

    One that holds a number elsewhere is one only where it stands apart, behind a blank line or other text:
    else it may be a site that was cut short.
    """
    there = [cells[i] for i in needed if i < len(cells)]
    if any(numeric(cell) for cell in there) or (not apart and any(numeric(cell) for cell in cells)):
        return False
    return len(cells) < width or any(not missing(cell) for cell in there)
