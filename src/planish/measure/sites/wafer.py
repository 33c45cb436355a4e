"""One measured wafer as figures: the same keys as a predicted one."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from planish.engine.record import counted, figure, shortened
from planish.errors import DataError, refuse
from planish.measure.sites import outliers, statistics
from planish.measure.sites.column_map import ColumnMap, column_map
from planish.measure.sites.outliers import Flag, flag
from planish.measure.sites.pairing import TOLERANCE, Paired, pair
from planish.measure.sites.read import SiteMap, read_sites
from planish.results.result import Result
from planish.units import NM_PER_MIN, as_si

if TYPE_CHECKING:
    import xarray as xr

TIMES = (1e-3, 1e7)  # [s] what can be a polish time

SOURCES: tuple[str, ...] = (*statistics.SOURCES, *outliers.SOURCES)


@dataclass(frozen=True, eq=False, repr=False)
class MeasuredWafer(Result, Mapping[str, object]):
    """What was measured on one wafer: its sites, and its figures by name (``wafer["mean_removed_nm"]``).

    The figures are those of :meth:`summary`.

    Attributes
    ----------
    paired
        Its sites.
    time
        Of polishing [s], None where nobody gave it.
    """

    kind: ClassVar[str] = "measured wafer"

    paired: Paired
    time: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "_figures", summarise(self.paired, self.time))

    @property
    def removal(self) -> SiteMap:
        """The removal [m] at the sites that both files have, with the polish time."""
        stated = self._known()["time_s"]
        return self.paired.removal if stated is None else replace(self.paired.removal, polish_time=stated)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was left out or flagged, and what is not known."""
        return tuple(self._known()["notes"])

    def sources(self) -> list[str]:
        """Return the files and methods that the figures rest on, one line each."""
        return list(self._known()["sources"])

    def _content(self) -> dict[str, Any]:
        """Return the figures: the keys of a predicted wafer where they mean the same, each ends in its unit."""
        known = deepcopy(dict(self._known()))
        return {key: value for key, value in known.items() if key not in ("notes", "sources")}

    def dataset(self) -> xr.Dataset:
        """Return the figures, and the removal over the sites, in SI."""
        sites = self.removal
        known = {} if sites.wafer_radius is None else {"wafer_radius": sites.wafer_radius}
        return Result.dataset(self).assign(sites.variables()).assign_attrs(source=sites.source, **known)

    def __getitem__(self, key: str) -> object:
        return deepcopy(self._known()[key])

    def __iter__(self) -> Iterator[str]:
        return iter(self._known())

    def __len__(self) -> int:
        return len(self._known())

    def _known(self) -> Mapping[str, Any]:
        known: Mapping[str, Any] = self.__dict__["_figures"]
        return known

    def _told(self) -> str:
        known = self._known()
        rate, even = known["mean_removal_rate_nm_per_min"], known["wiwnu_sigma_percent"]
        return (
            f"{shortened(self.paired.removal.source, 100)}, {counted(known['sites'], 'site')}: "
            f"{figure(known['mean_removed_nm'], 'nm')} removed ({figure(rate, 'nm/min')}), "
            f"WIWNU {figure(even, '%', 3)} (1σ), {len(known['flags'])} flagged"
        )


def measure_wafer(
    before: str | os.PathLike[str] | SiteMap,
    after: str | os.PathLike[str] | SiteMap,
    time_s: float | str | None = None,
    tolerance: float | str = TOLERANCE,
    *,
    columns: ColumnMap | Mapping[str, str | Mapping[str, str]] | str | os.PathLike[str] | None = None,
    wafer: str | None = None,
) -> MeasuredWafer:
    """Read two thickness files and return the measured removal with its figures.

    The keys are those of a predicted wafer where they mean the same; what a
    gauge cannot know is None. The rate needs the polish time, from ``time_s``
    [s] or a ``# polish_time: 60 s`` line in either file; without one,
    ``mean_removal_rate_nm_per_min`` is None and ``notes`` says so.

    Parameters
    ----------
    before, after
        The files, as :func:`~planish.measure.sites.read.read_sites` reads them, or what it gave.
    time_s
        Polish time [s], or text as ``"60 s"``; goes before what the files say.
    tolerance
        How far [m] the two positions of one site may lie apart.
    columns, wafer
        For both files, as :func:`~planish.measure.sites.read.read_sites` takes them.

    Returns
    -------
    MeasuredWafer
        A mapping of the figures, with ``removal`` site by site.

    Raises
    ------
    DataError
        As :func:`~planish.measure.sites.read.read_sites` and :func:`~planish.measure.sites.pairing.pair`, if the
        time is not above zero, and if the mean removal is not above zero.
    """
    time = None if time_s is None else polish_time(time_s)
    told = column_map(columns)
    first, second = (
        m if isinstance(m, SiteMap) else read_sites(m, columns=told, wafer=wafer) for m in (before, after)
    )
    return MeasuredWafer(pair(first, second, tolerance), time)


def summarise(paired: Paired, time_s: float | None = None) -> dict[str, Any]:
    """Return the figures of a paired wafer; see :func:`measure_wafer`.

    Parameters
    ----------
    paired
        Its sites.
    time_s
        Of polishing [s], if known.

    Returns
    -------
    dict[str, Any]
        Flat, JSON-ready.

    Raises
    ------
    DataError
        If the mean removal is not above zero, or the time is not.
    """
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
        time = polish_time(time)
    flags = flag(removal)
    notes = list(removal.understood)
    if time is not None and removal.polish_time is not None and time != removal.polish_time:
        notes.append(
            f"polish time: {time:.4g} s as given goes before the {removal.polish_time:.4g} s stated with the sites"
        )
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
        notes.append(
            f"{_sites(len(flags))} flagged; counted in the figures of the measured wafer, but for those without flagged sites"
        )
        keep = np.ones(len(removal), dtype=bool)
        keep[[f.row for f in flags]] = False
        clean = statistics.wafer_statistics(removal.value[keep]) if keep.sum() >= 2 else None
    negative = int(np.sum(removal.value < 0))
    if negative:
        notes.append(f"{_sites(negative)} thicker after the polish; counted all the same")
    return {
        "mean_removal_rate_nm_per_min": None if time is None else s.mean / time * NM_PER_MIN,
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


def polish_time(given: float | str) -> float:
    """Return a polish time from what was given.

    Parameters
    ----------
    given
        Seconds, or text as ``"60 s"``.

    Returns
    -------
    float
        [s].

    Raises
    ------
    DataError
        For what is no time, or none that a polish can take.
    """
    time = as_si(given, "time", "polish time")
    if not TIMES[0] <= time <= TIMES[1]:
        raise DataError(
            refuse("polish time", f"{time:g} s", f"from {TIMES[0]:g} s to {TIMES[1]:g} s", "such as '60 s'")
        )
    return time


def _as_dict(f: Flag) -> dict[str, Any]:
    return {"site": f.site, "reason": f.reason, "score": f.score}


def _sites(count: int) -> str:
    return "1 site is" if count == 1 else f"{count} sites are"
