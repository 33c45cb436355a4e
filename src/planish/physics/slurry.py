"""The slurry between wafer and pad: how it carries load, how much of it is fresh, what its grains do.

Two ways to the lubrication regime. The short one is a Stribeck-like curve of
the Hersey number, with two friction coefficients and a transition to be
measured. The long one shares the load between summits and a thin film, and
gives film thickness and friction from the pad's surface and grooves.

Delivery is a balance of liquid: what the flow brings, what place, bow wave and
grooves let under the wafer, and what the wafer spends. It does not resolve where
under the wafer the liquid is.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.removal import saturating_factor

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Friction against viscosity x speed / load: Stribeck 1902, Hersey 1914; for pads, with a gap as length, "
    "Philipossian & Olsen 2003, Jpn. J. Appl. Phys. 42, 6371 (from memory)",
    "Load capacity of a plane slider, at most 0.160 x viscosity x speed x length / film^2: Reynolds 1886 "
    "(textbook result, from memory); film thickness of 10-60 um under wafers: several reports (from memory)",
    "Share of the slurry that gets between wafer and pad, 2 to 22 %: Philipossian & Mitchell 2003, Mater. "
    "Res. Soc. Symp. Proc., 'Slurry utilization efficiency studies' (abstract read)",
    "Liquid balance of delivery and spending: derivation of our own; its shares are assumptions",
)
SLIDER = 0.1  # load coefficient [1] of a land: an assumption, see ``mixed_film``


class Film(NamedTuple):
    """Mixed film: ``thickness`` [m] and ``solid_share`` [1], the part of the load that summits carry."""

    thickness: Array
    solid_share: Array


def effective_gap(roughness: ArrayLike, groove_depth: ArrayLike, groove_share: ArrayLike) -> Array:
    """Length [m] for the Hersey number: area mean of surface roughness [m] and groove depth [m]."""
    share = np.asarray(groove_share, dtype=np.float64)
    return np.asarray((1 - share) * np.asarray(roughness) + share * np.asarray(groove_depth))


def hersey_number(viscosity: ArrayLike, speed: ArrayLike, pressure: ArrayLike, gap: ArrayLike) -> Array:
    """Hersey (or Sommerfeld) number [1], viscosity [Pa s] x speed [m/s] / (pressure [Pa] x gap [m])."""
    load = np.asarray(pressure, dtype=np.float64) * np.asarray(gap, dtype=np.float64)
    if np.any(load <= 0):
        raise ModelError(refuse("pressure times gap", "0 or below", "above 0"))
    return np.asarray(np.asarray(viscosity) * np.asarray(speed) / load)


def stribeck_solid_share(hersey: ArrayLike, transition: float = 0.02, sharpness: float = 2.0) -> Array:
    """Share [1] of the load on summits by the Stribeck-like curve: 1/(1 + (H/H_t)^n).

    ``transition`` is the Hersey number at which it is one half, ``sharpness`` is n:
    both are properties of the pad to be fitted; the defaults are assumptions.
    """
    H = np.asarray(hersey, dtype=np.float64)
    if np.any(H < 0) or transition <= 0 or sharpness <= 0:
        raise ModelError(refuse("Hersey number", "a negative value", "0 or more, transition above 0"))
    return np.asarray(1.0 / (1.0 + (H / transition) ** sharpness))


def friction_coefficient(
    hersey: ArrayLike,
    *,
    boundary: float = 0.4,
    floor: float = 0.02,
    transition: float = 0.02,
    sharpness: float = 2.0,
    viscous: float = 0.3,
) -> Array:
    """Stribeck-like coefficient of friction [1].

    floor + (boundary - floor) x solid share + viscous x Hersey number x (1 - solid share).

    Parameters
    ----------
    hersey:
        [1], 0 or more.
    boundary:
        Coefficient in boundary lubrication (0.3-0.5 is common practice, no source).
    floor:
        What solid friction falls to; the curve's minimum lies a little above it.
    transition, sharpness:
        As for ``stribeck_solid_share``.
    viscous:
        Slope of the full-film branch, gap over film thickness.
    """
    share = stribeck_solid_share(hersey, transition, sharpness)
    return np.asarray(floor + (boundary - floor) * share + viscous * np.asarray(hersey) * (1 - share))


def mixed_film(
    viscosity: ArrayLike,
    speed: ArrayLike,
    pressure: ArrayLike,
    length: ArrayLike,
    *,
    dry_gap: ArrayLike,
    tail_length: ArrayLike,
    slider: float = SLIDER,
) -> Film:
    """Film thickness at which summits and liquid together carry the load.

    p = p exp(-(h - h_dry)/s) + slider x viscosity x speed x length / h^2: an
    exponential tail of summits that alone would carry p at the gap h_dry, beside
    the lift of a plane slider. ``length`` is that over which lift can build up:
    the land between grooves, or the wafer's diameter on a pad without any.

    Parameters
    ----------
    viscosity, speed, pressure, length:
        [Pa s], [m/s], [Pa] above 0, [m]; broadcastable.
    dry_gap:
        Mean gap at rest under this pressure [m], above 0.
    tail_length:
        Decay length s of the summit heights [m], above 0.
    slider:
        Load coefficient of the land [1]; 0.160 is the most a plane slider can
        have, ``SLIDER``, 0.1, an assumption.

    Returns
    -------
    Film
        Thickness [m] and share of load on summits [1].
    """
    p, gap, s = (np.asarray(x, dtype=np.float64) for x in (pressure, dry_gap, tail_length))
    if np.any(p <= 0) or np.any(gap <= 0) or np.any(s <= 0):
        raise ModelError(refuse("pressure, dry gap and tail length", "0 or below", "above 0"))
    lift = slider * np.asarray(viscosity, dtype=np.float64) * np.asarray(speed) * np.asarray(length) / p
    # The excess load is convex and falling in h, and not negative here: Newton climbs to the root from below.
    h = np.maximum(gap, np.sqrt(lift)) + np.zeros(np.broadcast(lift, gap, s).shape)
    for _ in range(100):
        solid, fluid = np.exp(-(h - gap) / s), lift / h**2
        step = (solid + fluid - 1) / (solid / s + 2 * fluid / h)
        h = h + step
        if np.all(np.abs(step) <= 1e-14 * h):
            break
    return Film(h, np.asarray(np.clip(1 - lift / h**2, 0.0, 1.0)))


def mixed_film_at(lift: float, dry_gap: float, tail_length: float) -> tuple[float, float]:
    """``mixed_film`` at one place, on plain numbers and unchecked: several times faster.

    Parameters
    ----------
    lift:
        slider x viscosity x speed x length / pressure [m^2], 0 or more.
    dry_gap, tail_length:
        [m], above 0.

    Returns
    -------
    Thickness [m] and share of load on summits [1].

    Notes
    -----
    ``mixed_film`` needs the same steps for whole arrays; a test of the lot holds the two together.
    """
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


def groove_area_share(
    pattern: Literal["none", "concentric", "grid", "spiral"], width: float, pitch: float
) -> float:
    """Share [1] of the pad's area that is groove, from groove width and pitch [m]."""
    if pattern == "none":
        return 0.0
    if not 0 < width < pitch:
        raise ModelError(refuse("groove width", width, f"above 0 and below the pitch, {pitch:g} m"))
    line = width / pitch
    return 1 - (1 - line) ** 2 if pattern == "grid" else line


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


def fresh_fraction(captured: ArrayLike, consumption: ArrayLike, carried: ArrayLike = np.inf) -> Array:
    """Share [1] of the slurry under the wafer that is fresh, in steady state.

    1/(1 + consumption (1/carried + 1/captured)): the wafer spends, the rest of
    the track is refreshed by ``captured``, and ``carried`` exchanges the two (all [m^3/s]).
    A pad with through-feed needs no carrying: leave ``carried`` out.
    """
    taken, spent = np.asarray(captured, dtype=np.float64), np.asarray(consumption, dtype=np.float64)
    bound = np.asarray(carried, dtype=np.float64)
    if np.any(taken < 0) or np.any(spent < 0) or np.any(bound < 0):
        raise ModelError(refuse("flows under the wafer", "a negative value", "0 or more"))
    with np.errstate(divide="ignore", invalid="ignore"):
        fresh = 1.0 / (1.0 + spent / bound + spent / taken)
    # 0/0: nothing spent and nothing supplied stays as it is, fresh.
    return np.where(spent == 0, 1.0, fresh)


def balanced_fresh(spent: float, reference: float, half: float = 0.25) -> float:
    """Return the fresh share at which supply and spending agree.

    ``spent``: slurry spent at the rate of the ``reference`` share, over what is supplied. The share f is
    1/(1 + spent phi(f)) (``slurry.fresh_fraction``) and the spending goes with the rate's own factor
    phi(f) = f (reference + half)/(reference (f + half)) (``removal.fresh_factor``): a quadratic in f,
    whose positive root is taken in the form that keeps its digits.
    """
    if not np.isfinite(spent):
        return 0.0
    lead = 1.0 + spent * (reference + half) / reference
    return 2.0 * half / (half - 1.0 + float(np.sqrt((1.0 - half) ** 2 + 4.0 * half * lead)))


def residence_time(volume: ArrayLike, captured: ArrayLike) -> Array:
    """Mean time [s] that slurry stays in a ``volume`` [m^3] refreshed at ``captured`` [m^3/s]."""
    taken = np.asarray(captured, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(volume, dtype=np.float64) / taken)


def fresh_step(
    fresh: ArrayLike, captured: ArrayLike, consumption: ArrayLike, volume: ArrayLike, dt: float
) -> Array:
    """Fresh share [1] after ``dt`` [s], well mixed: V f' = Q (1 - f) - C f, exactly.

    Q ``captured``, C ``consumption`` [m^3/s], V ``volume`` [m^3] of liquid on the track.
    """
    f, taken = np.asarray(fresh, dtype=np.float64), np.asarray(captured, dtype=np.float64)
    total = taken + np.asarray(consumption)
    steady = np.divide(taken, total, out=np.ones(total.shape), where=total > 0)
    return np.asarray(steady + (f - steady) * np.exp(-total * dt / np.asarray(volume)))


def size_factor(size: ArrayLike, reference: float, half: float = 0.2e-6) -> Array:
    """Factor [1] of the rate for the mean abrasive diameter [m]; exactly 1 at ``reference``.

    With summits covered by weight, grains number as 1/size^2, are each loaded as
    size^2 and remove as load^(3/2): the rate grows in proportion to size. It
    levels off about ``half`` [m], where grains are too big for a summit to
    press them all (an assumption, to be fitted).
    """
    return saturating_factor(size, reference, half)
