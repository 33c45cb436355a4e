"""Tool traces as they come: long tables of samples, and the removal rates measured on the same wafers.

Columns have names of our own (``MEANING``). Another data set is read by a
mapping from its names to ours; that of the PHM Society's 2016 data challenge
is kept here (``PHM2016``).

The open data are scaled by their publisher: pressures, speeds and flows are
relative numbers, comparable with each other in one channel only.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING

from planish.engine.csv_text import SHIELDED
from planish.engine.given import as_path
from planish.errors import DataError, refuse

if TYPE_CHECKING:
    import polars as pl

SOURCES: tuple[str, ...] = (
    "PHM Society 2016 data challenge (wafer polisher traces and average removal rates): column names mapped "
    "as the challenge gives them; values scaled by the publisher",
)

#: Our columns of a trace and what they mean. All but the first five and ``speed`` may be absent.
MEANING: dict[str, str] = {
    "time": "clock [s]",
    "wafer": "wafer name or number",
    "stage": "which polish of this wafer",
    "chamber": "chamber or platen number",
    "pressure_main": "zone pressure, main, relative",
    "pressure_centre": "zone pressure, centre, relative",
    "pressure_edge": "zone pressure, edge, relative",
    "pressure_ripple": "zone pressure, between centre and edge, relative",
    "pressure_ring": "retaining ring pressure, relative",
    "pressure_back": "pressure behind the carrier, relative",
    "speed": "rotation of the head, relative: the one that runs all through the polish",
    "speed_wafer": "rotation of the wafer, relative",
    "speed_stage": "rotation of the stage, relative",
    "flow_a": "slurry line A, relative",
    "flow_b": "slurry line B, relative",
    "flow_c": "slurry line C, relative",
    "dressing": "dressing water on (1) or off (0)",
    "use_dresser": "use of the dressing disk since it was new, relative",
    "use_dresser_table": "use of the dresser's table, relative",
    "use_pad": "use of the polishing table's pad, relative",
    "use_membrane": "use of the carrier membrane, relative",
    "use_backing_film": "use of the backing film, relative",
    "use_sheet": "use of the pressurised sheet, relative",
}
_MANY = 1_000_000  # cells
REQUIRED = ("time", "wafer", "stage", "chamber", "pressure_main", "speed")

#: The 2016 challenge's column names (open data) to ours.
PHM2016: dict[str, str] = {
    "TIMESTAMP": "time",
    "WAFER_ID": "wafer",
    "STAGE": "stage",
    "CHAMBER": "chamber",
    "MAIN_OUTER_AIR_BAG_PRESSURE": "pressure_main",
    "CENTER_AIR_BAG_PRESSURE": "pressure_centre",
    "EDGE_AIR_BAG_PRESSURE": "pressure_edge",
    "RIPPLE_AIR_BAG_PRESSURE": "pressure_ripple",
    "RETAINER_RING_PRESSURE": "pressure_ring",
    "PRESSURIZED_CHAMBER_PRESSURE": "pressure_back",
    "HEAD_ROTATION": "speed",
    "WAFER_ROTATION": "speed_wafer",
    "STAGE_ROTATION": "speed_stage",
    "SLURRY_FLOW_LINE_A": "flow_a",
    "SLURRY_FLOW_LINE_B": "flow_b",
    "SLURRY_FLOW_LINE_C": "flow_c",
    "DRESSING_WATER_STATUS": "dressing",
    "USAGE_OF_DRESSER": "use_dresser",
    "USAGE_OF_DRESSER_TABLE": "use_dresser_table",
    "USAGE_OF_POLISHING_TABLE": "use_pad",
    "USAGE_OF_MEMBRANE": "use_membrane",
    "USAGE_OF_BACKING_FILM": "use_backing_film",
    "USAGE_OF_PRESSURIZED_SHEET": "use_sheet",
    "AVG_REMOVAL_RATE": "rate",
}

#: No sensor and no gauge tells a number beyond this, in whatever unit; sums of them must stay numbers too.
LARGEST = 1e15


def read_traces(path: str | os.PathLike[str], columns: Mapping[str, str] | None = None) -> pl.DataFrame:
    """Read a long Parquet or CSV trace and return it with our column names, in the file's order.

    Parameters
    ----------
    path
        The file, one row a sample.
    columns
        Mapping from the file's column names to ours. Left out, a file with
        our names is taken as it is, and one with the 2016 challenge's names
        by ``PHM2016``.

    Returns
    -------
    pl.DataFrame
        One row a sample.

    Raises
    ------
    DataError
        If the file cannot be read, a required column is missing, a number is
        missing or not finite, a pressure is below zero, or the times never rise.
    """
    import polars as pl

    frame = _renamed(_read_frame(path), columns)
    missing = [n for n in REQUIRED if n not in frame.columns]
    if missing:
        raise DataError(
            f"{path}: no column {', '.join(missing)} among {', '.join(frame.columns[:8])}, ... "
            f"(needed: {', '.join(REQUIRED)}; or give a mapping from the file's names)"
        )
    if frame.height == 0:
        raise DataError(f"{path}: has column names but no samples")
    labels = ("wafer", "stage", "chamber")
    numeric = [n for n in frame.columns if n in MEANING and n not in labels]
    text = [n for n in numeric if not frame[n].dtype.is_numeric()]
    if text:
        raise DataError(f"{path}: column {text[0]!r} holds text, not numbers (one number a sample)")
    frame = frame.with_columns(pl.col(numeric).cast(pl.Float64), *(_label(frame, n) for n in labels))
    bad = frame.select(pl.col(numeric).is_finite().fill_null(False).not_().sum()).row(0)
    for name, count in zip(numeric, bad, strict=True):
        if count:
            at = frame[name].is_finite().fill_null(False).not_().arg_max()
            raise DataError(
                f"{path}: sample {int(at or 0) + 1}, column {name!r}: {count} samples are empty or not "
                f"finite: "
                "must be numbers (leave those samples out)"
            )
    for name in labels:
        if frame[name].null_count():
            raise DataError(
                f"{path}: column {name!r}: {frame[name].null_count()} samples have none (fill it in)"
            )
    for name in numeric:
        _credible(f"{path}: column {name!r}", frame[name])
        low = frame[name].min()
        if name.startswith(("pressure", "flow")) and isinstance(low, float) and low < 0:
            raise DataError(
                refuse(f"{path}: column {name!r}", low, "0 or more", "is the sensor's zero right?")
            )
    if frame["time"].min() == frame["time"].max():
        raise DataError(f"{path}: every sample has the same time (a column of seconds is needed)")
    return frame


def read_rates(path: str | os.PathLike[str], columns: Mapping[str, str] | None = None) -> pl.DataFrame:
    """Read the measured average removal rate of each polish.

    Parameters
    ----------
    path
        The file, one row a polish.
    columns
        Mapping from the file's column names to ours, as for :func:`read_traces`.

    Returns
    -------
    pl.DataFrame
        Columns wafer, stage, rate.

    Raises
    ------
    DataError
        If the file cannot be read, a column is missing, a rate is not a
        number, or a polish is given twice.
    """
    import polars as pl

    frame = _renamed(_read_frame(path), columns)
    missing = [n for n in ("wafer", "stage", "rate") if n not in frame.columns]
    if missing:
        raise DataError(f"{path}: no column {', '.join(missing)} (needed: wafer, stage, rate)")
    if frame.height == 0:
        raise DataError(f"{path}: has column names but no rates")
    if not frame["rate"].dtype.is_numeric():
        raise DataError(f"{path}: column 'rate' holds text, not numbers")
    frame = frame.select(_label(frame, "wafer"), _label(frame, "stage"), pl.col("rate").cast(pl.Float64))
    if not bool(frame["rate"].is_finite().fill_null(False).all()):
        raise DataError(f"{path}: column 'rate': some rates are empty or not finite (leave those rows out)")
    _credible(f"{path}: column 'rate'", frame["rate"])
    twice = frame.filter(frame.select("wafer", "stage").is_duplicated())
    if twice.height:
        raise DataError(
            f"{path}: wafer {twice['wafer'][0]}, stage {twice['stage'][0]}: has two rates (one row a polish)"
        )
    return frame


def _credible(place: str, values: pl.Series) -> None:
    """Refuse a column with a number that nothing measures.

    Raises
    ------
    DataError
        Naming the number.
    """
    at = values.abs().arg_max()
    if at is not None and abs(values[at]) > LARGEST:
        raise DataError(
            refuse(place, values[at], f"at most {LARGEST:g} either way", "is it the right column?")
        )


def _read_frame(path: str | os.PathLike[str]) -> pl.DataFrame:
    import polars as pl

    from planish.measure.tables.limits import MAX_TRACE_CELLS, check_columns, check_text
    from planish.measure.tables.parquet_limits import check_parquet

    file = as_path(path, "traces")
    if not file.is_file():
        raise DataError(f"{path}: no such file (give the path of a Parquet or CSV trace)")
    if file.stat().st_size == 0:
        raise DataError(f"{path}: the file is empty")
    try:
        if file.suffix.lower() in (".parquet", ".pq"):
            check_parquet(file, MAX_TRACE_CELLS)
            return pl.read_parquet(file)
        size = check_text(file, MAX_TRACE_CELLS)
        if size.quotes % 2 and size.cells > _MANY:
            # The reader would take all that follows for one line of as many columns.
            raise DataError(
                f"{path}: a quotation mark opens a text that nothing closes (check its quotation marks)"
            )
        frame = pl.read_csv(file, comment_prefix="#", infer_schema_length=None)
        check_columns(file, frame.width)
        return frame
    except (pl.exceptions.PolarsError, OSError, UnicodeDecodeError, pl.exceptions.PanicException) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise DataError(f"{path}: cannot be read as a table: {reason[:140]} (Parquet or UTF-8 CSV)") from None


def _renamed(frame: pl.DataFrame, columns: Mapping[str, str] | None) -> pl.DataFrame:
    names = columns if columns is not None else PHM2016
    found = {old: new for old, new in names.items() if old in frame.columns}
    return frame.rename(found) if found else frame


def _label(frame: pl.DataFrame, name: str) -> pl.Expr:
    """Labels as text; whole numbers stored as floats lose their '.0'."""
    import polars as pl

    column = pl.col(name)
    if frame[name].dtype.is_float():
        column = column.cast(pl.Int64, strict=False)
    return column.cast(pl.String).str.replace(SHIELDED, "$1").alias(name)
