"""Who meets whom, for how long: shares of time between places of the wafer and places of the pad.

A wafer ring is named by its radius r about the carrier axis. A pad place is
named by the one coordinate that wear and heat keep: on a rotary polisher the
radius R about the platen axis, on a linear one the distance |y| from the
belt's centre line, on an orbital one the radius R about the pad's own centre.
Rotary and orbital share one geometry, two circles whose centres stand
``distance`` apart (the offset, or the orbit radius) and whose angle runs evenly.

Everything is a closed form: arccosine shares and lens areas. Only a carrier
oscillation is averaged by quadrature, Gauss-Legendre between the instants at
which circles begin to touch, with the square roots there substituted away.
All turnings are taken as incommensurate. ``planish.physics.motion.motion`` exposes
these functions too.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.motion.circles import lens_area, segment_area, share_inside, strip_share

Array = NDArray[np.float64]
MotionKind = Literal["rotary", "linear", "orbital"]

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


def wafer_to_pad_weights(
    motion: MotionKind,
    r_nodes: ArrayLike,
    pad_edges: ArrayLike,
    *,
    offset: float = 0.0,
    orbit_radius: float = 0.0,
    oscillation_amplitude: float = 0.0,
) -> Array:
    """Share of time that a wafer point at each radius spends over each pad bin.

    Parameters
    ----------
    motion:
        "rotary", "linear" or "orbital".
    r_nodes:
        Wafer radii [m], (n_r,).
    pad_edges:
        Bin edges of the pad coordinate [m], increasing, (n_pad + 1,).
    offset:
        Rotary: carrier axis to platen axis [m]; linear: carrier axis from the belt's centre line [m].
    orbit_radius:
        Orbital [m].
    oscillation_amplitude:
        Of the carrier along (rotary) or across (linear) the offset [m].

    Returns
    -------
    (n_r, n_pad); every row sums to 1.

    Raises
    ------
    ModelError
        If the pad bins do not hold the whole path, or edges do not increase.
    """
    r, edges = np.asarray(r_nodes, dtype=np.float64)[:, None], _edges(pad_edges, "pad edges")
    distance = _distance(motion, offset, orbit_radius)
    amplitude = 0.0 if motion == "orbital" else oscillation_amplitude
    X = edges[None, :]
    _check_covered(edges, r, distance, amplitude, motion)
    if motion == "linear":
        kinks = np.stack(np.broadcast_arrays(X - r, X + r, -X - r, -X + r))
        cdf = _phase_mean(lambda d: strip_share(r, d, X), distance, amplitude, kinks)
    else:
        _check_oscillation(motion, distance, amplitude)
        kinks = np.stack(np.broadcast_arrays(X - r, X + r, r - X))
        cdf = _phase_mean(lambda d: share_inside(r, d, X), distance, amplitude, kinks)
    # Held to exactly 0 and 1 at the ends: the path lies inside up to rounding.
    cdf[:, 0], cdf[:, -1] = 0.0, 1.0
    return np.maximum(np.diff(cdf, axis=1), 0.0)


def overlap_areas(
    motion: MotionKind,
    r_edges: ArrayLike,
    pad_edges: ArrayLike,
    *,
    offset: float = 0.0,
    orbit_radius: float = 0.0,
    oscillation_amplitude: float = 0.0,
) -> Array:
    """Area [m^2] that each wafer ring and each pad bin have in common, averaged over time.

    The one symmetric quantity behind both views: divided by the ring's area it
    is the ring's mean row of ``wafer_to_pad_weights``, divided by the bin's area
    the share of time that the bin is under that ring.

    Parameters
    ----------
    motion, pad_edges, offset, orbit_radius, oscillation_amplitude:
        As for ``wafer_to_pad_weights``.
    r_edges:
        Edges of the wafer rings [m], increasing from 0 or more, (n_r + 1,).

    Returns
    -------
    (n_r, n_pad) [m^2].
    """
    r, X = _edges(r_edges, "ring edges")[:, None], _edges(pad_edges, "pad edges")[None, :]
    distance = _distance(motion, offset, orbit_radius)
    amplitude = 0.0 if motion == "orbital" else oscillation_amplitude
    if motion == "linear":
        kinks = np.stack(np.broadcast_arrays(X - r, X + r, -X - r, -X + r))
        area = _phase_mean(
            lambda d: segment_area(r, X - d) - segment_area(r, -X - d), distance, amplitude, kinks
        )
    else:
        _check_oscillation(motion, distance, amplitude)
        kinks = np.stack(np.broadcast_arrays(X - r, X + r, r - X))
        area = _phase_mean(lambda d: lens_area(r, X, d), distance, amplitude, kinks)
    return np.clip(np.diff(np.diff(area, axis=0), axis=1), 0.0, None)


def pad_to_wafer_weights(
    motion: MotionKind,
    r_edges: ArrayLike,
    pad_edges: ArrayLike,
    *,
    offset: float = 0.0,
    belt_length: float = 0.0,
    orbit_radius: float = 0.0,
    platen_speed: float = 0.0,
    carrier_speed: float = 0.0,
    belt_speed: float = 0.0,
    orbit_speed: float = 0.0,
    oscillation_amplitude: float = 0.0,
) -> PadView:
    """What each pad bin sees of the wafer: duty, shares by wafer ring, sliding speeds.

    Exact areas (``overlap_areas``); speeds at the rings' and bins' middles.

    Parameters
    ----------
    motion, r_edges, pad_edges, offset, orbit_radius, oscillation_amplitude:
        As for ``overlap_areas``.
    belt_length:
        Linear: once round the loop [m].
    platen_speed, carrier_speed, orbit_speed, belt_speed:
        [rad/s], the belt's [m/s].
    """
    r, X = _edges(r_edges, "ring edges"), _edges(pad_edges, "pad edges")
    shared = overlap_areas(
        motion,
        r,
        X,
        offset=offset,
        orbit_radius=orbit_radius,
        oscillation_amplitude=oscillation_amplitude,
    ).T
    if motion == "linear":
        if not belt_length > 2 * r[-1]:
            raise ModelError(refuse("belt length", belt_length, "above the wafer diameter"))
        pad_area = 2 * belt_length * np.diff(X)
    else:
        pad_area = np.pi * np.diff(X**2)
    met = shared.sum(axis=1)
    weights = np.divide(shared, met[:, None], out=np.zeros_like(shared), where=met[:, None] > 0)
    speed = speed_between(
        motion,
        (r[:-1] + r[1:])[None, :] / 2,
        (X[:-1] + X[1:])[:, None] / 2,
        offset=offset,
        platen_speed=platen_speed,
        carrier_speed=carrier_speed,
        belt_speed=belt_speed,
        orbit_radius=orbit_radius,
        orbit_speed=orbit_speed,
        oscillation_amplitude=oscillation_amplitude,
    )
    return PadView(met / pad_area, weights, speed)


def speed_between(
    motion: MotionKind,
    r: ArrayLike,
    R: ArrayLike,
    *,
    offset: float = 0.0,
    platen_speed: float = 0.0,
    carrier_speed: float = 0.0,
    belt_speed: float = 0.0,
    orbit_radius: float = 0.0,
    orbit_speed: float = 0.0,
    oscillation_amplitude: float = 0.0,
) -> Array:
    """Sliding speed [m/s] when wafer radius ``r`` [m] is over pad coordinate ``R`` [m].

    Meeting at (r, R) fixes the triangle of the two axes and the place, so with
    w_p, w_c the two speeds and d the distance of the axes

        v^2 = w_p w_c d^2 + (w_p - w_c)(w_p R^2 - w_c r^2),

    on an orbital polisher with w_p read as the orbit's speed W and

        v^2 = W (W - w_c) rho^2 + w_c (w_c - W) r^2 + W w_c R^2.

    On a belt the place may be on either side of the centre line: the mean of the
    two speeds, v^2 = V^2 + 2 V w_c y + w_c^2 r^2 with y = R - d or -R - d.
    Values where the two never meet mean nothing (floored at 0). A carrier oscillation
    enters by its mean square and its own travel is left out: good while both are
    small beside d and w_p d.
    """
    r, R = np.asarray(r, dtype=np.float64), np.asarray(R, dtype=np.float64)
    w_c = carrier_speed
    if motion == "rotary":
        d2 = offset**2 + oscillation_amplitude**2 / 2
        v2 = platen_speed * w_c * d2 + (platen_speed - w_c) * (platen_speed * R**2 - w_c * r**2)
    elif motion == "linear":
        even = belt_speed**2 + (w_c * r) ** 2 - 2 * belt_speed * w_c * offset
        odd = 2 * belt_speed * w_c * R
        return (np.sqrt(np.clip(even + odd, 0, None)) + np.sqrt(np.clip(even - odd, 0, None))) / 2
    else:
        _distance(motion, offset, orbit_radius)
        W = orbit_speed
        v2 = W * (W - w_c) * orbit_radius**2 + w_c * (w_c - W) * r**2 + W * w_c * R**2
    return np.sqrt(np.clip(v2, 0, None))


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


def _edges(values: ArrayLike, place: str) -> Array:
    edges = np.asarray(values, dtype=np.float64)
    if edges.ndim != 1 or edges.size < 2 or not np.all(np.diff(edges) > 0) or edges[0] < 0:
        raise ModelError(refuse(place, edges.tolist(), "two or more increasing lengths from 0 m up"))
    return edges


def _distance(motion: MotionKind, offset: float, orbit_radius: float) -> float:
    if motion == "orbital":
        return orbit_radius
    if motion not in ("rotary", "linear"):
        raise ModelError(refuse("motion", motion, "rotary, linear or orbital"))
    return offset


def _check_oscillation(motion: MotionKind, distance: float, amplitude: float) -> None:
    if abs(amplitude) > 0 and abs(amplitude) >= distance:
        raise ModelError(
            refuse("oscillation amplitude", amplitude, f"smaller than the offset, {distance:g} m", motion)
        )


def _check_covered(edges: Array, r: Array, distance: float, amplitude: float, motion: str) -> None:
    """Refuse pad bins that the wafer's path leaves: shares would then not sum to 1."""
    d, swing = abs(distance), abs(amplitude)
    farthest = d + swing + float(r.max())
    gap = d - r if motion == "linear" else np.abs(d - r)
    nearest = max(float(gap.min()) - swing, 0.0)
    slack = 1e-9 * farthest
    if nearest < edges[0] - slack or farthest > edges[-1] + slack:
        reach = f"{nearest:g} to {farthest:g} m"
        allowed = f"within the pad bins, {edges[0]:g} to {edges[-1]:g} m"
        raise ModelError(
            refuse(f"pad coordinates under the wafer ({motion})", reach, allowed, "a larger pad")
        )
