"""Before and after: pair two site maps of one wafer and take the removal.

Sites are paired by name where both files name them, else by position. What
finds no partner is reported, not guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from planish.errors import DataError, refuse
from planish.measure import statistics
from planish.measure.outliers import Flag, flag
from planish.measure.sites import SiteMap, read_sites

#: Two sites of the same name or place may differ by this much [m] between the files.
TOLERANCE = 1e-4


@dataclass(frozen=True, slots=True)
class Paired:
    """Removal at the sites both maps have, and the names of those that only one has."""

    removal: SiteMap
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    by: str


def pair(before: SiteMap, after: SiteMap, tolerance: float = TOLERANCE) -> Paired:
    """Return the removal (before minus after) site by site.

    Parameters
    ----------
    before, after:
        Thickness maps of one wafer.
    tolerance:
        How far [m] the two positions of one site may lie apart.

    Raises
    ------
    DataError
        If either is no thickness map, a site of one name lies in two places,
        or fewer than two sites pair up.
    """
    for m in (before, after):
        if m.quantity != "thickness":
            raise DataError(refuse(f"{m.source}: measured quantity", m.quantity, "thickness, to be paired"))
    if before.named_sites and after.named_sites and set(before.site) & set(after.site):
        index = {name: i for i, name in enumerate(after.site)}
        pairs = [(i, index[name]) for i, name in enumerate(before.site) if name in index]
        by = "site name"
    else:
        pairs, by = _by_position(before, after, tolerance), "position"
    if len(pairs) < 2:
        raise DataError(
            f"{before.source} and {after.source}: only {len(pairs)} of {len(before)} and {len(after)} "
            f"sites pair up "
            f"by {by} (are they the same wafer and the same site plan?)"
        )
    b = np.array([p[0] for p in pairs])
    a = np.array([p[1] for p in pairs])
    apart = np.hypot(before.x[b] - after.x[a], before.y[b] - after.y[a])
    worst = int(np.argmax(apart))
    if apart[worst] > tolerance:
        raise DataError(
            f"{after.source}: site {after.site[a[worst]]!r} lies {1e3 * apart[worst]:.3g} mm from where "
            f"{before.source} has it: must be within {1e3 * tolerance:g} mm (same wafer, same notch "
            f"direction?)"
        )
    times = {m.polish_time for m in (before, after)} - {None}
    if len(times) > 1:
        raise DataError(
            f"{after.source}: polish_time {after.polish_time:g} s differs from {before.polish_time:g} s in "
            f"{before.source} (state it once)"
        )
    taken_b, taken_a = set(b.tolist()), set(a.tolist())
    removal = SiteMap(
        x=before.x[b],
        y=before.y[b],
        value=before.value[b] - after.value[a],
        site=tuple(before.site[i] for i in b),
        quantity="removal",
        unit=before.unit,
        source=f"{before.source} minus {after.source}",
        named_sites=before.named_sites,
        polish_time=next(iter(times), None),
        wafer_radius=before.wafer_radius or after.wafer_radius,
    )
    return Paired(
        removal,
        tuple(s for i, s in enumerate(before.site) if i not in taken_b),
        tuple(s for i, s in enumerate(after.site) if i not in taken_a),
        by,
    )


def measure_wafer(
    before: str | Path, after: str | Path, time_s: float | None = None, tolerance: float = TOLERANCE
) -> dict[str, Any]:
    """Read two thickness files and return the figures of the measured removal.

    The keys are those of a predicted wafer where they mean the same; what a
    gauge cannot know is None. The rate needs the polish time, from ``time_s``
    [s] or a ``# polish_time: 60 s`` line in either file; without one,
    ``mean_removal_rate_nm_per_min`` is None and ``notes`` says so.

    Raises
    ------
    DataError
        As :func:`~planish.measure.sites.read_sites` and :func:`pair`, if the
        time is not above zero, and if the mean removal is not above zero.
    """
    if time_s is not None and not (np.isfinite(time_s) and time_s > 0):
        raise DataError(refuse("polish time [s]", time_s, "above 0"))
    paired = pair(read_sites(before), read_sites(after), tolerance)
    return summarise(paired, time_s)


def summarise(paired: Paired, time_s: float | None = None) -> dict[str, Any]:
    """Return the figures of a paired wafer as a flat JSON-ready dict; see :func:`measure_wafer`."""
    removal = paired.removal
    try:
        s = statistics.wafer_statistics(removal.value)
    except DataError as error:
        raise DataError(f"{removal.source}: {error}") from None
    time = time_s if time_s is not None else removal.polish_time
    flags = flag(removal)
    notes = []
    if time is None:
        notes.append(
            "no polish time was given, so no rate: give --time or a line '# polish_time: 60 s' in a file; "
            "mean_removal_nm is the removal itself"
        )
    for names, where in ((paired.only_before, "before"), (paired.only_after, "after")):
        if names:
            shown = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
            notes.append(
                f"{len(names)} sites are only in the file {where} the polish and were left out: {shown}"
            )
    clean: statistics.WaferStatistics | None = None
    if flags:
        notes.append(
            f"{len(flags)} sites are flagged; they are counted in every figure but those 'without_flagged'"
        )
        keep = np.ones(len(removal), dtype=bool)
        keep[[f.row for f in flags]] = False
        clean = statistics.wafer_statistics(removal.value[keep]) if keep.sum() >= 2 else None
    negative = int(np.sum(removal.value < 0))
    if negative:
        notes.append(f"{negative} sites grew thicker; they are counted as they are")
    return {
        "mean_removal_rate_nm_per_min": None if time is None else s.mean * 1e9 / (time / 60),
        "mean_removal_nm": s.mean * 1e9,
        "wiwnu_sigma_percent": s.wiwnu_sigma_percent,
        "wiwnu_range_percent": s.wiwnu_range_percent,
        "wiwnu_sigma_percent_without_flagged": None if clean is None else clean.wiwnu_sigma_percent,
        "wiwnu_range_percent_without_flagged": None if clean is None else clean.wiwnu_range_percent,
        "sigma_nm": s.sigma * 1e9,
        "minimum_nm": s.minimum * 1e9,
        "maximum_nm": s.maximum * 1e9,
        "mean_speed_m_per_s": None,
        "peak_temperature_C": None,
        "time_s": time,
        "sites": s.sites,
        "sites_unmatched": len(paired.only_before) + len(paired.only_after),
        "paired_by": paired.by,
        "flags": [_as_dict(f) for f in flags],
        "notes": notes,
        "sources": [f"measured: {removal.source}", *statistics.SOURCES],
    }


def _as_dict(f: Flag) -> dict[str, Any]:
    return {"site": f.site, "reason": f.reason, "score": f.score}


def _by_position(before: SiteMap, after: SiteMap, tolerance: float) -> list[tuple[int, int]]:
    from scipy.spatial import cKDTree

    tree = cKDTree(np.column_stack([after.x, after.y]))
    distance, index = tree.query(np.column_stack([before.x, before.y]), distance_upper_bound=tolerance)
    found = [
        (i, int(j), float(d)) for i, (j, d) in enumerate(zip(index, distance, strict=True)) if np.isfinite(d)
    ]
    best: dict[int, tuple[int, float]] = {}
    for i, j, d in found:  # two sites before may claim one after: the nearer keeps it
        if j not in best or d < best[j][1]:
            best[j] = (i, d)
    return sorted((i, j) for j, (i, _) in best.items())
