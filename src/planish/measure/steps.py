"""Thickness and step measured at test structures of a die, as a table with units in the column names."""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.measure.sites.read import LARGEST_VALUE
from planish.measure.tables.columns import LENGTHS, TIMES, split_name
from planish.measure.tables.read import Table, number, read_table

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False)
class StepTable(Record):
    """Measurements at test structures, one entry a structure and polish.

    Attributes
    ----------
    x, y
        In layout coordinates [m].
    time
        Of polishing [s].
    up_loss
        Thickness lost by the raised area [m], NaN where not measured.
    step_left
        [m], NaN where not measured.
    step_before
        Of all structures [m], None where it is not known.
    """

    x: Array
    y: Array
    time: Array
    up_loss: Array
    step_left: Array
    step_before: float | None = None


def holds_steps(path: str | os.PathLike[str]) -> bool:
    """Return whether a file is a table of steps by its column names.

    Parameters
    ----------
    path
        Any file.
    """
    try:
        header = read_table(path).header
    except DataError:
        return False  # it may still be a table that something else reads
    return any(split_name(name)[0] in ("up_loss", "step_left") for name in header)


def read_steps(path: str | os.PathLike[str]) -> StepTable:
    """Read a table with the columns x, y, time, up_loss and/or step_left, and maybe step_before.

    Units stand in the names (``x_mm``, ``time_s``, ``up_loss_nm``). Cells of the two measured columns may be empty.

    Parameters
    ----------
    path
        The table; units stand in the names (``x_mm``, ``time_s``, ``up_loss_nm``). Cells of the two
        measured columns may be empty.

    Returns
    -------
    StepTable
        In SI.

    Raises
    ------
    DataError
        For a missing column or unit, cells that are not numbers, or steps before polishing that differ.
    """
    table = read_table(path)
    scales = {}
    for position, header in enumerate(table.header):
        name, unit = split_name(header)
        if name == "time" or unit is None:
            stem, _, unit = header.strip().lower().rpartition("_")
            name, known = stem or header, TIMES
        else:
            known = LENGTHS
        if unit is not None and unit.lower() in known:
            scales[name] = (position, known[unit.lower()])
    for needed, example in (("x", "x_mm"), ("y", "y_mm"), ("time", "time_s")):
        if needed not in scales:
            raise DataError(
                refuse(
                    f"{path}: columns", ", ".join(table.header), f"with {needed} and its unit, as {example}"
                )
            )
    if "up_loss" not in scales and "step_left" not in scales:
        raise DataError(
            refuse(f"{path}: columns", ", ".join(table.header), "with up_loss_nm, step_left_nm, or both")
        )
    found = {name: _values(table, *scales[name], empty=False) for name in ("x", "y", "time")}
    for name, (low, high, allowed) in _LIMITS.items():
        if name in scales:
            _check_range(table, scales[name], low, high, allowed)
    for name in ("up_loss", "step_left"):
        found[name] = (
            _values(table, *scales[name], empty=True) if name in scales else np.full(len(table.lines), np.nan)
        )
    before = None
    if "step_before" in scales:
        values = _values(table, *scales["step_before"], empty=False)
        if np.ptp(values) > 1e-12:
            raise DataError(
                refuse(
                    f"{path}: step_before", f"{values.min():g} to {values.max():g} m", "the same in every row"
                )
            )
        before = float(values[0])
    return StepTable(**found, step_before=before)


# What a measurement on a die can be: least and most in SI, and in words.
_LIMITS = {
    "x": (-1.0, 1.0, "within 1 m of the layout's origin"),
    "y": (-1.0, 1.0, "within 1 m of the layout's origin"),
    "time": (1e-3, 1e6, "0.001 s to 1e6 s"),
    "up_loss": (-LARGEST_VALUE, LARGEST_VALUE, f"at most {LARGEST_VALUE * 1e3:g} mm"),
    "step_left": (-LARGEST_VALUE, LARGEST_VALUE, f"at most {LARGEST_VALUE * 1e3:g} mm"),
    "step_before": (1e-10, LARGEST_VALUE, f"0.1 nm to {LARGEST_VALUE * 1e3:g} mm"),
}


def _check_range(table: Table, column: tuple[int, float], low: float, high: float, allowed: str) -> None:
    values = _values(table, *column, empty=True)
    with np.errstate(invalid="ignore"):
        off = np.flatnonzero((values < low) | (values > high))
    if off.size:
        row, (position, _) = int(off[0]), column
        place, cell = table.at(row, table.header[position]), table.columns[position][row]
        raise DataError(refuse(place, cell[:40], allowed, "is the unit in the column's name right?"))


def _values(table: Table, position: int, scale: float, *, empty: bool) -> Array:
    header = table.header[position]
    if not empty:
        return table.numbers(header) * scale
    out = np.full(len(table.lines), np.nan)
    for row, cell in enumerate(table.columns[position]):
        if cell:
            try:
                out[row] = number(cell) * scale
            except ValueError:
                raise DataError(refuse(table.at(row, header), cell[:40], "a number, or empty")) from None
            if not np.isfinite(out[row]):
                raise DataError(refuse(table.at(row, header), cell[:40], "a finite number, or empty"))
    return out
