"""The slurry that gets between wafer and pad: how much of it there is, and how much of that is fresh.

Delivery is a balance of liquid: what the flow brings, what place, bow wave and
grooves let under the wafer, and what the wafer spends. It does not resolve where
under the wafer the liquid is.
"""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Share of the slurry that gets between wafer and pad, 2 to 22 %: Philipossian & Mitchell 2003, Mater. "
    "Res. Soc. Symp. Proc., 'Slurry utilization efficiency studies' (abstract read)",
    "Liquid balance of delivery and spending: derivation of our own; its shares are assumptions",
)


def position_share_rotary(dispense_radius: ArrayLike, offset: float, wafer_radius: float) -> Array:
    """Return the share of slurry dropped on a rotary polisher's pad that can reach the wafer.

    Parameters
    ----------
    dispense_radius
        Of the drop from the pad's centre [m].
    offset
        Of the carrier's axis from the pad's centre [m].
    wafer_radius
        [m].

    Returns
    -------
    Array
        [1], shape as ``dispense_radius``.

    Notes
    -----
    Slurry works its way outward, so a drop serves the pad radii beyond its own: all of the wafer's track if
    dropped inside it, none if beyond it.
    """
    R = np.asarray(dispense_radius, dtype=np.float64)
    return np.asarray(np.clip((offset + wafer_radius - R) / (2 * wafer_radius), 0, 1))


def position_share_linear(dispense_distance: ArrayLike, wafer_radius: float) -> Array:
    """Return the share of slurry dropped on a belt that the wafer meets.

    Parameters
    ----------
    dispense_distance
        Of the drop from the belt's centre line [m].
    wafer_radius
        [m].

    Returns
    -------
    Array
        [1], shape as ``dispense_distance``.

    Notes
    -----
    The wafer's chord there over its diameter: a belt carries slurry straight on.
    """
    y = np.asarray(dispense_distance, dtype=np.float64) / wafer_radius
    return np.sqrt(np.clip(1 - y**2, 0, None))


def position_share_through(wafer_radius: float, pad_radius: float) -> float:
    """Return the share of slurry fed through evenly spread holes of a pad that comes up under the wafer.

    Parameters
    ----------
    wafer_radius, pad_radius
        [m].

    Returns
    -------
    float
        [1].
    """
    return min(1.0, (wafer_radius / pad_radius) ** 2)


def liquid_depth(film: ArrayLike, groove_depth: ArrayLike, groove_share: ArrayLike) -> Array:
    """Return the liquid held per pad area: the film, and the grooves below it.

    Parameters
    ----------
    film
        Thickness [m].
    groove_depth
        [m].
    groove_share
        Share of the pad's area that is groove [1].

    Returns
    -------
    Array
        [m^3/m^2 = m].
    """
    return np.asarray(
        np.asarray(film) + np.asarray(groove_depth) * np.asarray(groove_share), dtype=np.float64
    )


def carried_flow(
    speed: ArrayLike, wafer_radius: float, film: ArrayLike, groove_depth: ArrayLike, groove_share: ArrayLike
) -> Array:
    """Return the liquid that the pad carries in under the wafer's leading edge.

    Parameters
    ----------
    speed
        Of the pad at the carrier axis [m/s].
    wafer_radius
        [m].
    film, groove_depth, groove_share
        As for :func:`liquid_depth`.

    Returns
    -------
    Array
        [m^3/s].

    Notes
    -----
    Grooves move with the pad; the film between a moving and a standing face at half its speed.
    """
    moving = np.asarray(film) / 2 + np.asarray(groove_depth) * np.asarray(groove_share)
    return np.asarray(2 * wafer_radius * np.asarray(speed) * moving, dtype=np.float64)


def exchange_flow(
    carried: ArrayLike,
    *,
    natural: float = 0.2,
    disk_radius: float = 0.0,
    disk_speed: ArrayLike = 0.0,
    depth: ArrayLike = 0.0,
) -> Array:
    """Return the flow at which liquid in grooves and pores is changed for liquid on top.

    Parameters
    ----------
    carried
        From :func:`carried_flow` [m^3/s].
    natural
        Share of it that is changed without a disk (an assumption) [1].
    disk_radius
        Of the conditioning disk [m]; 0 without one.
    disk_speed
        Its sliding speed [m/s].
    depth
        Of liquid [m], from :func:`liquid_depth`.

    Returns
    -------
    Array
        [m^3/s].

    Notes
    -----
    The natural share, plus what a conditioning disk stirs up: its width times its sliding speed times the
    liquid depth. This is how conditioning brings fresh slurry.
    """
    stirred = 2 * disk_radius * np.asarray(disk_speed) * np.asarray(depth)
    return np.asarray(natural * np.asarray(carried) + stirred, dtype=np.float64)


def captured_flow(
    flow: ArrayLike, exchange: ArrayLike, *, position_share: ArrayLike = 1.0, entry_share: float = 0.25
) -> Array:
    """Return the fresh slurry that gets under the wafer, of what is dropped on top of the pad.

    Parameters
    ----------
    flow
        Dropped [m^3/s].
    exchange
        From :func:`exchange_flow` [m^3/s].
    position_share
        Of the drop that can reach the wafer [1].
    entry_share
        What ring and bow wave let pass even so [1] (an assumption, chosen to give a use of slurry within
        the 2 to 22 % reported).

    Returns
    -------
    Array
        [m^3/s].

    Notes
    -----
    flow x position x entry x exchange/(exchange + flow x position): fresh liquid that is not mixed into the
    grooves rides on top and is thrown off at the bow wave.
    """
    offered = np.asarray(flow, dtype=np.float64) * np.asarray(position_share)
    exchange = np.asarray(exchange, dtype=np.float64)
    total = offered + exchange
    mixed = np.divide(exchange, total, out=np.zeros(total.shape), where=total > 0)
    return np.asarray(offered * entry_share * mixed)


def slurry_consumption(rate: ArrayLike, wafer_area: float, capacity: float = 1e-3) -> Array:
    """Return the flow of slurry that the wafer spends.

    Parameters
    ----------
    rate
        Of removal [m/s].
    wafer_area
        [m^2].
    capacity
        Volume of film that a volume of slurry takes up before it is spent [1], ``slurry.capacity`` (assumed until fitted
        to rate against flow).

    Returns
    -------
    Array
        [m^3/s], shape as ``rate``.

    Raises
    ------
    ModelError
        Where the capacity is not above 0.
    """
    if capacity <= 0:
        raise ModelError(refuse("slurry capacity", capacity, "above 0", "typical 1e-3"))
    return np.asarray(np.asarray(rate, dtype=np.float64) * wafer_area / capacity)


def balanced_fresh(spent: Callable[[float], float]) -> float:
    """Return the fresh share at which supply and spending agree.

    Parameters
    ----------
    spent
        Slurry spent over what is supplied [1], where so much of it is fresh; grows with the share.

    Returns
    -------
    float
        f of f (1 + spent(f)) = 1 [1]; 0 where nothing is supplied.
    """
    most = spent(1.0)
    if not most > 0:
        return 1.0
    if not isfinite(most):
        return 0.0
    from scipy.optimize import brentq  # a setup is read without it

    return float(brentq(lambda fresh: fresh * (1.0 + spent(fresh)) - 1.0, 0.0, 1.0, xtol=1e-15, rtol=1e-14))


def balanced_fresh_linear(still: float, growing: float, half: float) -> float:
    """Return the fresh share at which supply and spending agree, of a film whose rate is linear in its chemical factor.

    Parameters
    ----------
    still
        Slurry spent over what is supplied whatever the share, s [1].
    growing
        What is spent besides where all sites are filled, g [1].
    half
        Share at which half of them are, h [1].

    Returns
    -------
    float
        f of f (1 + s + g f/(f + h)) = 1 [1]; 0 where nothing is supplied.

    Notes
    -----
    The upper root of (1 + s + g) f^2 + ((1 + s) h - 1) f - h = 0, by the form that loses no digits:
    :func:`balanced_fresh` of the same spending, without a search.
    """
    square, linear = 1.0 + still + growing, (1.0 + still) * half - 1.0
    if not isfinite(square):
        return 0.0
    root = sqrt(linear * linear + 4.0 * square * half)
    return 2.0 * half / (linear + root) if linear > 0 else (root - linear) / (2.0 * square)
