"""What a chart is drawn of: measured rows in their order, their phases, and which of them the limits are taken from."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias, Union

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.measure.tables.rows import Rows, bare, read_rows

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Data: TypeAlias = Union[str, "os.PathLike[str]", Mapping[str, Sequence[object]]]
MOST_PHASES = 1000
NAMED = 8  # rows that a note names one by one


@dataclass(frozen=True, slots=True)
class Samples:
    """Measured rows.

    Attributes
    ----------
    values
        (rows, columns).
    names
        Of the columns, as written.
    rows
        Which row of the table each is, counted from 1 (rows without a value are left out).
    phase
        Which phase each is of, from 0.
    phases
        What each phase is called.
    groups
        Which group each is of, from 0 in the order of their first rows; none without groups.
    group_names
        What each group is called.
    said
        What there is to say of the rows.
    source
        The file, or "data".
    ages
        Of the pad of each row [wafers], NaN where not said; None without such a column.
    called
        What each row is called; none without such a column.
    """

    values: Array
    names: tuple[str, ...]
    rows: Whole
    phase: Whole
    phases: tuple[str, ...]
    groups: Whole | None
    group_names: tuple[str, ...]
    said: tuple[str, ...]
    source: str
    ages: Array | None = None
    called: tuple[str, ...] = ()


def read_samples(
    data: Data,
    value: str | Sequence[str],
    *,
    group: str | None = None,
    phase: str | None = None,
    new_phase: Sequence[int] = (),
    age: str | None = None,
    name: str | None = None,
    sheet: str | None = None,
    decimal: str | None = None,
    source: str = "",
) -> Samples:
    """Return the rows of a table, or of columns that are given.

    Parameters
    ----------
    data
        The file, or columns by name.
    value
        The measured column, or several.
    group, phase
        Columns of labels; a new phase begins where the label is another than in the row above.
    new_phase
        Rows, counted from 1, at which a phase begins too.
    age
        Column of the pad's age [wafers].
    name
        Column that says what each row is called.
    sheet, decimal
        As of :func:`~planish.measure.tables.rows.read_rows`.
    source
        What columns that are given come from.

    Returns
    -------
    Samples
        Rows without a value left out.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    """
    wanted = [value] if isinstance(value, str) else list(value)
    if not wanted or any(not isinstance(each, str) or not each.strip() for each in wanted):
        raise DataError(refuse("value", value, "the name of the measured column, or of several"))
    if len({each.strip().casefold() for each in wanted}) != len(wanted):
        raise DataError(refuse("value", wanted, "each column named once"))
    labels = [column for column in (group, phase, age, name) if column is not None]
    table = table_of(data, [*wanted, *labels], sheet, decimal, source)
    columns = np.column_stack([table.numbers(each, "the measured column") for each in wanted])
    names = tuple(table.names[table.index(each, "the measured column")] for each in wanted)
    kept = ~np.any(np.isnan(columns), axis=1)
    if kept.sum() < 2:
        raise DataError(f"{table.path}: {counted(int(kept.sum()), 'row')} with a value: must be two or more")
    if np.max(np.abs(columns[kept])) > 1e100:
        raise DataError(
            f"{table.path}: {np.max(np.abs(columns[kept])):.3g}: must be below 1e100 (is the column right?)"
        )
    number, called = _phases(table, phase, new_phase)
    groups, group_names = _groups(table, group, kept)
    said = _left_out(np.flatnonzero(~kept) + 1)
    # Phases of which no row holds a value are not there.
    present, number = np.unique(number[kept], return_inverse=True)
    return Samples(
        columns[kept],
        names,
        np.flatnonzero(kept) + 1,
        number.astype(np.int64),
        tuple(called[each] for each in present),
        groups,
        group_names,
        said,
        table.path,
        None if age is None else table.numbers(age, "the column of the pad's age")[kept],
        () if name is None else tuple(np.array(table.labels(name, "the column of names"))[kept].tolist()),
    )


class Table(Protocol):
    """Columns by name, of a file or given; each method as of :class:`~planish.measure.tables.rows.Rows`."""

    @property
    def path(self) -> str:
        """The file, or what was given."""

    @property
    def names(self) -> tuple[str, ...]:
        """Of the columns."""

    @property
    def count(self) -> int:
        """Rows."""

    def index(self, name: str, purpose: str) -> int:
        """Return the position of a column.

        Parameters
        ----------
        name, purpose
            Its name, and what it is for.
        """

    def numbers(self, name: str, purpose: str) -> Array:
        """Return a column of numbers.

        Parameters
        ----------
        name, purpose
            Its name, and what it is for.
        """

    def labels(self, name: str, purpose: str) -> list[str]:
        """Return a column of labels.

        Parameters
        ----------
        name, purpose
            Its name, and what it is for.
        """


def table_of(
    data: Data, columns: Sequence[str], sheet: str | None, decimal: str | None, source: str = ""
) -> Table:
    """Return a table, read or given.

    Parameters
    ----------
    data
        The file, or columns by name.
    columns
        That are wanted.
    sheet, decimal
        As of :func:`~planish.measure.tables.rows.read_rows`.
    source
        What columns that are given come from.

    Returns
    -------
    Table
        Nothing interpreted yet.

    Raises
    ------
    DataError
        For a file that is no table, and columns of different lengths.
    """
    if isinstance(data, Mapping):
        return _Given(data, source or "data")
    return read_rows(data, sheet=sheet, decimal=decimal, columns=columns)


class _Given:
    """Columns that were given in place of a file; asked as :class:`~planish.measure.tables.rows.Rows` is."""

    def __init__(self, data: Mapping[str, Sequence[object]], source: str) -> None:
        self.path = source
        self.columns: dict[str, Sequence[object]] = {str(name): values for name, values in data.items()}
        self.names = tuple(self.columns)
        lengths = {len(values) for values in self.columns.values()}
        if len(lengths) != 1:
            raise DataError(
                refuse("data: rows in each column", sorted(lengths), "the same number, of one column or more")
            )
        self.count = lengths.pop()
        if not self.count:
            raise DataError("data: has column names but no rows")

    def index(self, name: str, purpose: str) -> int:
        return self._texts({}).index(name, purpose)

    def numbers(self, name: str, purpose: str) -> Array:
        column = self.names[self.index(name, purpose)]
        values = self.columns[column]
        kind = getattr(getattr(values, "dtype", None), "kind", "")
        if kind in ("f", "i", "u") or all(type(value) in (int, float) for value in values):
            found = np.array(values, dtype=np.float64)
            if np.any(np.isfinite(found)) and not np.any(np.isinf(found)) and found.ndim == 1:
                return found
        return self._texts({column: [_cell(value) for value in values]}).numbers(name, purpose)

    def labels(self, name: str, purpose: str) -> list[str]:
        column = self.names[self.index(name, purpose)]
        return self._texts({column: [_cell(value) for value in self.columns[column]]}).labels(name, purpose)

    def _texts(self, read: Mapping[str, list[str]]) -> Rows:
        """Return rows of which only the columns that are read have cells."""
        empty = [""] * self.count if read else []
        cells = tuple(zip(*(read.get(name, empty) for name in self.names), strict=True))
        return Rows(self.path, self.names, cells, tuple(range(1, len(cells) + 1)), "row", "point")


def _cell(item: object) -> str:
    return (
        ""
        if item is None
        else repr(float(item))
        if isinstance(item, float | np.floating)
        else str(item).strip()
    )


def _phases(table: Table, phase: str | None, new_phase: Sequence[int]) -> tuple[Whole, list[str]]:
    count = table.count
    begins = np.zeros(count, dtype=bool)
    labels = [""] * count
    if phase is not None:
        labels = table.labels(phase, "the column of phases")
        begins[1:] = [one != other for one, other in zip(labels[1:], labels[:-1], strict=True)]
    for row in new_phase:
        if not isinstance(row, int | np.integer) or not 2 <= row <= count:
            raise DataError(
                refuse("new phase", row, f"a row from 2 to {count}, counted from 1 below the names")
            )
        begins[int(row) - 1] = True
    number = np.cumsum(begins)
    starts = np.concatenate([[0], np.flatnonzero(begins)])
    if starts.size > MOST_PHASES:
        raise DataError(
            f"{table.path}: {starts.size} phases: must be at most {MOST_PHASES} (is the column one that changes in each row?)"
        )
    called = []
    for at, start in enumerate(starts):
        told = f"{bare(phase)} {labels[start]}" if phase is not None else ""
        called.append(told or (f"from row {start + 1}" if starts.size > 1 else "all rows"))
        if called.count(called[-1]) > 1:
            called[-1] += f", from row {starts[at] + 1}"
    return number.astype(np.int64), called


def _groups(table: Table, group: str | None, kept: NDArray[np.bool_]) -> tuple[Whole | None, tuple[str, ...]]:
    if group is None:
        return None, ()
    labels = [
        label for label, keep in zip(table.labels(group, "the column of groups"), kept, strict=True) if keep
    ]
    order: dict[str, int] = {}
    numbers = np.array([order.setdefault(label, len(order)) for label in labels], dtype=np.int64)
    return numbers, tuple(order)


def _left_out(rows: Whole) -> tuple[str, ...]:
    if not rows.size:
        return ()
    named = ", ".join(str(row) for row in rows[:NAMED])
    more = f" and {rows.size - NAMED} more" if rows.size > NAMED else ""
    return (f"{rows.size} {'row' if rows.size == 1 else 'rows'} without a value left out: {named}{more}",)
