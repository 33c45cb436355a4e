"""Plain figures of each polish for learned models: whole polish, and by place of the chamber in its route.

All are in the trace's own unit, not scaled by what is usual in a file, so
that wafers of two files compare. All samples count, pressed or not: some
polishes show no pressure at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

#: A phase is cut here [s]: a wafer that waited inside its trace is no longer polish.
LONGEST_PHASE = 2000.0


def phase_figures(samples: pl.DataFrame, position: Mapping[str, int], channels: list[str]) -> pl.DataFrame:
    """Return one row a polish: wafer, stage and its figures.

    Parameters
    ----------
    samples
        Ordered in time within each polish, repeats taken out.
    position
        Chamber -> place in its route (1 first); chambers not in it have no phase of their own.
    channels
        Columns to describe.

    Returns
    -------
    pl.DataFrame
        Columns ``whole_mean_*``, ``whole_sd_*``, ``whole_max_*`` over the polish, and ``phase_mean_*_k``,
        ``phase_span_k`` [s], ``phase_samples_k`` at place k. Null where nothing was recorded.
    """
    import polars as pl

    key = ["wafer", "stage"]
    out = samples.group_by(key).agg(
        *(pl.col(c).mean().alias(f"whole_mean_{c}") for c in channels),
        *(pl.col(c).std().alias(f"whole_sd_{c}") for c in channels),
        *(pl.col(c).max().alias(f"whole_max_{c}") for c in channels),
    )
    placed = samples.with_columns(
        place=pl.col("chamber").replace_strict(dict(position), default=None, return_dtype=pl.Int32)
    )
    long = placed.group_by([*key, "place"]).agg(
        *(pl.col(c).mean().alias(f"phase_mean_{c}") for c in channels if not c.startswith("use_")),
        (pl.col("time").max() - pl.col("time").min()).clip(0.0, LONGEST_PHASE).alias("phase_span"),
        pl.len().cast(pl.Float64).alias("phase_samples"),
    )
    for k in sorted(set(position.values())):
        part = long.filter(pl.col("place") == k).drop("place")
        named = part.rename({c: f"{c}_{k}" for c in part.columns if c not in key})
        out = out.join(named, on=key, how="left")
    return out.sort(key)
