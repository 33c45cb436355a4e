"""What is known of each wafer: ring means before and after the polish, and what the tool wrote beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, counted
from planish.errors import DataError, refuse
from planish.measure.sites.read import SiteMap

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
MOST_RINGS = 14
APART = 1e-3  # [m] radii further apart are two rings
LEAST_SITES = 3
EXTRAS = ("time", "temperature", "friction")
"""Columns beside the thicknesses: 100 times the logarithm of polish time and friction [%], temperature [K]."""


@dataclass(frozen=True, slots=True, repr=False)
class Rings(Record):
    """Circles of sites: ``radius`` (r,) [m] of each and how many sites stand on it (r,)."""

    radius: Array
    sites: Whole

    @property
    def middles(self) -> Array:
        """Radii half-way between rings (r - 1,) [m]."""
        return 0.5 * (self.radius[1:] + self.radius[:-1])


@dataclass(frozen=True, slots=True, repr=False)
class Seen(Record):
    """Measured wafers in the order in which they were polished.

    Attributes
    ----------
    rings
        Where they were measured.
    values
        (wafers, 2 rings + extras): means of the rings before [nm], after [nm], and the ``extras``.
    extras
        Which of :data:`EXTRAS` there are, in their order.
    rows
        Which row each is, counted from 1.
    torque
        Whether the friction is a torque: it goes with the load too.
    """

    rings: Rings
    values: Array
    extras: tuple[str, ...]
    rows: Whole
    torque: bool = False

    @property
    def before(self) -> Array:
        """Means of the rings before [nm], (wafers, rings)."""
        return self.values[:, : self.rings.radius.size]

    @property
    def after(self) -> Array:
        """Means of the rings after [nm], (wafers, rings)."""
        return self.values[:, self.rings.radius.size : 2 * self.rings.radius.size]


def rings_of(one: SiteMap, reach: float) -> Rings:
    """Return the circles on which the sites of a wafer lie.

    Parameters
    ----------
    one
        Its sites.
    reach
        Radius beyond which sites do not count [m].

    Returns
    -------
    Rings
        At most :data:`MOST_RINGS`: of more, neighbours are taken together.

    Raises
    ------
    DataError
        For too few sites.
    """
    r = np.sort(one.r[one.r <= reach + 1e-9])
    if r.size < LEAST_SITES:
        raise DataError(
            f"{one.source}: {counted(r.size, 'site')} inside the edge exclusion: must be {LEAST_SITES} or more"
        )
    number = np.concatenate([[0], np.cumsum(np.diff(r) > APART)])
    if number[-1] >= MOST_RINGS:
        number = np.arange(r.size) * MOST_RINGS // r.size
    sites = np.bincount(number)
    return Rings(np.bincount(number, r) / sites, sites.astype(np.int64))


def means(one: SiteMap, rings: Rings, reach: float) -> Array:
    """Return the mean of each ring [nm], (r,); NaN where a ring has no site.

    Parameters
    ----------
    one
        Sites of a wafer.
    rings
        Of all wafers.
    reach
        Radius beyond which sites do not count [m].
    """
    inside = one.r <= reach + 1e-9
    number = np.searchsorted(rings.middles, one.r[inside])
    count = np.bincount(number, minlength=rings.radius.size)
    with np.errstate(invalid="ignore"):
        return np.asarray(1e9 * np.bincount(number, one.value[inside], rings.radius.size) / count)


def gathered(
    before: Sequence[SiteMap],
    after: Sequence[SiteMap | None],
    reach: float,
    extras: dict[str, Array],
    *,
    torque: bool,
) -> tuple[Seen, list[str]]:
    """Return the wafers as rows of figures, and what was left out.

    Parameters
    ----------
    before, after
        Thickness maps of each wafer in the order of polishing; None where there is none after.
    reach
        Radius beyond which sites do not count [m].
    extras
        Columns by name as :data:`EXTRAS` has them, (wafers,), NaN where nothing was written.
    torque
        Whether the friction is a torque.

    Returns
    -------
    tuple
        Wafers, and notes.

    Raises
    ------
    DataError
        For maps of another quantity, and where no wafer is whole.
    """
    for one in (*before, *(each for each in after if each is not None)):
        if one.quantity != "thickness":
            raise DataError(refuse(f"{one.source}: measured quantity", one.quantity, "thickness"))
    rings = rings_of(before[0], reach)
    nothing = np.full(rings.radius.size, np.nan)
    names = tuple(name for name in EXTRAS if name in extras)
    values = np.stack(
        [
            np.concatenate(
                [
                    means(one, rings, reach),
                    nothing if other is None else means(other, rings, reach),
                    [float(extras[name][at]) for name in names],
                ]
            )
            for at, (one, other) in enumerate(zip(before, after, strict=True))
        ]
    )
    whole = np.all(np.isfinite(values), axis=1)
    if not np.any(whole):
        raise DataError(
            f"{before[0].source}: no wafer has all rings of sites before and after and all columns: must have some"
        )
    rows = np.flatnonzero(whole) + 1
    left = np.flatnonzero(~whole) + 1
    said = []
    if left.size:
        named = ", ".join(str(row) for row in left[:8]) + (" and more" if left.size > 8 else "")
        said.append(f"{counted(left.size, 'wafer')} without all figures left out: {named}")
    return Seen(rings, values[whole], names, rows.astype(np.int64), torque), said
