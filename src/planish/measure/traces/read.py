"""Tool traces: long tables of samples, cut into wafers, with their pressure x speed exposure.

Columns have names of our own (``MEANING``). Another data set is read by a
mapping from its names to ours; that of the PHM Society's 2016 data challenge
is kept here (``PHM2016``). Nothing is dropped in silence: repeated samples,
odd times, gaps and wafers without any polish are counted and flagged.

The open data are scaled by their publisher: pressures, speeds and flows are
relative numbers, comparable with each other in one channel only.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.engine.csv_text import SHIELDED
from planish.engine.given import as_path
from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.measure.traces.invented import invented_traces as invented_traces
from planish.measure.traces.phases import phase_figures

if TYPE_CHECKING:
    import polars as pl

SOURCES: tuple[str, ...] = (
    "Exposure as the time integral of pressure x speed: Preston 1927, J. Soc. Glass Technol. 11, 214 "
    "(from memory)",
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
PRESSURES = ("pressure_main", "pressure_centre", "pressure_edge", "pressure_ripple")
SPEEDS = ("speed", "speed_wafer", "speed_stage")
USES = tuple(n for n in MEANING if n.startswith("use_"))

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

#: A gap between two samples of one wafer longer than this [s] is flagged; only this much of it counts.
LONGEST_STEP = 5.0
LONG_GAP = 60.0
#: A sample is polishing where a zone pressure is above this share of its usual level.
PRESSED = 0.2
#: A removal rate above this many times the median is not credible.
RATE_LIMIT = 5.0
#: No sensor and no gauge tells a number beyond this, in whatever unit; sums of them must stay numbers too.
LARGEST = 1e15


@dataclass(frozen=True, slots=True, repr=False)
class Scales(Record):
    """What one set of traces calls usual: level of each pressure and speed, place of each chamber."""

    usual: dict[str, float]
    level: dict[str, float]
    position: dict[str, int]


@dataclass(frozen=True, slots=True, repr=False)
class Wafers(Record):
    """Traces cut into wafers.

    Attributes
    ----------
    table
        A row for each polish (wafer and stage), in order of its start: ``wafer``, ``stage``, ``start`` [s],
        ``chambers`` (list), ``rate`` if rates were joined, ``seconds`` (time under pressure), ``exposure``
        (integral of relative pressure x speed), ``pressure_speed`` (its mean, null where no pressure was
        recorded) and the features of each chamber position.
    flags
        What is odd: {"wafer", "stage", "reason"}.
    notes
        What had to be assumed, in plain words.
    source
        Where the traces came from.
    phases
        The plain figures of the same polishes (see :mod:`planish.measure.traces.phases`).
    scales
        What was usual, to cut other files alike.
    """

    table: pl.DataFrame
    flags: tuple[dict[str, Any], ...]
    notes: tuple[str, ...]
    source: str
    phases: pl.DataFrame | None = None
    scales: Scales | None = None


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


def cut_wafers(
    samples: pl.DataFrame,
    rates: pl.DataFrame | None = None,
    source: str = "traces",
    *,
    like: Wafers | None = None,
) -> Wafers:
    """Cut samples into wafers and integrate what each was exposed to.

    Parameters
    ----------
    samples
        As :func:`read_traces` gives them.
    rates
        As :func:`read_rates` gives them, to be joined.
    source
        Where they came from.
    like
        Take the usual levels and the places of the chambers of these other traces, so that the two tables
        compare.

    Returns
    -------
    Wafers
        A row for each polish.

    Raises
    ------
    DataError
        If no rate belongs to any of the wafers, or a chamber or channel is
        not among those of ``like``.

    Notes
    -----
    Exact repeats of a sample are taken out, samples are put in order of time, and each counts for the time
    since the one before, at most ``LONGEST_STEP`` seconds. The pressure is the mean over the zones, each in
    units of its own usual level (median while pressed). Chambers are numbered by position in their route,
    so that two routes share their columns.
    """
    import polars as pl

    key = ["wafer", "stage"]
    whole = samples.unique(maintain_order=True)
    repeats = samples.height - whole.height
    backward = whole.select((pl.col("time").diff().over(key) < 0).sum()).item()
    ordered = whole.sort([*key, "time"], maintain_order=True)
    ordered = ordered.with_columns(step=pl.col("time").diff().over(key).fill_null(0.0))
    scales = _scales_of(ordered, source) if like is None or like.scales is None else like.scales
    _check_like(ordered, scales, source)
    usual, level, position = scales.usual, scales.level, scales.position
    zones, speeds = list(usual), list(level)
    ordered = ordered.with_columns(
        dt=pl.col("step").clip(0.0, LONGEST_STEP),
        pressed=pl.max_horizontal([pl.col(p) / usual[p] for p in zones]) > PRESSED,
        pressure=pl.mean_horizontal([pl.col(p) / usual[p] for p in zones]),
        position=pl.col("chamber").replace_strict(position, return_dtype=pl.Int32),
    ).with_columns(polish=pl.col("dt") * pl.col("pressed"))
    table = ordered.group_by(key).agg(*_whole_polish(ordered, level))
    channels = {c: usual[c] for c in zones} | {s: level[s] for s in speeds} | _plain_channels(ordered)
    table = table.join(_by_position(ordered, channels, level), on=key, how="left")
    table = table.sort(["start", *key]).with_columns(
        pressure_speed=pl.col("exposure") / pl.col("seconds").replace(0.0, None)
    )
    flags: list[dict[str, Any]] = [
        *_flag(table, pl.col("longest_gap") > LONG_GAP, "a gap of more than 60 s inside its trace"),
        *_flag(table, pl.col("repeated_times") > 0, "two samples with the same time"),
        *_flag(table, pl.col("seconds") == 0, "no pressure on any sample: its polish was not recorded"),
    ]
    notes = [f"{samples.height} samples, {table.height} polishes of {table['wafer'].n_unique()} wafers"]
    if repeats:
        notes.append(f"{repeats} samples repeat an earlier one in every column and count once")
    if backward:
        notes.append(f"{backward} samples lie before their predecessor in the file and were put in order")
    if rates is not None:
        table, more, said = _join_rates(table, rates, source)
        flags += more
        notes += said
    figures = phase_figures(
        ordered, position, [c for c in MEANING if c in whole.columns and c not in REQUIRED[:4]]
    )
    return Wafers(table, tuple(flags), tuple(notes), source, figures, scales)


def _scales_of(ordered: pl.DataFrame, source: str) -> Scales:
    zones = {p: _usual(ordered[p]) for p in PRESSURES if p in ordered.columns}
    zones = {p: level for p, level in zones.items() if level > 0}
    if not zones:
        raise DataError(f"{source}: no zone pressure is ever above zero: there is nothing to integrate")
    level = {s: _usual(ordered[s]) or 1.0 for s in SPEEDS if s in ordered.columns}
    return Scales(zones, level, _chamber_positions(ordered))


def _check_like(ordered: pl.DataFrame, scales: Scales, source: str) -> None:
    missing = [c for c in (*scales.usual, *scales.level) if c not in ordered.columns]
    if missing:
        raise DataError(f"{source}: no column {missing[0]!r}, which the traces learned from have")
    strange = sorted(set(ordered["chamber"].unique().to_list()) - set(scales.position))
    if strange:
        known = ", ".join(sorted(scales.position))
        raise DataError(f"{source}: chamber {strange[0]!r}: must be one of those learned from ({known})")


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


def _usual(series: pl.Series) -> float:
    positive = series.filter(series > 0)
    middle = positive.median() if positive.len() else None
    return float(middle) if isinstance(middle, int | float) else 0.0


def _chamber_positions(ordered: pl.DataFrame) -> dict[str, int]:
    """Number each chamber by its place in its route (1 first), in order of first visit."""
    import polars as pl

    routes = routes_of(ordered)
    visit = (
        ordered.group_by(["wafer", "stage", "chamber"])
        .agg(pl.col("time").min())
        .with_columns(pl.col("time").rank("dense").over("wafer", "stage"))
        .group_by("chamber")
        .agg(pl.col("time").mean())
        .sort(["time", "chamber"])
    )
    out: dict[str, int] = {}
    seen: dict[str, int] = {}
    for chamber in visit["chamber"].to_list():
        seen[routes[chamber]] = seen.get(routes[chamber], 0) + 1
        out[chamber] = seen[routes[chamber]]
    return out


def routes_of(samples: pl.DataFrame) -> dict[str, str]:
    """Return the route of each chamber: chambers that one polish passes through belong to one route.

    Parameters
    ----------
    samples
        As :func:`read_traces` gives them.

    Returns
    -------
    dict[str, str]
        Chamber -> route, named by its chambers, such as "4-5-6".
    """
    visits = samples.select("wafer", "stage", "chamber").unique().group_by("wafer", "stage").agg("chamber")
    parent: dict[str, str] = {}

    def root(c: str) -> str:
        while parent.setdefault(c, c) != c:
            c = parent[c]
        return c

    for chambers in visits["chamber"].to_list():
        first = root(min(chambers))
        for other in chambers:
            a, b = sorted((first, root(other)))
            parent[b] = a
            first = a
    members: dict[str, list[str]] = {}
    for c in sorted(parent):
        members.setdefault(root(c), []).append(c)
    return {c: "-".join(group) for group in members.values() for c in group}


def _plain_channels(frame: pl.DataFrame) -> dict[str, float]:
    """Channels that are averaged as they are, with the scale they are given in."""
    names = ("pressure_ring", "pressure_back", "flow_a", "flow_b", "flow_c")
    return {c: 1.0 for c in names if c in frame.columns}


def _whole_polish(frame: pl.DataFrame, level: dict[str, float]) -> list[pl.Expr]:
    """What is taken over all samples of one polish."""
    import polars as pl

    pv = pl.col("pressure") * pl.col("speed") / level["speed"]
    out: list[pl.Expr] = [
        pl.col("time").min().alias("start"),
        pl.col("chamber").unique().sort().alias("chambers"),
        pl.len().alias("samples"),
        pl.col("step").max().alias("longest_gap"),
        # The first sample of a wafer has no step; any later step of zero is a repeated time.
        ((pl.col("step") == 0).sum() - 1).clip(0).alias("repeated_times"),
        pl.col("polish").sum().alias("seconds"),
        (pv * pl.col("polish")).sum().alias("exposure"),
        *(pl.col(u).mean().alias(u) for u in USES if u in frame.columns),
    ]
    if "dressing" in frame.columns:
        out.append((pl.col("dressing") * pl.col("dt")).sum().alias("dressing_seconds"))
    return out


def _by_position(frame: pl.DataFrame, channels: dict[str, float], level: dict[str, float]) -> pl.DataFrame:
    """Time, exposure, and mean and maximum of each channel under pressure, by chamber position.

    A row a polish, columns ending in ``_1``, ``_2``, ...; zero where nothing was recorded.
    """
    import polars as pl

    key = ["wafer", "stage"]
    polish = pl.col("polish")
    pv = pl.col("pressure") * pl.col("speed") / level["speed"]
    means = [
        ((pl.col(c) * polish).sum() / pl.max_horizontal(polish.sum(), 1e-9) / scale).alias(f"mean_{c}")
        for c, scale in channels.items()
    ]
    tops = [(pl.col(c).max() / scale).alias(f"max_{c}") for c, scale in channels.items()]
    long = (
        frame.filter("pressed")
        .group_by([*key, "position"])
        .agg(polish.sum().alias("seconds"), (pv * polish).sum().alias("exposure"), *means, *tops)
    )
    out = frame.select(key).unique()
    for k in sorted(frame["position"].unique().to_list()):
        part = long.filter(pl.col("position") == k).drop("position")
        renamed = part.rename({c: f"{c}_{k}" for c in part.columns if c not in key})
        out = out.join(renamed, on=key, how="left")
    return out.with_columns(pl.exclude(key).fill_null(0.0))


def _flag(table: pl.DataFrame, condition: pl.Expr, reason: str) -> list[dict[str, Any]]:
    rows = table.filter(condition).select("wafer", "stage").rows()
    return [{"wafer": w, "stage": s, "reason": reason} for w, s in rows]


def _join_rates(
    table: pl.DataFrame, rates: pl.DataFrame, source: str
) -> tuple[pl.DataFrame, list[dict[str, Any]], list[str]]:
    import polars as pl

    joined = table.join(rates, on=["wafer", "stage"], how="inner", maintain_order="left")
    if joined.height == 0:
        raise DataError(f"{source}: none of the {rates.height} rates belongs to a wafer of the traces")
    notes = []
    if joined.height < table.height:
        notes.append(f"{table.height - joined.height} polishes have no measured rate and were left out")
    if joined.height < rates.height:
        notes.append(f"{rates.height - joined.height} rates belong to no trace and were left out")
    middle = _usual(joined["rate"])
    odd = (pl.col("rate") > RATE_LIMIT * middle) | (pl.col("rate") <= 0)
    flags = _flag(
        joined, odd, f"rate not credible (above {RATE_LIMIT:g} times the median {middle:.4g}, or not above 0)"
    )
    joined = joined.with_columns(credible=~odd)
    if flags:
        values = ", ".join(f"{v:.0f}" for v in joined.filter(odd)["rate"].to_list()[:8])
        notes.append(
            f"{len(flags)} rates are not credible ({values}): flagged, and left out of every fit and error"
        )
    return joined, flags, notes
