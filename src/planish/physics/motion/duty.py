"""Who meets whom, for how long: shares of time between places of the wafer and places of the pad.

A wafer ring is named by its radius r about the carrier axis. A pad place is named by the one
coordinate that wear and heat keep: on a round pad the radius R about its axis, on a belt the
distance |y| from its centre line. The carrier axis stands ``distance`` from that axis or line,
at an angle that runs evenly.

Everything is a closed form: arccosine shares and lens areas. Only a carrier
oscillation is averaged by quadrature, Gauss-Legendre between the instants at
which circles begin to touch, with the square roots there substituted away.
All turnings are taken as incommensurate.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.motion.circles import lens_area, segment_area, share_inside, strip_share

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Share of a turn that a pad radius spends under a disc, arccos((R^2+d^2-a^2)/(2Rd))/pi; lens area of two "
    "circles (elementary geometry, derivation of our own)",
)


class PadView(NamedTuple):
    """What each pad bin sees of the wafer.

    ``duty`` (n_pad,): share of all time that the bin's area is under the wafer.
    ``weights`` (n_pad, n_r): of that time, the share under each wafer ring; rows
    sum to 1, or are 0 where the bin never meets the wafer.
    ``speed`` (n_pad, n_r): sliding speed [m/s] when bin and ring meet.
    So the mean of p v over a bin's time under the wafer is sum(weights * p * speed).
    """

    duty: Array
    weights: Array
    speed: Array


class RoundPad:
    """A pad whose places are circles about its axis."""

    straight = False

    def share(self, r: Array, d: Array | np.float64, X: Array) -> Array:
        """Return the share of a turn that a point about the carrier axis is near the pad's axis.

        Parameters
        ----------
        r
            Distance of the point from the carrier axis [m].
        d
            Distance of the two axes [m].
        X
            How near counts [m]; the three broadcast.

        Returns
        -------
        Array
            0 to 1, of the common shape.
        """
        return share_inside(r, d, X)

    def shared(self, r: Array, d: Array | np.float64, X: Array) -> Array:
        """Return the area near both axes.

        Parameters
        ----------
        r
            How near the carrier axis counts [m].
        d
            Distance of the two axes [m].
        X
            How near the pad's axis counts [m]; the three broadcast.

        Returns
        -------
        Array
            [m^2], of the common shape.
        """
        return lens_area(r, X, d)

    def kinks(self, r: Array, X: Array) -> Array:
        """Return the distances of the axes at which ``share`` and ``shared`` have corners.

        Parameters
        ----------
        r, X
            As for them [m].

        Returns
        -------
        Array
            [m], (3, ...) with the common shape behind.
        """
        return np.stack(np.broadcast_arrays(X - r, X + r, r - X))

    def nearest(self, r: Array, d: float) -> Array:
        """Return the least pad coordinate that a point comes to.

        Parameters
        ----------
        r
            Distance of the point from the carrier axis [m].
        d
            Distance of the two axes [m].

        Returns
        -------
        Array
            [m], shape as ``r``.
        """
        return np.abs(d - r)

    def areas(self, edges: Array, length: float) -> Array:
        """Return the areas of pad bins.

        Parameters
        ----------
        edges
            Of the bins [m], (n + 1,).
        length
            Not used: a round pad is no loop.

        Returns
        -------
        Array
            [m^2], (n,).
        """
        return np.asarray(np.pi * np.diff(edges**2))


class StripPad:
    """A pad whose places are pairs of lines beside its centre line; methods as of ``RoundPad``."""

    straight = True

    def share(self, r: Array, d: Array | np.float64, X: Array) -> Array:
        """Return the share of a turn that a point about the carrier axis is near the centre line.

        Parameters
        ----------
        r
            Distance of the point from the carrier axis [m].
        d
            Distance of that axis from the line [m].
        X
            How near the line counts, on either side [m]; the three broadcast.

        Returns
        -------
        Array
            0 to 1, of the common shape.
        """
        return strip_share(r, d, X)

    def shared(self, r: Array, d: Array | np.float64, X: Array) -> Array:
        """Return the area near the carrier axis and near the centre line.

        Parameters
        ----------
        r
            How near the axis counts [m].
        d
            Distance of the axis from the line [m].
        X
            How near the line counts, on either side [m]; the three broadcast.

        Returns
        -------
        Array
            [m^2], of the common shape.
        """
        return segment_area(r, X - d) - segment_area(r, -X - d)

    def kinks(self, r: Array, X: Array) -> Array:
        """Return the distances of axis and line at which ``share`` and ``shared`` have corners.

        Parameters
        ----------
        r, X
            As for them [m].

        Returns
        -------
        Array
            [m], (4, ...) with the common shape behind.
        """
        return np.stack(np.broadcast_arrays(X - r, X + r, -X - r, -X + r))

    def nearest(self, r: Array, d: float) -> Array:
        """Return the least pad coordinate that a point comes to.

        Parameters
        ----------
        r
            Distance of the point from the carrier axis [m].
        d
            Distance of that axis from the line [m].

        Returns
        -------
        Array
            [m], shape as ``r``; below 0 where the point crosses the line.
        """
        return d - r

    def areas(self, edges: Array, length: float) -> Array:
        """Return the areas of pad bins, on both sides of the line together.

        Parameters
        ----------
        edges
            Of the bins [m], (n + 1,).
        length
            Of the pad once round [m].

        Returns
        -------
        Array
            [m^2], (n,).
        """
        return np.asarray(2 * length * np.diff(edges))


PadShape = RoundPad | StripPad
ROUND, STRIP = RoundPad(), StripPad()


def time_shares(
    shape: PadShape, r_nodes: ArrayLike, pad_edges: ArrayLike, distance: float, swing: float = 0.0
) -> Array:
    """Share of time that a wafer point at each radius spends over each pad bin.

    Parameters
    ----------
    shape
        Of the pad.
    r_nodes
        Wafer radii [m], (n_r,).
    pad_edges
        Bin edges of the pad coordinate [m], increasing, (n_pad + 1,).
    distance, swing
        Of the carrier axis from the pad's axis or centre line, and how far that oscillates [m].

    Returns
    -------
    (n_r, n_pad); every row sums to 1.

    Raises
    ------
    ModelError
        If the pad bins do not hold the whole path, or edges do not increase.
    """
    r, edges = np.asarray(r_nodes, dtype=np.float64)[:, None], checked_edges(pad_edges, "pad edges")
    X = edges[None, :]
    _check_covered(shape, edges, r, distance, swing)
    _check_swing(shape, distance, swing)
    cdf = _phase_mean(lambda d: shape.share(r, d, X), distance, swing, shape.kinks(r, X))
    # Held to exactly 0 and 1 at the ends: the path lies inside up to rounding.
    cdf[:, 0], cdf[:, -1] = 0.0, 1.0
    return np.maximum(np.diff(cdf, axis=1), 0.0)


def overlap_areas(
    shape: PadShape, r_edges: ArrayLike, pad_edges: ArrayLike, distance: float, swing: float = 0.0
) -> Array:
    """Area [m^2] that each wafer ring and each pad bin have in common, averaged over time: (n_r, n_pad).

    The one symmetric quantity behind both views: divided by the ring's area it
    is the ring's mean row of ``time_shares``, divided by the bin's area
    the share of time that the bin is under that ring.

    Parameters
    ----------
    shape, pad_edges, distance, swing
        As for ``time_shares``.
    r_edges
        Edges of the wafer rings [m], increasing from 0 or more, (n_r + 1,).
    """
    r, X = checked_edges(r_edges, "ring edges")[:, None], checked_edges(pad_edges, "pad edges")[None, :]
    _check_swing(shape, distance, swing)
    area = _phase_mean(lambda d: shape.shared(r, d, X), distance, swing, shape.kinks(r, X))
    return np.clip(np.diff(np.diff(area, axis=0), axis=1), 0.0, None)


def _phase_mean(
    of: Callable[[Array | np.float64], Array], centre: float, amplitude: float, kinks: Array
) -> Array:
    """Mean of ``of(d)`` over d = centre + amplitude sin(psi), psi even over a turn.

    ``kinks`` (n, ...): values of d at which ``of`` has a square-root corner, by
    place; the quadrature is split there and substituted so that it stays exact
    to rounding (the same substitution also takes the corner at either end).
    """
    if abs(amplitude) < 1e-12:  # less than an atom
        return np.array(of(np.float64(centre)), dtype=np.float64)
    at = np.arcsin(np.clip((kinks - centre) / amplitude, -1, 1))
    ends = np.full((1, *at.shape[1:]), np.pi / 2)
    cuts = np.sort(np.concatenate([-ends, at, ends]), axis=0)
    u, w = np.polynomial.legendre.leggauss(20)
    total = np.zeros(at.shape[1:])
    for low, high in pairwise(cuts):
        half = (high - low) / 2
        if not np.any(half > 0):
            continue
        for node, weight in zip(np.sin(np.pi / 2 * u), w * np.pi / 2 * np.cos(np.pi / 2 * u), strict=True):
            total += weight * half * of(centre + amplitude * np.sin(low + half * (1 + node)))
    return total / np.pi


def checked_edges(values: ArrayLike, place: str) -> Array:
    """Return bin edges as an array.

    Parameters
    ----------
    values
        The edges [m].
    place
        What they are edges of, for the refusal.

    Returns
    -------
    Array
        [m], (n + 1,).

    Raises
    ------
    ModelError
        Where they do not increase from 0 up, or are fewer than two.
    """
    edges = np.asarray(values, dtype=np.float64)
    if edges.ndim != 1 or edges.size < 2 or not np.all(np.diff(edges) > 0) or edges[0] < 0:
        raise ModelError(refuse(place, edges.tolist(), "two or more increasing lengths from 0 m up"))
    return edges


def _check_swing(shape: PadShape, distance: float, swing: float) -> None:
    if not shape.straight and abs(swing) > 0 and abs(swing) >= distance:
        raise ModelError(refuse("oscillation amplitude", swing, f"smaller than the offset, {distance:g} m"))


def _check_covered(shape: PadShape, edges: Array, r: Array, distance: float, swing: float) -> None:
    """Refuse pad bins that the wafer's path leaves: shares would then not sum to 1."""
    d, swing = abs(distance), abs(swing)
    farthest = d + swing + float(r.max())
    nearest = max(float(shape.nearest(r, d).min()) - swing, 0.0)
    slack = 1e-9 * farthest
    if nearest < edges[0] - slack or farthest > edges[-1] + slack:
        reach = f"{nearest:g} to {farthest:g} m"
        allowed = f"within the pad bins, {edges[0]:g} to {edges[-1]:g} m"
        raise ModelError(refuse("pad coordinates under the wafer", reach, allowed, "a larger pad"))
