"""Summary and tables as a labelled dataset in SI."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.results.plain import Columns, Figure
from planish.results.units import stem, unit_of

if TYPE_CHECKING:
    import xarray as xr


def labelled(summary: Mapping[str, Figure], tables: Mapping[str, Columns]) -> xr.Dataset:
    """Return single figures without a dimension, and each table's columns along one of its name.

    Numbers are in SI; a text that is missing is empty, a number that is missing NaN.

    Parameters
    ----------
    summary
        Figures by key.
    tables
        Columns by table, cells by column.

    Returns
    -------
    xr.Dataset
        A variable a figure and a column, with its unit.
    """
    import xarray as xr

    found: dict[str, Any] = {}
    for key, value in summary.items():
        if value is not None:
            values, attrs = _column(key, [value])
            found[stem(key)] = ((), values[0], attrs)
    for name, columns in tables.items():
        for key, cells in columns.items():
            values, attrs = _column(key, cells)
            found[f"{name}.{stem(key)}"] = ((f"{name}_row",), values, attrs)
    return xr.Dataset(found)


def _column(key: str, cells: Sequence[Figure]) -> tuple[Any, dict[str, str]]:
    words = stem(key).replace("_", " ")
    if any(isinstance(cell, str) for cell in cells):
        return np.array(["" if cell is None else str(cell) for cell in cells]), {"long_name": words}
    unit = unit_of(key)
    numbers = np.array([np.nan if cell is None else float(cell) for cell in cells])
    if unit is None:
        return numbers, {"units": "1", "long_name": words}
    return numbers * unit.factor + unit.offset, {"units": unit.si, "long_name": words}
