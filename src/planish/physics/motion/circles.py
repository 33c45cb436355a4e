"""Circles that overlap: shares of a turn, lens and segment areas; under wafers and conditioning disks alike.

Two circles of radii r and R (or X) have their centres d apart. Angles come from sine and cosine
together: an arccosine alone loses half its digits where circles touch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Share of a turn inside a circle, arccos((r^2 + d^2 - X^2)/(2 r d))/pi; area of the lens of two circles: "
    "elementary geometry",
)


def share_inside(r: Array, d: Array | np.float64, X: ArrayLike) -> Array:
    """Return the share of a turn that a point about one centre is near another.

    Parameters
    ----------
    r
        Radius of the point about the one [m].
    d
        Between the centres [m].
    X
        How near counts [m].

    Returns
    -------
    Array
        [1], of the common shape.
    """
    X = np.asarray(X, dtype=np.float64)
    top = r**2 + d**2 - X**2
    side = np.sqrt(_kite_squared(r, d, X)) + np.zeros_like(top)
    return np.asarray(np.where(side == 0, np.where(top <= 0, np.pi, 0.0), np.arctan2(side, top)) / np.pi)


def strip_share(r: Array, d: Array | np.float64, X: Array) -> Array:
    """Return the share of a turn that y = d + r sin(phi) lies near 0.

    Parameters
    ----------
    r, d
        [m].
    X
        How near counts [m].

    Returns
    -------
    Array
        [1], of the common shape.
    """

    def below(limit: Array) -> Array:
        limit, radius = np.broadcast_arrays(limit, r)
        held = np.clip(limit, -radius, radius)
        sine = np.divide(held, radius, out=np.where(limit >= 0, 1.0, -1.0), where=radius > 0)
        return np.asarray(np.arcsin(sine) / np.pi)

    return below(X - d) - below(-X - d)


def segment_area(r: Array, limit: Array) -> Array:
    """Return the area of a circle that lies below a line.

    Parameters
    ----------
    r
        Radius [m].
    limit
        Of the line from the centre [m].

    Returns
    -------
    Array
        [m^2], of the common shape.
    """
    limit, radius = np.broadcast_arrays(limit, r)
    held = np.clip(limit, -radius, radius)
    h = np.divide(held, radius, out=np.zeros(limit.shape), where=radius > 0)
    return np.asarray(radius**2 * (np.pi / 2 + np.arcsin(h) + h * np.sqrt(1 - h**2)))


def lens_area(r: Array, R: Array, d: Array | np.float64) -> Array:
    """Return the area common to two circles.

    Parameters
    ----------
    r, R
        Radii [m].
    d
        Between the centres [m].

    Returns
    -------
    Array
        [m^2], of the common shape.
    """
    r, R, d = np.broadcast_arrays(r, R, d)
    area = np.where(d >= r + R, 0.0, np.pi * np.minimum(r, R) ** 2)
    cross = (d < r + R) & (d > np.abs(r - R))  # only there the angles are worth their time
    r, R, d = r[cross], R[cross], d[cross]
    side = np.sqrt(_kite_squared(r, d, R))
    sectors = r**2 * np.arctan2(side, r**2 + d**2 - R**2) + R**2 * np.arctan2(side, R**2 + d**2 - r**2)
    area[cross] = np.minimum(sectors - 0.5 * side, area[cross])
    return area


def _kite_squared(r: Array, d: Array | np.float64, X: Array) -> Array:
    """(Twice the area of the kite of two centres and two crossings) squared, Heron; 0 without a crossing."""
    return np.asarray(np.clip((r + X - d) * (d + r - X) * (d + X - r) * (d + r + X), 0, None))
