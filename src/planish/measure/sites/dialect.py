"""A site file as a gauge wrote it, made the plain table that :mod:`planish.measure.sites.read` reads.

The column names are looked for, rows that are no sites are sorted out, and every step is told in one line.
Where two readings are possible the file is refused with what to say.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

from planish.errors import DataError
from planish.measure.sites.chosen import Understood, left_out, one_wafer, plain_columns, unit
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.column_names import POSITIONS, shown
from planish.measure.sites.heads import Head, check_no_second_table, find_head, measured_role, no_places, one
from planish.measure.sites.one_row import sites_of_row
from planish.measure.sites.plans import placed
from planish.measure.sites.preamble import read_preamble
from planish.measure.sites.sorting import sort_rows
from planish.measure.tables.grid import read_grids
from planish.measure.tables.read import Table


def understand(path: str | os.PathLike[str], told: ColumnMap, wafer: str | None) -> Understood:
    """Read a site file as a gauge wrote it.

    Parameters
    ----------
    path
        The file.
    told
        What the user says of it.
    wafer
        Which wafer, where there are several.

    Returns
    -------
    Understood
        One wafer, as a plain table.

    Raises
    ------
    DataError
        If no table is found, or what is found can be read in two ways.
    """
    head = find_head(read_grids(path, told.sheet, told.separator), told)
    before = read_preamble(head.grid, head.at)
    if head.series:
        return sites_of_row(head, before, told, wafer)
    way = head.way()
    measured = measured_role(head)
    used = {role: one(head, role) for role in (*(way or ()), measured)}
    used |= {role: one(head, role) for role in ("site", "wafer") if role in head.roles}
    if way is None and told.site_plan is None:
        raise DataError(no_places(head))
    rows = sort_rows(head.grid, head.at, [used[role] for role in (*(way or ()), measured)],
                     [used[role] for role in ("site", "wafer") if role in used])  # fmt: skip
    check_no_second_table(head, rows)
    units = {role: unit(head, role, used[role], rows, before, told) for role in (*(way or ()), measured)
             if role not in ("die_x", "die_y")}  # fmt: skip
    kept, which = one_wafer(head, rows.sites, used.get("wafer"), before, wafer)
    numbers, style = plain_columns(head, kept, {role: used[role] for role in (*(way or ()), measured)}, told)
    columns = dict(numbers)
    if "site" in used:
        columns["site"] = tuple(cells[used["site"]] for _, cells in kept)
    columns, units, where = placed(head, way, columns, units, told, before, missing=len(rows.without))
    story = [
        *_columns_told(head, used, units, measured, where, told),
        *head.grid.how,
        *style,
        *left_out(head, rows, before, set(used.values())),
        *which,
    ]
    names = tuple(role for role in ("site", "x", "y", "r", "theta", measured) if role in columns)
    table = Table(
        head.grid.path,
        names,
        tuple(columns[role] for role in names),
        tuple(line for line, _ in kept),
        before.notes,
        head.grid.place,
    )
    return Understood(table, units, "read as: " + "; ".join(story))


def _columns_told(
    head: Head, used: Mapping[str, int], units: Mapping[str, str], measured: str, where: str, told: ColumnMap
) -> list[str]:
    out = []
    for role in (measured, *(role for role in POSITIONS if role in used)):
        bracket = "" if role.startswith("die") else f" in {shown(units[role])}"
        told_so = " as told" if role in told.units else ""
        out.append(f"{role} from {head.header(used[role])}{bracket}{told_so}")
    out += [f"{role} from {head.header(used[role])}" for role in ("site", "wafer") if role in used]
    return [", ".join(out), *([where] if where else [])]
