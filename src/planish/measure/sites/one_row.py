"""A wafer in one row: numbered columns, a site each."""

from __future__ import annotations

from planish.errors import DataError, refuse
from planish.measure.sites.chosen import Understood, left_out, one_wafer, plain_columns, unit
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.column_names import MEASURED, named, shown
from planish.measure.sites.heads import Head, one
from planish.measure.sites.plans import plan
from planish.measure.sites.preamble import Preamble
from planish.measure.sites.sorting import not_a_number, sort_rows
from planish.measure.tables.decimals import missing
from planish.measure.tables.grid import Grid, numeric
from planish.measure.tables.read import Table
from planish.measure.tables.workbook import Row


def sites_of_row(head: Head, before: Preamble, told: ColumnMap, wafer: str | None) -> Understood:
    """Return the sites of one wafer from a table with a row a wafer.

    Parameters
    ----------
    head, before
        The file.
    told
        What the user says of it.
    wafer
        Which, where there are several.

    Raises
    ------
    DataError
        If quantity, unit, places or wafer cannot be told.
    """
    role = _measured(head, before, told)
    places, grid = _places(head)
    label = one(head, "wafer") if "wafer" in head.roles else None
    rows = sort_rows(grid, head.at, head.series[:1], [0, *([label] if label is not None else [])])
    found = unit(head, role, head.series[0], rows, before, told)
    sites = [*rows.sites]
    kept, which = one_wafer(head, sites, label, before, wafer)
    if len(kept) != 1:
        raise DataError(
            f"{head.place}: {len(kept)} rows of one wafer: must be one (name each wafer in a column Wafer, and say which: --wafer ID)"
        )
    line, cells = kept[0]
    used = [i for i in head.series if not missing(cells[i])]
    if not used:
        raise DataError(f"{grid.path}: {grid.place} {line}: holds no value")
    _check_numbers(head, line, cells, used)
    numbers, style = plain_columns(head, kept, {str(i): i for i in used}, told)
    columns = {
        "site": tuple(str(head.names[i].number) for i in used),
        role: tuple(numbers[str(i)][0] for i in used),
    }
    units = {role: found}
    if places:
        if told.site_plan is not None:
            raise DataError(
                f"{head.place}: site_plan = {told.site_plan!r}: must be left out: rows x and y say the places"
            )
        where = "places from the rows"
        for name, row in places.items():
            label_unit = named(row[1][0]).unit or told.units.get(name)
            if label_unit is None:
                raise DataError(
                    f"{grid.path}: {grid.place} {row[0]}: row {row[1][0][:40]!r} has no unit: must be told (--unit {name}=mm)"
                )
            _check_numbers(head, row[0], row[1], used)
            plain, _ = plain_columns(head, [row], {str(i): i for i in used}, told)
            columns[name] = tuple(plain[str(i)][0] for i in used)
            units[name] = label_unit
            where += f" {row[1][0][:24]!r} in {shown(label_unit)}"
    else:
        if told.site_plan is None:
            raise DataError(
                f"{head.place}: {len(head.series)} sites in a row, whose places are not known: must be told "
                "(--site-plan '49, 300 mm, 3 mm', or rows x and y with a unit)"
            )
        x, y, where = plan(told.site_plan, before, head.place)
        if len(x) != len(head.series):
            raise DataError(
                refuse(
                    f"{head.place}: site_plan",
                    told.site_plan,
                    f"a plan of {len(head.series)} sites, as the row has",
                )
            )
        keep = [head.series.index(i) for i in used]
        columns["x"], columns["y"] = (tuple(repr(float(v[k])) for k in keep) for v in (x, y))
        units |= {"x": "m", "y": "m"}
    story = [
        f"{role} from columns {head.header(head.series[0])} to {head.header(head.series[-1])} of {grid.place} {line} in {shown(found)}"
        + (" as told" if role in told.units else ""),
        where,
        *grid.how,
        *style,
        *left_out(head, rows, before, {*head.series, *([label] if label is not None else [])}),
        *which,
    ]
    if len(used) < len(head.series):
        gone = [str(head.names[i].number) for i in head.series if i not in used]
        story.append(
            f"sites without a value left out: {', '.join(gone[:12])}{', ...' if len(gone) > 12 else ''}"
        )
    names = ("site", "x", "y", role)
    table = Table(
        grid.path,
        names,
        tuple(columns[name] for name in names),
        (line,) * len(used),
        before.notes,
        grid.place,
    )
    return Understood(table, units, "read as: " + "; ".join(story))


def _measured(head: Head, before: Preamble, told: ColumnMap) -> str:
    """What the numbered columns hold: as told, by their name, or by the line that states their unit."""
    stem = named(head.names[head.series[0]].stem or "-").role
    said = [role for role in MEASURED if role in told.columns or role in told.units]
    said = said or ([stem] if stem in MEASURED else []) or [role for role in MEASURED if role in before.units]
    if len(said) != 1:
        raise DataError(
            f"{head.place}: {len(head.series)} numbered columns from {head.header(head.series[0])}: what was measured must be "
            "told (with its unit: --unit thickness=nm, removal=nm or rate=nm/min)"
        )
    return said[0]


def _places(head: Head) -> tuple[dict[str, Row], Grid]:
    """Rows under the names that hold x and y of each site, and the file without them."""
    out: dict[str, Row] = {}
    rest = list(head.grid.rows[: head.at + 1])
    for line, cells in head.grid.rows[head.at + 1 :]:
        role = named(cells[0]).role if cells[0] else ""
        if role in ("x", "y") and role not in out and len(cells) > head.series[-1]:
            out[role] = (line, cells)
        else:
            rest.append((line, cells))
    if len(out) == 1:
        line = next(iter(out.values()))[0]
        raise DataError(
            f"{head.grid.path}: {head.grid.place} {line}: a row of one coordinate: must be x and y, a row each"
        )
    return out, Grid(head.grid.path, tuple(rest), head.grid.place, head.grid.how)


def _check_numbers(head: Head, line: int, cells: tuple[str, ...], used: list[int]) -> None:
    for i in used:
        if not numeric(cells[i]):
            raise DataError(
                not_a_number(f"{head.grid.path}: {head.grid.place} {line}, column {head.header(i)}", cells[i])
            )
