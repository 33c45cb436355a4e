"""What is in a file that somebody brings: site measurements, traces, rates, or a layout?"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from planish.engine.files import write_whole
from planish.errors import DataError, PlanishError

Place = str | os.PathLike[str]


def layout_told(path: Place) -> dict[str, Any]:
    """Return the layers of a layout with how many shapes each has, the fullest first.

    Raises
    ------
    DataError
        For a file that is no layout.
    """
    from planish.measure.layout.read import list_layers

    layers = list_layers(path)
    most = sorted(layers, key=lambda key: -layers[key])
    return {"is": "layout", "layers": [{"layer": f"{a}/{b}", "shapes": layers[(a, b)]} for a, b in most]}


def table_told(
    path: Place, told: Mapping[str, Any] | None = None, wafer: str | None = None
) -> dict[str, Any]:
    """Return what a table holds, sites, traces, rates or runs, with its main figures.

    Parameters
    ----------
    path
        The file.
    told
        Column map as plain data: with one, or with a wafer, the file is one of sites.
    wafer
        Which one, where it holds several.

    Raises
    ------
    DataError
        With what each reader said, where none of them can read it.
    """
    if told or wafer is not None:
        return _sites(path, told, wafer)
    said = []
    for reader in (_sites, _traces, _rates):
        try:
            return reader(path)
        except PlanishError as error:
            said.append(f"as {reader.__name__[1:]}: {error}")
    if (runs := _runs(path)) is not None:
        return runs
    raise DataError(f"{path}: cannot be read. " + "; ".join(said))


def load_readers() -> None:
    """Load, and on first use compile, what looking at a table and at a layout needs."""
    from planish.measure.layout.gds_write import write_rects

    with TemporaryDirectory() as folder:
        table = Path(folder) / "sites.csv"
        write_whole(table, "x_mm,y_mm,thickness_nm\n0,0,1000\n1,0,1000\n0,1,1000\n")
        table_told(table)
        layout_told(write_rects(Path(folder) / "one.gds", np.array([[0, 0, 1000, 1000]])))


def _sites(path: Place, told: Mapping[str, Any] | None = None, wafer: str | None = None) -> dict[str, Any]:
    from planish.jobs.site_files import SiteFile, told_of

    sites = SiteFile(path, told_of(told), wafer).read()
    return {
        "is": "sites",
        "quantity": sites.quantity,
        "sites": len(sites),
        "mean": float(np.mean(sites.value)),
        "polish_time_s": sites.polish_time,
        "notes": [*sites.notes, *sites.understood],
    }


def _traces(path: Place) -> dict[str, Any]:
    from planish.measure.traces.read import read_traces

    frame = read_traces(path)
    return {"is": "traces", "samples": frame.height, "columns": frame.columns}


def _rates(path: Place) -> dict[str, Any]:
    from planish.measure.traces.read import read_rates

    frame = read_rates(path)
    return {"is": "rates", "polishes": frame.height}


def _runs(path: Place) -> dict[str, Any] | None:
    """What is a table of runs by its names; whether all of it can be used shows when it is held against a setup."""
    from planish.measure.runs.read import count_runs, holds_runs

    try:
        return {"is": "runs", "runs": count_runs(path)} if holds_runs(path) else None
    except DataError:
        return None
