"""Before and after: pair two site maps of one wafer and take the removal.

Sites are paired by name where both files name them, else by position. What
finds no partner is reported, not guessed.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

import numpy as np

from planish.engine.record import Record, counted, figure
from planish.errors import DataError, refuse
from planish.measure.sites.column_map import ColumnMap
from planish.measure.sites.read import SiteMap, read_sites
from planish.units import as_si

#: Two sites of the same name or place may differ by this much [m] between the files.
TOLERANCE = 1e-4
#: [m] A tolerance as wide as a wafer would pair anything with anything.
FARTHEST = 0.05


@dataclass(frozen=True, slots=True, repr=False)
class Paired(Record):
    """Removal at the sites both maps have, and the names of those that only one has."""

    removal: SiteMap
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    by: str

    def _told(self) -> str:
        mean = figure(1e9 * float(np.mean(self.removal.value)), "nm")
        alone = len(self.only_before) + len(self.only_after)
        return f"mean removal {mean} at {counted(len(self.removal), 'site')} paired by {self.by}, {alone} without a partner"


def read_removal(
    before: str | os.PathLike[str],
    after: str | os.PathLike[str] | None = None,
    columns: ColumnMap | None = None,
    wafer: str | None = None,
) -> Paired:
    """Return the measured removal of one wafer from its site files.

    Parameters
    ----------
    before, after
        Site files of the thickness before and after the polish; or one file that holds the removal.
    columns, wafer
        What the files do not say of themselves, and which wafer of them.

    Returns
    -------
    Paired
        At the sites that both have.

    Raises
    ------
    DataError
        For a file that cannot be used, two that do not pair up, or one alone that holds no removal.
    """
    first = read_sites(before, columns=columns, wafer=wafer)
    return paired(first, None if after is None else read_sites(after, columns=columns, wafer=wafer))


def paired(first: SiteMap, second: SiteMap | None) -> Paired:
    """Return the removal of two maps of one wafer, or of the one that holds it.

    Parameters
    ----------
    first, second
        Thickness before and after the polish; or the removal, and None.

    Raises
    ------
    DataError
        For two that do not pair up, or one alone that holds no removal.
    """
    if second is not None:
        return pair(first, second)
    if first.quantity != "removal":
        raise DataError(
            refuse(
                f"{first.source}: measured quantity",
                first.quantity,
                "removal, where no second file is given",
                "give the file from after the polish too",
            )
        )
    return Paired(first, (), (), "site name")


def pair(before: SiteMap, after: SiteMap, tolerance: float | str = TOLERANCE) -> Paired:
    """Return the removal (before minus after) site by site.

    Parameters
    ----------
    before, after
        Thickness maps of one wafer.
    tolerance
        How far [m] the two positions of one site may lie apart, or text as ``"0.1 mm"``.

    Returns
    -------
    Paired
        Removal at the sites that both have.

    Raises
    ------
    DataError
        If either is no thickness map, a site of one name lies in two places,
        or fewer than two sites pair up.
    """
    tolerance = as_si(tolerance, "length", "tolerance")
    if not 0 < tolerance < FARTHEST:
        raise DataError(
            refuse(
                "tolerance [m]", tolerance, f"above 0 and below {FARTHEST:g}", f"{TOLERANCE:g} unless given"
            )
        )
    for m in (before, after):
        if m.quantity != "thickness":
            raise DataError(refuse(f"{m.source}: measured quantity", m.quantity, "thickness, to be paired"))
    both_named = before.named_sites and after.named_sites
    alike = both_named and before.site == after.site  # as most are; it is quick
    if alike:
        pairs, by = [(i, i) for i in range(len(before))], "site name"
    elif both_named and set(before.site) & set(after.site):
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
    b = np.arange(len(pairs)) if alike else np.array([p[0] for p in pairs])
    a = b if alike else np.array([p[1] for p in pairs])
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
    one, other = before.wafer_radius, after.wafer_radius
    if one is not None and other is not None and one != other:
        raise DataError(
            f"{after.source}: wafer {2e3 * other:g} mm differs from {2e3 * one:g} mm in {before.source}: "
            "must be the same wafer"
        )
    taken_b, taken_a = set(b.tolist()), set(a.tolist())
    removal = SiteMap(
        x=before.x[b],
        y=before.y[b],
        value=before.value[b] - after.value[a],
        site=before.site if alike else tuple(before.site[i] for i in b),
        quantity="removal",
        unit=before.unit,
        source=f"{before.source} minus {after.source}",
        named_sites=before.named_sites,
        polish_time=next(iter(times), None),
        wafer_radius=before.wafer_radius or after.wafer_radius,
        understood=_understood(before, after),
    )
    return Paired(
        removal,
        tuple(s for i, s in enumerate(before.site) if i not in taken_b),
        tuple(s for i, s in enumerate(after.site) if i not in taken_a),
        by,
    )


def _understood(before: SiteMap, after: SiteMap) -> tuple[str, ...]:
    """How both files were understood, once where it is the same."""
    if before.understood == after.understood:
        return tuple(f"both files {line}" for line in before.understood)
    return tuple(
        f"file {when} {line}"
        for when, one in (("before", before), ("after", after))
        for line in one.understood
    )


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
