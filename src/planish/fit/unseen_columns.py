"""Which figures of the traces each model of guessed rates looks at, as plain numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError
from planish.measure.traces.wafers import USES, Wafers

if TYPE_CHECKING:
    import polars as pl

Array = NDArray[np.float64]


def level_columns(table: pl.DataFrame) -> list[str]:
    """Return the columns of the level besides the time: the consumables' counters.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    return [c for c in USES if c in table.columns]


def trace_columns(table: pl.DataFrame) -> list[str]:
    """Return those of the trace process: counters, times, exposure, and mean speeds and flows by phase.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    chosen = ("phase_span", "phase_samples", "phase_mean_flow", "phase_mean_speed_", "phase_mean_dressing")
    plain = [c for c in ("exposure", "dressing_seconds", "samples") if c in table.columns]
    seconds = [c for c in table.columns if c.startswith("seconds_")]
    return [*level_columns(table), *seconds, *plain, *(c for c in table.columns if c.startswith(chosen))]


def tree_columns(table: pl.DataFrame) -> list[str]:
    """Return those of the forest: all figures but the means of pressures by phase, which rarely are whole.

    Parameters
    ----------
    table
        Of wafers.

    Returns
    -------
    list[str]
        Names.
    """
    skip = ("phase_mean_pressure", "start")
    return [c for c in table.columns if table[c].dtype.is_numeric() and not c.startswith(skip)]


def plain_numbers(table: pl.DataFrame, name: str) -> Array:
    """Return a column as numbers.

    Parameters
    ----------
    table
        Of wafers.
    name
        Of the column.

    Returns
    -------
    Array
        (rows,), -1 where nothing was recorded (no figure is ever below zero).
    """
    out: Array = table[name].cast(float).fill_null(-1.0).to_numpy().astype(np.float64)
    return np.nan_to_num(out, nan=-1.0)


def with_phases(wafers: Wafers) -> pl.DataFrame:
    """Return the wafer table with the figures by phase beside it.

    Parameters
    ----------
    wafers
        Cut from samples.

    Returns
    -------
    pl.DataFrame
        A row a polish.

    Raises
    ------
    FitError
        If the wafers carry no figures by phase.
    """
    if wafers.phases is None:
        raise FitError(f"{wafers.source}: the wafers carry no figures by phase (cut them from samples)")
    return wafers.table.join(wafers.phases, on=["wafer", "stage"], how="left", maintain_order="left")
