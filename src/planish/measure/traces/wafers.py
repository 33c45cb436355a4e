"""Traces cut into wafers, with the pressure x speed that each was exposed to.

Nothing is dropped in silence: repeated samples, odd times, gaps and wafers
without any polish are counted and flagged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.engine.record import Record
from planish.errors import DataError
from planish.measure.traces.phases import phase_figures
from planish.measure.traces.read import MEANING, REQUIRED

if TYPE_CHECKING:
    import polars as pl

SOURCES: tuple[str, ...] = (
    "Exposure as the time integral of pressure x speed: Preston 1927, J. Soc. Glass Technol. 11, 214 (read as quoted "
    "in Ozeki & Mori 2018)",
)

PRESSURES = ("pressure_main", "pressure_centre", "pressure_edge", "pressure_ripple")
SPEEDS = ("speed", "speed_wafer", "speed_stage")
USES = tuple(n for n in MEANING if n.startswith("use_"))

#: A gap between two samples of one wafer longer than this [s] is flagged; only this much of it counts.
LONGEST_STEP = 5.0
LONG_GAP = 60.0
#: A sample is polishing where a zone pressure is above this share of its usual level.
PRESSED = 0.2
#: A removal rate above this many times the median is not credible.
RATE_LIMIT = 5.0


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
        As :func:`~planish.measure.traces.read.read_traces` gives them.
    rates
        As :func:`~planish.measure.traces.read.read_rates` gives them, to be joined.
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
        As :func:`~planish.measure.traces.read.read_traces` gives them.

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
