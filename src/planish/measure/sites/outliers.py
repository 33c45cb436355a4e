"""Sites and rows that do not look right: flagged with the reason, never dropped.

The test is robust (median and median absolute deviation), so that one bad
site cannot hide itself or another.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.measure.sites.read import SiteMap
from planish.measure.sites.zernike import basis, terms
from planish.measure.tables.read import number, read_table
from planish.units import NM_PER_MIN

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17: modified z-score 0.6745 (x - median)/MAD, "
    "flag above 3.5 (Iglewicz & Hoaglin 1993)",
)

LIMIT = 3.5
#: Sites within this [m] of each other in radius lie on one ring.
SAME_RADIUS = 1e-3
#: Above this number of sites rings are taken as whole millimetres.
MANY_SITES = 2000
#: Gauges repeat to about this share of the value; smaller misfits are never flagged.
REPEATABILITY = 1e-4


@dataclass(frozen=True, slots=True)
class Flag:
    """One flagged site or row: its number, name, why, and the modified z-score (or count)."""

    row: int
    site: str
    reason: str
    score: float


def modified_z(values: Array, fitted: int = 1) -> Array:
    """Return 0.6745 (x - median)/MAD; zero everywhere if all values agree.

    Parameters
    ----------
    values
        Of any shape.
    fitted
        Number of parameters whose fit left these values: a fit by least absolute deviations makes as many
        residuals exactly zero, which say nothing of the spread and are not counted in the MAD.

    Returns
    -------
    Array
        Shape as ``values``.

    Notes
    -----
    Where the MAD is zero the mean absolute deviation takes its place (factor 0.7979, normal data).
    """
    v = np.asarray(values, dtype=np.float64)
    off = v - np.median(v)
    mad = float(np.median(np.sort(np.abs(off))[fitted - 1 :]))
    if mad > 0:
        return 0.6745 * off / mad
    mean = float(np.mean(np.abs(off)))
    return 0.7979 * off / mean if mean > 0 else np.zeros_like(v)


def flag(site_map: SiteMap, limit: float = LIMIT) -> tuple[Flag, ...]:
    """Return the sites that stand out from a smooth surface through the others.

    Parameters
    ----------
    site_map
        Of one wafer.
    limit
        Of the modified z-score.

    Returns
    -------
    tuple[Flag, ...]
        The sites, and why.

    Notes
    -----
    A low-order Zernike surface is fitted by least absolute deviations (so the bowl or tilt of a real wafer
    is not mistaken for outliers), and sites whose residual has a modified z-score above ``limit``, and
    which also stand apart from the sites of their own radius, are flagged, as are runs of three or more
    consecutive sites with the very same value (a gauge that stuck). A site at the centre has no others of its radius,
    and rings fix the surface without it: it has to stand off by more than the two innermost rings differ. With fewer than eight sites no surface
    is fitted and the values themselves are judged.
    """
    n = len(site_map)
    surface, fitted = _robust_surface(site_map)
    residual = site_map.value - surface
    floor = REPEATABILITY * float(np.median(np.abs(site_map.value)))
    # Sites the surface leans on have small residuals and others large ones: allow for it.
    shrink = np.sqrt(1 - fitted / n)
    z = modified_z(residual, fitted) * shrink
    # A fast edge is steeper than the surface can follow, but then all of its ring stands out alike.
    apart = modified_z(residual - _ring_level(site_map.r, residual), fitted) * shrink
    lone = _centre_room(site_map.r, site_map.value)
    unit, scale = ("nm/min", NM_PER_MIN) if site_map.quantity == "rate" else ("nm", 1e9)
    flags = [
        Flag(
            i,
            site_map.site[i],
            f"{scale * residual[i]:+.3g} {unit} off the smooth surface of the other sites",
            float(z[i]),
        )
        for i in range(n)
        if min(abs(z[i]), abs(apart[i])) > limit and abs(residual[i]) > max(floor, lone[i])
    ]
    if np.ptp(site_map.value) > 0:
        flags += [
            Flag(
                i,
                site_map.site[i],
                f"one of {length} consecutive sites with the very same value",
                float(length),
            )
            for start, length in _runs(site_map.value)
            if length >= 3
            for i in range(start, start + length)
        ]
    return tuple(sorted(flags, key=lambda f: f.row))


def flag_rows(table: Array, limit: float = LIMIT) -> tuple[Flag, ...]:
    """Return the rows of a table that stand out.

    Parameters
    ----------
    table
        Wafers or batches by sites, (rows, sites).
    limit
        Of the modified z-score.

    Returns
    -------
    tuple[Flag, ...]
        The rows, and why.

    Raises
    ------
    DataError
        If the table is not two-dimensional and finite with three rows or more.

    Notes
    -----
    By mean, by range, by the worst single cell against its column and its row's mean, or because a row
    repeats an earlier one to every digit.
    """
    t = np.asarray(table, dtype=np.float64)
    if t.ndim != 2 or t.shape[0] < 3 or not np.all(np.isfinite(t)):
        raise DataError(
            f"a table of shape {t.shape} cannot be judged: three rows or more of finite values are needed"
        )
    flags: list[Flag] = []
    mean = t.mean(axis=1)
    inside = t - mean[:, None]
    cell = np.column_stack([modified_z(column) for column in inside.T])
    for name, z in (("mean", modified_z(mean)), ("range over the sites", modified_z(np.ptp(t, axis=1)))):
        flags += [
            Flag(int(i), str(i + 1), f"its {name} stands out", float(z[i]))
            for i in np.flatnonzero(np.abs(z) > limit)
        ]
    worst = np.argmax(np.abs(cell), axis=1)
    # Over all sites the largest of many scores is judged, so the limit grows with their number.
    wide = limit + np.sqrt(2 * np.log(t.shape[1]))
    for i in range(len(t)):
        score = float(cell[i, worst[i]])
        if abs(score) > wide:
            flags.append(
                Flag(i, str(i + 1), f"site {worst[i] + 1} stands out from the rest of its row", score)
            )
    seen: dict[bytes, int] = {}
    for i, row in enumerate(t):
        first = seen.setdefault(row.tobytes(), i)
        if first != i:
            flags.append(Flag(i, str(i + 1), f"repeats row {first + 1} to every digit", 1.0))
    return tuple(sorted(flags, key=lambda f: f.row))


def read_rows(path: Path) -> Array:
    """Return a table of wafers or batches by sites.

    Parameters
    ----------
    path
        A row each, a column a site, all numbers in one unit.

    Returns
    -------
    Array
        (rows, sites).

    Raises
    ------
    DataError
        If the file cannot be read, or a cell is no number.
    """
    table = read_table(path)
    out = np.empty((len(table.lines), len(table.header)))
    for j, (name, column) in enumerate(zip(table.header, table.columns, strict=True)):
        for i, (text, line) in enumerate(zip(column, table.lines, strict=True)):
            try:
                out[i, j] = number(text)
            except ValueError:
                raise DataError(
                    refuse(f"{path}: line {line}: {name}", text, "a number, as every cell of a table of rows")
                ) from None
    return out


def _robust_surface(site_map: SiteMap) -> tuple[Array, int]:
    """Least-absolute-deviation surface through the sites, of as high an order as they carry.

    Returns its values at the sites and its number of parameters.
    """
    n = len(site_map)
    radius = float(site_map.r.max())
    if n < 8 or radius <= 0:
        return np.full(n, float(np.median(site_map.value))), 1
    order = max(k for k in (1, 2, 4) if k == 1 or 3 * terms(k) <= n)
    a = basis(site_map.x, site_map.y, radius, order)
    if order == 1:  # few sites: a bowl matters more than a tilt
        a = np.column_stack([np.ones(n), (site_map.r / radius) ** 2])
    scale = float(np.median(np.abs(site_map.value))) or 1.0
    b = site_map.value / scale
    # On a line or one ring some polynomials coincide: work in the span of the independent ones.
    u, s, _ = np.linalg.svd(a, full_matrices=False)
    q = u[:, s > 1e-9 * s[0]]
    fit = q @ (q.T @ b)
    for _ in range(100):  # reweighted least squares: converges to least absolute deviations
        w = 1 / np.sqrt(np.maximum(np.abs(b - fit), 1e-9))
        c, *_ = np.linalg.lstsq(q * w[:, None], b * w, rcond=None)
        new = q @ c
        done = np.max(np.abs(new - fit)) < 1e-10
        fit = new
        if done:
            break
    return fit * scale, q.shape[1]


def _ring_level(r: Array, residual: Array) -> Array:
    """Median residual of the other sites of the same radius; of the two next in radius if there are none."""
    out = np.empty_like(residual)
    if len(r) > MANY_SITES:  # dense maps: the median of each millimetre of radius, the site itself included
        ring = np.floor(r / SAME_RADIUS).astype(np.int64)
        order = np.argsort(ring, kind="stable")
        edges = np.flatnonzero(np.diff(ring[order])) + 1
        for rows in np.split(order, edges):
            out[rows] = np.median(residual[rows])
        return out
    for i in range(len(r)):
        away = np.abs(r - r[i])
        away[i] = np.inf
        mates = np.flatnonzero(away < SAME_RADIUS)
        if not len(mates):
            mates = np.argsort(away, kind="stable")[: min(2, len(r) - 1)]
        out[i] = np.median(residual[mates]) if len(mates) else 0.0
    return out


def _centre_room(r: Array, values: Array) -> Array:
    """Return how far a lone site at the centre may be off the surface, by how much the two rings next to it differ; else 0."""
    room = np.zeros_like(r)
    centre = np.flatnonzero(r < SAME_RADIUS)
    if centre.size != 1 or len(r) > MANY_SITES:
        return room
    order = np.argsort(r, kind="stable")[1:]
    rings = np.split(order, np.flatnonzero(np.diff(r[order]) > SAME_RADIUS) + 1)
    levels = [float(np.median(values[ring])) for ring in rings if ring.size >= 3]
    if len(levels) > 1:
        room[centre] = abs(levels[1] - levels[0])
    return room


def _runs(values: Array) -> list[tuple[int, int]]:
    """Return (start, length) of runs of equal neighbours."""
    edges = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1], [True]]))
    return [(int(a), int(b - a)) for a, b in itertools.pairwise(edges)]
