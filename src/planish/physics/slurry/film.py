"""The slurry between wafer and pad: how it carries load, how much of it is fresh, what its grains do.

The load is shared between summits and a thin film, which gives film thickness
and friction from the pad's surface and grooves.

Delivery is a balance of liquid: what the flow brings, what place, bow wave and
grooves let under the wafer, and what the wafer spends. It does not resolve where
under the wafer the liquid is.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Load capacity of a plane slider, at most 0.160 x viscosity x speed x length / film^2: Reynolds 1886 "
    "(textbook result, from memory); film thickness of 10-60 um under wafers: several reports (from memory)",
    "Share of the slurry that gets between wafer and pad, 2 to 22 %: Philipossian & Mitchell 2003, Mater. "
    "Res. Soc. Symp. Proc., 'Slurry utilization efficiency studies' (abstract read)",
    "Liquid balance of delivery and spending: derivation of our own; its shares are assumptions",
)
SLIDER = 0.1  # load coefficient [1] of a land: an assumption, see ``mixed_film_at``


class Film(NamedTuple):
    """Mixed film: ``thickness`` [m] and ``solid_share`` [1], the part of the load that summits carry."""

    thickness: Array
    solid_share: Array


def mixed_film_at(lift: float, dry_gap: float, tail_length: float) -> tuple[float, float]:
    """Film thickness at which summits and liquid together carry the load; plain numbers, unchecked.

    p = p exp(-(h - h_dry)/s) + slider x viscosity x speed x length / h^2: an
    exponential tail of summits that alone would carry p at the gap h_dry, beside
    the lift of a plane slider. ``length`` is that over which lift can build up:
    the land between grooves, or the wafer's diameter on a pad without any. The load
    coefficient ``slider`` is at most 0.160; ``SLIDER``, 0.1, is an assumption.

    Parameters
    ----------
    lift:
        slider x viscosity x speed x length / pressure [m^2], 0 or more.
    dry_gap, tail_length:
        [m], above 0.

    Returns
    -------
    Thickness [m] and share of load on summits [1].
    """
    # The excess load is convex and falling in h, and not negative here: Newton climbs to the root from below.
    h = max(dry_gap, math.sqrt(lift))
    for _ in range(100):
        solid, fluid = math.exp(-(h - dry_gap) / tail_length), lift / (h * h)
        step = (solid + fluid - 1.0) / (solid / tail_length + 2.0 * fluid / h)
        h += step
        if abs(step) <= 1e-14 * h:
            break
    return h, min(max(1.0 - lift / (h * h), 0.0), 1.0)


def mixed_friction(
    film: Film, viscosity: ArrayLike, speed: ArrayLike, pressure: ArrayLike, boundary: float
) -> Array:
    """Coefficient of friction [1] of a mixed film: summits at ``boundary`` plus the liquid's shear."""
    shear = np.asarray(viscosity) * np.asarray(speed) / film.thickness
    return np.asarray(boundary * film.solid_share + shear / np.asarray(pressure))


def regime(solid_share: ArrayLike) -> NDArray[np.str_]:
    """Name the regime by the share of load on summits.

    "boundary" from 0.9 up, "hydrodynamic" to 0.1, "mixed" between (borders are a convention of our own).
    """
    share = np.asarray(solid_share, dtype=np.float64)
    return np.where(share >= 0.9, "boundary", np.where(share <= 0.1, "hydrodynamic", "mixed"))


def position_share_rotary(dispense_radius: ArrayLike, offset: float, wafer_radius: float) -> Array:
    """Share [1] of slurry dropped at a pad radius [m] that can reach the wafer, rotary polisher.

    Slurry works its way outward, so a drop serves the pad radii beyond its own:
    all of the wafer's track if dropped inside it, none if beyond it.
    """
    R = np.asarray(dispense_radius, dtype=np.float64)
    return np.asarray(np.clip((offset + wafer_radius - R) / (2 * wafer_radius), 0, 1))


def position_share_linear(dispense_distance: ArrayLike, wafer_radius: float) -> Array:
    """Share [1] of slurry dropped at a distance [m] from a belt's centre line that the wafer meets.

    The wafer's chord there over its diameter: a belt carries slurry straight on.
    """
    y = np.asarray(dispense_distance, dtype=np.float64) / wafer_radius
    return np.sqrt(np.clip(1 - y**2, 0, None))


def position_share_through(wafer_radius: float, pad_radius: float) -> float:
    """Share [1] of slurry fed through evenly spread holes of a pad that comes up under the wafer."""
    return min(1.0, (wafer_radius / pad_radius) ** 2)


def liquid_depth(film: ArrayLike, groove_depth: ArrayLike, groove_share: ArrayLike) -> Array:
    """Liquid [m^3/m^2 = m] held per pad area: the film, and the grooves below it."""
    return np.asarray(
        np.asarray(film) + np.asarray(groove_depth) * np.asarray(groove_share), dtype=np.float64
    )


def carried_flow(
    speed: ArrayLike, wafer_radius: float, film: ArrayLike, groove_depth: ArrayLike, groove_share: ArrayLike
) -> Array:
    """Liquid [m^3/s] that the pad carries in under the wafer's leading edge.

    Grooves move with the pad; the film between a moving and a standing face at
    half its speed. ``speed`` [m/s] of the pad at the carrier axis.
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
    """Flow [m^3/s] at which liquid in grooves and pores is changed for liquid on top.

    A ``natural`` share of what the pad carries (an assumption), plus what a
    conditioning disk stirs up: its width times its sliding speed [m/s] times
    the liquid ``depth`` [m]. This is how conditioning brings fresh slurry.
    """
    stirred = 2 * disk_radius * np.asarray(disk_speed) * np.asarray(depth)
    return np.asarray(natural * np.asarray(carried) + stirred, dtype=np.float64)


def captured_flow(
    flow: ArrayLike, exchange: ArrayLike, *, position_share: ArrayLike = 1.0, entry_share: float = 0.25
) -> Array:
    """Fresh slurry [m^3/s] that gets under the wafer, of what is dropped on top of the pad.

    flow x position x entry x exchange/(exchange + flow x position): fresh liquid
    that is not mixed into the grooves rides on top and is thrown off at the bow
    wave. ``entry_share``: what ring and bow wave let pass even so (an
    assumption, chosen to give a use of slurry within the 2 to 22 % reported).
    """
    offered = np.asarray(flow, dtype=np.float64) * np.asarray(position_share)
    exchange = np.asarray(exchange, dtype=np.float64)
    total = offered + exchange
    mixed = np.divide(exchange, total, out=np.zeros(total.shape), where=total > 0)
    return np.asarray(offered * entry_share * mixed)


def slurry_consumption(rate: ArrayLike, wafer_area: float, capacity: float = 1e-3) -> Array:
    """Flow of slurry [m^3/s] that the wafer spends at a removal ``rate`` [m/s].

    ``capacity``: volume of film that a volume of slurry takes up before it is
    spent (an assumption, to be fitted to rate against flow).
    """
    if capacity <= 0:
        raise ModelError(refuse("slurry capacity", capacity, "above 0", "typical 1e-3"))
    return np.asarray(np.asarray(rate, dtype=np.float64) * wafer_area / capacity)


def balanced_fresh(spent: float, reference: float, half: float = 0.25) -> float:
    """Return the fresh share at which supply and spending agree.

    ``spent``: slurry spent at the rate of the ``reference`` share, over what is supplied. The share f is
    1/(1 + spent phi(f)) and the spending goes with the rate's own factor
    phi(f) = f (reference + half)/(reference (f + half)) (``removal.fresh_factor``): a quadratic in f,
    whose positive root is taken in the form that keeps its digits.
    """
    if not np.isfinite(spent):
        return 0.0
    lead = 1.0 + spent * (reference + half) / reference
    return 2.0 * half / (half - 1.0 + float(np.sqrt((1.0 - half) ** 2 + 4.0 * half * lead)))
