"""One measured wafer as figures: the same keys as a predicted one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from planish.errors import DataError, refuse
from planish.measure import outliers, statistics
from planish.measure.outliers import Flag, flag
from planish.measure.pairing import TOLERANCE, Paired, pair
from planish.measure.sites import read_sites

TIMES = (1e-3, 1e7)  # [s] what can be a polish time

SOURCES: tuple[str, ...] = (*statistics.SOURCES, *outliers.SOURCES)


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
        As :func:`~planish.measure.sites.read_sites` and :func:`~planish.measure.pairing.pair`, if the
        time is not above zero, and if the mean removal is not above zero.
    """
    if time_s is not None:
        _check_time(time_s)
    paired = pair(read_sites(before), read_sites(after), tolerance)
    return summarise(paired, time_s)


def summarise(paired: Paired, time_s: float | None = None) -> dict[str, Any]:
    """Return the figures of a paired wafer as a flat JSON-ready dict; see :func:`measure_wafer`."""
    removal = paired.removal
    mean = float(np.mean(removal.value))
    if mean <= 0:
        raise DataError(
            f"{removal.source}: mean removal = {mean * 1e9:.6g} nm: must be above zero (are the files before "
            "and after the polish the wrong way round?)"
        )
    try:
        s = statistics.wafer_statistics(removal.value)
    except DataError as error:
        raise DataError(f"{removal.source}: {error}") from None
    time = time_s if time_s is not None else removal.polish_time
    if time is not None:
        _check_time(time)
    flags = flag(removal)
    notes = []
    if time is None:
        notes.append(
            "no polish time was given, so no rate: give --time or a line '# polish_time: 60 s' in a file; "
            "mean_removed_nm is the removal itself"
        )
    for names, where in ((paired.only_before, "before"), (paired.only_after, "after")):
        if names:
            shown = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
            notes.append(f"{_sites(len(names))} only in the file {where} the polish and left out: {shown}")
    clean: statistics.WaferStatistics | None = None
    if flags:
        notes.append(f"{_sites(len(flags))} flagged; counted in every figure but those 'without_flagged'")
        keep = np.ones(len(removal), dtype=bool)
        keep[[f.row for f in flags]] = False
        clean = statistics.wafer_statistics(removal.value[keep]) if keep.sum() >= 2 else None
    negative = int(np.sum(removal.value < 0))
    if negative:
        notes.append(f"{_sites(negative)} thicker after the polish; counted all the same")
    return {
        "mean_removal_rate_nm_per_min": None if time is None else s.mean * 1e9 / (time / 60),
        "mean_removed_nm": s.mean * 1e9,
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
        "sources": [f"measured: {removal.source}", *SOURCES],
    }


def _check_time(time: float) -> None:
    if not (np.isfinite(time) and TIMES[0] <= time <= TIMES[1]):
        raise DataError(
            refuse("polish time [s]", time, f"above 0, from {TIMES[0]:g} to {TIMES[1]:g}", "as --time '60 s'")
        )


def _as_dict(f: Flag) -> dict[str, Any]:
    return {"site": f.site, "reason": f.reason, "score": f.score}


def _sites(count: int) -> str:
    return "1 site is" if count == 1 else f"{count} sites are"
