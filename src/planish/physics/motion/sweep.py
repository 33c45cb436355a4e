"""Where the conditioning disk is, and for how long: swing arms, linear slides, dwell tables.

A position is the distance [m] of the disk's centre from the pad's axis, or
from the belt's centre line. A slide moves along it directly. An arm swings
about a pivot at distance P from the pad's axis with arm length L, so that

    c(theta)^2 = P^2 + L^2 - 2 P L cos(theta).

A sinusoidal sweep is sinusoidal in what the drive moves: the slide's position
or the arm's angle. A dwell table gives the time spent in each zone of
position; inside a zone the drive runs evenly.
"""

from __future__ import annotations

from collections.abc import Callable
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Swing arm by the law of cosines; sinusoidal or tabled sweep: elementary kinematics",
)


def swing_angle(position: ArrayLike, pivot_distance: float, arm_length: float) -> Array:
    """Return the arm angle that puts the disk's centre at a distance from the pad's axis.

    Parameters
    ----------
    position
        Of the disk's centre [m].
    pivot_distance, arm_length
        Of the arm [m].

    Returns
    -------
    Array
        theta [rad], 0 to pi, shape as ``position``.

    Raises
    ------
    ModelError
        Where the arm does not reach.
    """
    c = np.asarray(position, dtype=np.float64)
    above_zero("sweep pivot distance [m]", pivot_distance)
    above_zero("sweep arm length [m]", arm_length)
    cosine = (pivot_distance**2 + arm_length**2 - c**2) / (2.0 * pivot_distance * arm_length)
    if np.any(np.abs(cosine) > 1.0 + 1e-12):
        low, high = abs(pivot_distance - arm_length), pivot_distance + arm_length
        bad = float(c.flat[int(np.argmax(np.abs(cosine)))])
        raise ModelError(
            refuse("sweep position [m]", bad, f"{low:.4g} to {high:.4g} m", "the reach of the arm")
        )
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def swing_position(angle: ArrayLike, pivot_distance: float, arm_length: float) -> Array:
    """Return the distance of the disk's centre from the pad's axis.

    Parameters
    ----------
    angle
        Of the arm [rad].
    pivot_distance, arm_length
        Of the arm [m].

    Returns
    -------
    Array
        [m], shape as ``angle``.
    """
    theta = np.asarray(angle, dtype=np.float64)
    squared = pivot_distance**2 + arm_length**2 - 2.0 * pivot_distance * arm_length * np.cos(theta)
    return np.sqrt(np.maximum(squared, 0.0))


def dwell_shares(
    kind: str,
    inner: float,
    outer: float,
    *,
    pivot_distance: float = 0.0,
    arm_length: float = 0.0,
    zone_edges: ArrayLike | None = None,
    zone_dwell: ArrayLike | None = None,
    points: int = 160,
) -> tuple[Array, Array]:
    """Return where the disk's centre is for which share of time.

    Parameters
    ----------
    kind
        "arm" or "slide".
    inner, outer
        Ends of a sinusoidal sweep [m]; not used where a table is given.
    pivot_distance, arm_length
        Of the arm [m].
    zone_edges, zone_dwell
        Dwell table: m+1 increasing positions [m] and m relative times, none below 0.
    points
        Number of positions (about; at least 4 a zone).

    Returns
    -------
    tuple[Array, Array]
        Positions (m,) [m], and shares of time (m,) summing to 1.

    Raises
    ------
    ModelError
        Where the ends, the arm or the table make no sense.
    """
    to_drive, from_drive = _drive(kind, pivot_distance, arm_length)
    if zone_edges is None and zone_dwell is None:
        if not outer >= inner:
            raise ModelError(refuse("sweep inner, outer [m]", (inner, outer), "inner at most outer"))
        low, high = to_drive(np.array([inner, outer]))
        phase = (np.arange(points) + 0.5) * pi / points
        return from_drive(0.5 * (low + high) - 0.5 * (high - low) * np.cos(phase)), np.full(
            points, 1.0 / points
        )
    edges, dwell = checked_zones(zone_edges, zone_dwell)
    each = max(4, points // dwell.size)
    drive = to_drive(edges)
    inside = (np.arange(each) + 0.5) / each
    positions = from_drive((drive[:-1, None] + np.diff(drive)[:, None] * inside).ravel())
    return positions, np.repeat(dwell / dwell.sum() / each, each)


def along_path(
    kind: str, pivot_distance: float = 0.0, arm_length: float = 0.0
) -> tuple[Callable[[Array], Array], Callable[[Array], Array]]:
    """Return what takes positions of the disk's centre to its way along the path, and back.

    Parameters
    ----------
    kind
        "arm" or "slide".
    pivot_distance, arm_length
        Of the arm [m].

    Returns
    -------
    tuple[Callable, Callable]
        From position [m] to way [m] (of an arm, its length times its angle), and the other way.
    """
    to_drive, from_drive = _drive(kind, pivot_distance, arm_length)
    length = arm_length if kind == "arm" else 1.0
    return lambda position: length * to_drive(position), lambda way: from_drive(way / length)


def checked_zones(zone_edges: ArrayLike | None, zone_dwell: ArrayLike | None) -> tuple[Array, Array]:
    """Return the dwell table as arrays.

    Parameters
    ----------
    zone_edges, zone_dwell
        m+1 increasing positions [m] and m relative times, none below 0.

    Returns
    -------
    tuple[Array, Array]
        The same, (m+1,) and (m,).

    Raises
    ------
    ModelError
        Where it makes no sense.
    """
    if zone_edges is None or zone_dwell is None:
        raise ModelError(
            refuse("sweep zones", "half a dwell table", "zone edges and zone dwell times together")
        )
    edges, dwell = np.asarray(zone_edges, dtype=np.float64), np.asarray(zone_dwell, dtype=np.float64)
    if edges.ndim != 1 or dwell.shape != (edges.size - 1,) or dwell.size == 0:
        raise ModelError(refuse("sweep zones", (edges.shape, dwell.shape), "n+1 edges and n dwell times"))
    if np.any(~(np.diff(edges) > 0)):
        raise ModelError(refuse("sweep zone edges [m]", edges.tolist(), "strictly increasing"))
    if np.any(~(dwell >= 0)) or not 0 < dwell.sum() < np.inf:
        raise ModelError(refuse("sweep dwell times", dwell.tolist(), "0 or more, not all 0"))
    return edges, dwell


def _drive(
    kind: str, pivot_distance: float, arm_length: float
) -> tuple[Callable[[Array], Array], Callable[[Array], Array]]:
    """Return the conversions from position to drive coordinate (angle or position itself) and back."""
    if kind == "arm":
        return (
            lambda position: swing_angle(position, pivot_distance, arm_length),
            lambda angle: swing_position(angle, pivot_distance, arm_length),
        )
    if kind != "slide":
        raise ModelError(refuse("sweep kind", kind, "'arm' or 'slide'"))
    return np.asarray, np.asarray
