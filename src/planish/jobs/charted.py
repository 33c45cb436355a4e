"""What a table offers to be charted: its columns, which hold numbers, which label rows."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

import numpy as np

from planish.errors import DataError
from planish.measure.tables.rows import Rows, read_rows

MOST_COLUMNS = 400
MOST_PHASES = 60  # a column that changes more often labels rows, not phases


def table_columns(path: str | os.PathLike[str], sheet: str | None = None) -> dict[str, Any]:
    """Return what of a table can be charted.

    Parameters
    ----------
    path
        Text, Parquet or a workbook with a row a measurement.
    sheet
        Of a workbook with several.

    Returns
    -------
    dict[str, Any]
        ``rows``, and ``columns`` in their order: ``name``, whether they hold ``numbers`` and ``whole`` ones alone (a count or
        a name rather than a measurement), and in how many ``phases`` the rows fall where the label changes (0: too many).

    Raises
    ------
    DataError
        For what is no such table, and one with nothing to chart.
    """
    table = read_rows(path, sheet=sheet)
    if len(table.names) > MOST_COLUMNS:
        raise DataError(f"{table.path}: {len(table.names)} columns: must be at most {MOST_COLUMNS}")
    found = [{"name": name, **_numbers(table, name), "phases": _phases(table, name)} for name in table.names]
    if not any(column["numbers"] for column in found):
        raise DataError(f"{table.path}: no column of numbers: must hold one, a row a measurement")
    return {"rows": table.count, "columns": found}


def _numbers(table: Rows, name: str) -> dict[str, bool]:
    try:
        values = table.numbers(name, "a measured column")
    except DataError:
        return {"numbers": False, "whole": False}
    known = values[np.isfinite(values)]
    return {"numbers": known.size >= 2, "whole": bool(np.all(known == np.round(known)))}


def _phases(table: Rows, name: str) -> int:
    try:
        labels: Sequence[str] = table.labels(name, "a column of phases")
    except DataError:
        return 0
    count = 1 + sum(one != other for one, other in zip(labels[1:], labels[:-1], strict=True))
    return count if count <= MOST_PHASES else 0
