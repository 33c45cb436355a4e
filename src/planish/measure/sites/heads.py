"""The line of column names of a gauge's table: found, and what each column is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from planish.errors import DataError, refuse
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.column_names import MEASURED, Named, named
from planish.measure.sites.preamble import MOST_ROWS
from planish.measure.sites.sorting import Sorted
from planish.measure.tables.grid import Grid, numeric

WAYS: tuple[tuple[str, str], ...] = (("x", "y"), ("r", "theta"), ("die_x", "die_y"))
#: So many numbered columns are the sites of a wafer in one row.
SERIES = 5


@dataclass(frozen=True, slots=True)
class Head:
    """A row of column names.

    Attributes
    ----------
    grid
        Whose row it is.
    at
        Which of its rows.
    names
        The names taken apart.
    roles
        Columns by role: those that the user named, else those known by their name.
    series
        The numbered columns of one row a wafer, in order; empty where a row is a site.
    """

    grid: Grid
    at: int
    names: tuple[Named, ...]
    roles: Mapping[str, tuple[int, ...]]
    series: tuple[int, ...] = ()

    @property
    def line(self) -> int:
        """Its line."""
        return self.grid.rows[self.at][0]

    @property
    def place(self) -> str:
        """Its place in words."""
        return f"{self.grid.path}: {self.grid.place} {self.line}"

    def way(self) -> tuple[str, str] | None:
        """Return how the sites' places are given."""
        return next((way for way in WAYS if all(role in self.roles for role in way)), None)

    def header(self, column: int) -> str:
        """Return the name of a column as written, short enough for a line."""
        return repr(self.names[column].header[:40])


def find_head(grids: Sequence[Grid], told: ColumnMap) -> Head:
    """Find the one line of column names of a file.

    Parameters
    ----------
    grids
        The file, a sheet each.
    told
        What the user says of it.

    Returns
    -------
    Head
        With places and what was measured.

    Raises
    ------
    DataError
        If there is none, or one on each of several sheets.
    """
    found = [head for grid in grids if (head := _first_head(grid, told))]
    if len(found) > 1:
        sheets = "; ".join(head.grid.how[0] for head in found if head.grid.how)
        raise DataError(
            f"{grids[0].path}: a table of sites stands on each of {sheets}: must be one (say which: --sheet NAME)"
        )
    if found:
        return found[0]
    near = max((h for grid in grids for h in _heads(grid, told)), key=lambda h: len(h.roles), default=None)
    if told.columns:
        _refuse_named(grids, told)
    if near is not None and near.roles:
        if near.way() or (told.site_plan is not None and "site" in near.roles):
            raise DataError(_no_measured(near))
        if any(role in near.roles for role in MEASURED):
            raise DataError(no_places(near))
    if told.names_line is not None:
        _refuse_line(grids, told.names_line)
    told_rows = (row for grid in grids for row in grid.rows if not row[1][0].startswith("#"))
    line, first = next(told_rows, (0, ()))
    if not first:
        raise DataError(f"{grids[0].path}: holds no column names and no rows (only blank or # lines)")
    if all(numeric(cell) for cell in first):
        raise DataError(
            f"{grids[0].path}: {grids[0].place} {line}: numbers stand where column names belong "
            "(begin with names and units, such as x_mm,y_mm,thickness_nm)"
        )
    raise DataError(
        f"{grids[0].path}: no line of column names is found that names places and a thickness (say the columns as the "
        "file names them: --column x=NAME --column y=NAME --column thickness=NAME)"
    )


def _heads(grid: Grid, told: ColumnMap) -> list[Head]:
    out = []
    for at, (line, cells) in enumerate(grid.rows[:MOST_ROWS]):
        if told.names_line is not None and line != told.names_line:
            continue
        if len(cells) > 1 and sum(bool(cell) for cell in cells) > 1:
            out.append(as_head(grid, at, cells, told))
    return out


def _first_head(grid: Grid, told: ColumnMap) -> Head | None:
    for head in _heads(grid, told):
        given = [role for role in told.columns if role in head.roles or (head.series and role in MEASURED)]
        if len(given) < len(told.columns):
            continue
        measured = any(role in head.roles for role in MEASURED)
        if head.series or (measured and (head.way() or told.site_plan is not None)):
            return head
    return None


def as_head(grid: Grid, at: int, cells: tuple[str, ...], told: ColumnMap) -> Head:
    """Return a row as column names.

    Parameters
    ----------
    grid, at, cells
        The row and where it stands.
    told
        What the user says.
    """
    while len(cells) > 1 and not cells[-1]:
        cells = cells[:-1]
    names = tuple(named(cell) for cell in cells)
    roles: dict[str, tuple[int, ...]] = {}
    for i, name in enumerate(names):
        if name.role:
            roles[name.role] = (*roles.get(name.role, ()), i)
    slots = roles.pop("slot", ())
    if "wafer" not in roles and slots:
        roles["wafer"] = slots
    for role, header in told.columns.items():
        columns = _called(names, header)
        if role in MEASURED:
            roles = {key: value for key, value in roles.items() if key not in MEASURED}
        roles = {
            key: rest for key, value in roles.items() if (rest := tuple(i for i in value if i not in columns))
        }
        roles.pop(role, None)
        if columns:
            roles[role] = columns
    return Head(grid, at, names, roles, _series(names, told, roles))


def _called(names: Sequence[Named], header: str) -> tuple[int, ...]:
    """Columns of the name that the user says; their unit may be left out."""
    wanted = header.strip().casefold()
    exact = tuple(i for i, name in enumerate(names) if name.header.strip().casefold() == wanted)
    return exact or tuple(i for i, name in enumerate(names) if name.unit and name.bare.casefold() == wanted)


def _series(names: Sequence[Named], told: ColumnMap, roles: Mapping[str, tuple[int, ...]]) -> tuple[int, ...]:
    """Columns numbered 1, 2, ... (or from 0) under one stem, if a wafer stands in a row."""
    given = next((told.columns[role] for role in MEASURED if role in told.columns), None)
    if given is not None and not given.endswith("*"):
        return ()
    stems: dict[str, dict[int, int]] = {}
    for i, name in enumerate(names):
        if name.number is not None:
            stems.setdefault(name.stem, {}).setdefault(name.number, i)
    found = []
    for stem, numbers in stems.items():
        first = min(numbers)
        whole = first in (0, 1) and sorted(numbers) == list(range(first, first + len(numbers)))
        if len(numbers) >= SERIES and whole and _may_be_sites(stem, given):
            found.append(tuple(numbers[k] for k in sorted(numbers)))
    # Where columns say the places, a row is a site and numbered columns are films.
    placed = any(all(role in roles for role in way) for way in WAYS)
    return found[0] if len(found) == 1 and not placed else ()


def _may_be_sites(stem: str, given: str | None) -> bool:
    if given is not None:
        return stem == named(given.rstrip("*") + "1").stem
    return stem in ("", "t", "p", "s", "pt", "m", "value", "meas") or named(stem).role in (*MEASURED, "site")


def measured_role(head: Head) -> str:
    """Return what was measured, one of the roles a head has.

    Parameters
    ----------
    head
        The column names.

    Raises
    ------
    DataError
        If there is more than one column of it.
    """
    known = [(role, i) for role in MEASURED for i in head.roles.get(role, ())]
    if len(known) == 1:
        return known[0][0]
    if not known:
        raise DataError(_no_measured(head))
    _check_names_differ(head, [i for _, i in known])
    names = ", ".join(head.header(i) for _, i in known[:8])
    role, column = known[0]
    raise DataError(
        f"{head.place}: columns {names} could each be what was measured: must be one (say which: "
        f"--column {role}={head.header(column)})"
    )


def one(head: Head, role: str) -> int:
    """Return the one column of a role.

    Parameters
    ----------
    head
        The column names.
    role
        That it has.

    Raises
    ------
    DataError
        If there are several.
    """
    columns = head.roles[role]
    if len(columns) == 1:
        return columns[0]
    _check_names_differ(head, columns)
    names = ", ".join(head.header(i) for i in columns[:8])
    raise DataError(
        f"{head.place}: columns {names} could each be {role}: must be one (say which: --column {role}={head.header(columns[0])})"
    )


def _check_names_differ(head: Head, columns: Sequence[int]) -> None:
    names = [head.names[i].header.casefold() for i in columns]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise DataError(
                f"{head.place}: the column name {head.header(columns[i])} stands twice (name each once)"
            )


def check_no_second_table(head: Head, rows: Sorted) -> None:
    """Refuse a file in which other column names follow.

    Parameters
    ----------
    head
        The column names.
    rows
        What stands under them.

    Raises
    ------
    DataError
        If a line of text names places and a thickness again.
    """
    lines = set(rows.text)
    for line, cells in head.grid.rows[head.at + 1 :] if lines else ():
        if line in lines and len(cells) > 1:
            again = as_head(head.grid, 0, cells, ColumnMap())
            if again.way() and any(role in again.roles for role in MEASURED):
                raise DataError(
                    f"{head.grid.path}: {head.grid.place} {line} names columns again: must be one table a file (split it)"
                )


def _no_measured(head: Head) -> str:
    rest = [name.header for i, name in enumerate(head.names) if all(i not in c for c in head.roles.values())]
    hint = f", as --column thickness={rest[0][:40]!r}" if rest else ""
    return f"{head.place}: no column of thickness, removal or rate among {_some(head)}: must be told (say which{hint})"


def no_places(head: Head) -> str:
    """Return the refusal of a table that does not say where its sites lie.

    Parameters
    ----------
    head
        The column names.
    """
    return (
        f"{head.place}: no site positions among {_some(head)}: columns x and y, r and theta, or die x and die y are "
        "needed (say which: --column x=NAME --column y=NAME; or the plan: --site-plan '49, 300 mm, 3 mm')"
    )


def _some(head: Head) -> str:
    shown = [
        name.header[:40] or f"(column {i} has no name)" for i, name in enumerate(head.names[:12], start=1)
    ]
    return ", ".join(shown) + (f" and {len(head.names) - 12} more" if len(head.names) > 12 else "")


def _refuse_line(grids: Sequence[Grid], told: int) -> None:
    """Say what stands where the user says that the column names are."""
    grid = grids[0]
    cells = next((cells for one in grids for line, cells in one.rows if line == told), ())
    if len(cells) > 1:
        what = f"it holds {', '.join(cell[:40] for cell in cells[:8])}: none of them is known as a place or a thickness"
    else:
        what = f"it holds {cells[0][:60]!r} in one cell" if cells else "it is blank or not there"
    raise DataError(
        refuse(
            f"{grid.path}: {grid.place} of the column names", told, f"one with names of columns; {what}",
            "say another line, another separator, or which column is what: --column x=NAME"
        )
    )  # fmt: skip


def _refuse_named(grids: Sequence[Grid], told: ColumnMap) -> None:
    """Say which column of the user's no line of names has."""
    for role, header in told.columns.items():
        if header.endswith("*"):
            continue
        if not any(
            _called([named(c) for c in cells], header) for g in grids for _, cells in g.rows[:MOST_ROWS]
        ):
            near = max(
                (h for g in grids for h in _heads(g, ColumnMap())), key=lambda h: len(h.roles), default=None
            )
            have = (
                f"; {near.grid.place} {near.line} has {_some(near)}"
                if near is not None and near.roles
                else ""
            )
            raise DataError(
                refuse(f"{grids[0].path}: column of {role}", header, f"a column of the file{have}")
            )
