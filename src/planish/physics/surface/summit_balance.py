"""How summit heights age: polishing wears the high ones down, conditioning cuts new ones.

The probability density phi(z, t) of summit heights z on a pad ring obeys

    d phi/dt = d/dz[ w(z, d) phi ] + kappa (phi_fresh - phi)

with Archard wear of a Hertzian summit of height z under a flat at d,
w = c sqrt(z - d), c = K v 4 E*/(3 pi sqrt(R)) (K the wear coefficient times
the sliding speed v times the mean Hertz pressure), and the renewal rate kappa
at which furrows of the conditioner replace summits by freshly cut ones. The
separation d follows from the load at every moment. A summit that flows
(``asperities``) carries no more than the flow pressure and wears by no more,
w = c sqrt(delta_c) from the interference delta_c at which it begins to flow.

Scheme: while d stands still a summit's interference goes as
sqrt(delta) = sqrt(delta_0) - c t/2, or falls evenly while it flows, so the
cumulative distribution is carried along these exact paths,
F_new(z) = F_old(d + (sqrt(z-d) + c t/2)^2) where nothing flows, and differenced. F_old is read from a limited parabola (density linear in a bin,
never negative). Any time step is stable, no probability is lost or turns
negative, and only the motion of d within a step is approximated (taken at its
middle); renewal is split half before and half after (second order).

A summit that has flowed is met again as it was: pressed back to the same load, it carries
that load on the same area. That it stands lower and blunter under a lesser load is left out.

Limit: where few new summits lift the flat off a crowd worn level (hard wear
and hardly any renewal), the moment of lift-off is sharp and its timing is
found to a wafer or two, the real pressure during it to about 3 %.
"""

from __future__ import annotations

from math import inf, pi, sqrt

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.surface.asperities import fresh_heights, height_grid, separation_under

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Borucki 2002, J. Eng. Math. 43, 105: rate decay from wear of the summit height density (from memory)",
    "Borucki, Witelski, Please, Kramer & Schwendeman 2004, J. Eng. Math. 50, 1-24: height density under"
    " conditioning and wear (abstract)",
    "Archard 1953, J. Appl. Phys. 24, 981: wear proportional to pressure and sliding (read as quoted in NPTEL "
    "lecture 7.5)",
    "Transport of the cumulative distribution along exact wear paths; renewal rate of triangular furrows:"
    " derivation of our own",
)

MAX_MOVE = 0.1
"""Largest c t/2 of a substep, in square roots of the contact's decay length."""

MAX_TAKEN = 0.1
"""Largest share of the load that summits cut anew in one substep would take over from the worn ones."""

MAX_STEPS = 40
"""Most substeps of one stretch; reached only where wear or renewal changes all of the contact at once."""


def wear_constant(coefficient: float, speed: ArrayLike, *, tip_radius: float, modulus: float) -> Array:
    """Return c of the wear speed c sqrt(z - d) of a summit.

    Parameters
    ----------
    coefficient
        Wear depth per pressure and sliding distance [1/Pa].
    speed
        Of sliding while in contact times the share of time in contact [m/s].
    tip_radius, modulus
        Of the summits: R [m], plane modulus E* [Pa].

    Returns
    -------
    Array
        [m^(1/2)/s], shape as ``speed``.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    if not coefficient >= 0:
        raise ModelError(refuse("summit wear coefficient [1/Pa]", coefficient, "0 or more"))
    if not (tip_radius > 0 and modulus > 0):
        raise ModelError(refuse("summit tip radius, plane modulus", (tip_radius, modulus), "above 0"))
    return np.asarray(
        coefficient * np.asarray(speed, dtype=np.float64) * 4.0 * modulus / (3.0 * pi * sqrt(tip_radius))
    )


def ageing_grid(
    height_sd: float,
    tail_length: float,
    *,
    density: float,
    tip_radius: float,
    modulus: float,
    pressure: float,
    flow_pressure: float = inf,
    finer: float = 1.0,
) -> Array:
    """Return bin edges fit for ageing under loads around a pressure.

    Parameters
    ----------
    height_sd, tail_length
        Of the fresh heights [m].
    density, tip_radius, modulus
        Of the summits [1/m^2], [m], plane modulus [Pa].
    pressure
        The highest of the recipe [Pa].
    flow_pressure
        Of the summits [Pa].
    finer
        Divides every width.

    Returns
    -------
    Array
        [m], (n+1,).

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    A glazed pad carries its load on many summits worn nearly level. If the count N(d) of summits above d
    grows downward as exp(-d/tail), the same load needs interferences that fall as N^(-2/3): bins narrow
    downward as exp(2 z/(3 tail)) below the fresh pad's separation, to 1/200 of the tail, and widen again
    where wear does not reach.
    """
    if not (pressure > 0 and finer > 0):
        raise ModelError(refuse("pressure [Pa], finer", (pressure, finer), "above 0"))
    span = height_grid(height_sd, tail_length)
    d = separation_under(
        pressure,
        span,
        fresh_heights(span, height_sd, tail_length),
        density=density,
        tip_radius=tip_radius,
        modulus=modulus,
        flow_pressure=flow_pressure,
    )
    # Integrate bins per height on a fine scale, then cut it at whole numbers of bins.
    scale = np.linspace(span[0], span[-1], 4001)
    x = (scale - float(d)) / tail_length
    width = tail_length * np.clip(0.04 * np.exp(np.minimum(x, 10.0) / 1.5), 1.0 / 200.0, 0.1)
    width = np.where(x < -5.0, np.maximum(width, 0.1 * tail_length), width) / finer
    count = np.concatenate(([0.0], np.cumsum(np.diff(scale) * 0.5 * (1 / width[1:] + 1 / width[:-1]))))
    bins = int(np.ceil(count[-1]))
    return np.asarray(np.interp(np.linspace(0.0, count[-1], bins + 1), count, scale))


@njit(cache=True, error_model="numpy", fastmath={"reassoc", "nsz"})  # type: ignore[untyped-decorator]
def _elastic(p: Array, z: Array, d: float, first: int, last: int) -> tuple[float, float, float, float]:
    """Moments of orders 1/2 (times 3/2), 1 (times 2), 3/2 (times 5/2) and 0 of z - d over bins that lie above d.

    Added up in any order, so that several bins go at a time.
    """
    half, one, threehalf, count = 0.0, 0.0, 0.0, 0.0
    for k in range(first, last):
        low, high = z[k] - d, z[k + 1] - d
        density = p[k] / (z[k + 1] - z[k])
        less, more = low * np.sqrt(low), high * np.sqrt(high)
        half += density * (more - less)
        one += density * (high * high - low * low)
        threehalf += density * (high * more - low * less)
        count += density * (high - low)
    return half, one, threehalf, count


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _moments(p: Array, z: Array, d: float, depth: float) -> tuple[float, float, float, float, float, float]:
    """Moments of z - d above d, exact for uniform bins.

    Stiffness and load in the units of the elastic ones (where nothing flows the moments of orders 1/2 and 3/2),
    those of orders 1 and 0 between them, and of orders 1 and 0 of z - d - depth, of the summits that flow.
    """
    n = p.size
    first = min(max(int(np.searchsorted(z, d)) - 1, 0), n - 1)
    # bins up to ``flows`` hold elastic summits alone; the first one begins at the flat
    flows = min(max(int(np.searchsorted(z, d + depth)) - 1, first), n)
    half, one, threehalf, count = 0.0, 0.0, 0.0, 0.0
    if flows > first:
        half, one, threehalf, count = _elastic(p, z, d, first + 1, flows)
        high = z[first + 1] - d
        low = max(z[first] - d, 0.0)
        density = p[first] / (z[first + 1] - z[first])
        half += density * (high * np.sqrt(high) - low * np.sqrt(low))
        one += density * (high * high - low * low)
        threehalf += density * (high * high * np.sqrt(high) - low * low * np.sqrt(low))
        count += density * (high - low)
    delta = max(z[min(flows, n)] - d, 0.0)
    # elastic up to the depth: what a summit carries beyond it is added below
    held = min(delta, depth)
    root = np.sqrt(held)
    delta0, a0, b0, c0 = delta, held * root, delta * delta, held * held * root
    over_one, over_count = 0.0, 0.0
    over0 = max(delta - depth, 0.0)
    for k in range(flows, n):
        delta = z[k + 1] - d
        held = min(max(delta, 0.0), depth)
        root = np.sqrt(held)
        a1 = held * root
        b1 = delta * delta
        c1 = held * held * root
        density = p[k] / (z[k + 1] - z[k])
        half += density * (a1 - a0)
        one += density * (b1 - b0)
        threehalf += density * (c1 - c0)
        count += density * (delta - delta0)
        delta0, a0, b0, c0 = delta, a1, b1, c1
        if delta > depth:
            over1 = delta - depth
            over_one += density * (over1 * over1 - over0 * over0)
            over_count += density * (over1 - over0)
            over0 = over1
    half, one, threehalf = half / 1.5, one / 2.0, threehalf / 2.5
    if over_count > 0.0:
        over_one /= 2.0
        root = np.sqrt(depth)
        half += 4.0 / 3.0 * root * over_count
        threehalf += root * (2.0 * over_one + depth * over_count)
    return half, one, threehalf, count, over_one, over_count


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _worn(one: float, over_one: float, over_count: float, depth: float) -> float:
    """Stiffness times wear speed over c, summed over the summits, in the units of the elastic moment of order 1."""
    if over_count == 0.0:
        return one
    return one - over_one + depth * over_count / 3.0


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _separate(
    p: Array, z: Array, pressure: float, stiff: float, depth: float, guess: float, tolerance: float
) -> tuple[float, tuple[float, float, float, float, float, float]]:
    """Separation under ``pressure`` by bracketed Newton on ln p, and the moments there."""
    n = p.size
    high = z[n]
    want = pressure / (4.0 / 3.0 * stiff)
    deepest = want ** (2.0 / 3.0)
    if deepest > depth:
        deepest = depth + want / np.sqrt(depth)
    low = z[0] - deepest - 1e-12
    d = guess if low < guess < high else 0.5 * (low + high)
    found = _moments(p, z, d, depth)
    for turn in range(200):
        half, threehalf = found[0], found[2]
        load = 4.0 / 3.0 * stiff * threehalf
        if abs(load - pressure) <= tolerance * pressure:
            break
        if load > pressure:
            low = d
        else:
            high = d
        new = 0.5 * (low + high)
        # Newton can swing over a level crowd of summits: every other later turn halves the bracket.
        if load > 0.0 and half > 0.0 and (turn < 6 or turn % 2 == 0):
            trial = d + np.log(load / pressure) * load / (2.0 * stiff * half)
            if low < trial < high:
                new = trial
        d = new
        found = _moments(p, z, d, depth)
    return d, found


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def log_load(probability: Array, edges: Array, depth: float) -> Array:
    """Return how much load fresh summits would take, with a flat at every edge.

    Parameters
    ----------
    probability
        Of the bins, (n,).
    edges
        Of the bins [m], (n+1,).
    depth
        At which a summit begins to flow [m] (``summit_flow.elastic_depth``).

    Returns
    -------
    Array
        ln int (z-d)^(3/2) phi dz at d = every edge, (n+1,), the load of summits that flow in its units.
    """
    out = np.empty(edges.size)
    for k in range(edges.size):
        out[k] = np.log(max(_moments(probability, edges, edges[k], depth)[2], 1e-300))
    return out


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def contact_rings(
    probability: Array,
    edges: Array,
    pressure: Array,
    stiff: float,
    depth: float,
    separation: Array,
    moments: Array,
) -> None:
    """Find the separation and contact moments of all pad rings.

    Parameters
    ----------
    probability
        Of the bins of every ring, (rings, n).
    edges
        Of the bins [m], (n+1,).
    pressure
        On every ring [Pa], (rings,); those without get the top edge and moments 0.
    stiff
        density * E* * sqrt(tip radius) [Pa/m^(3/2)].
    depth
        At which a summit begins to flow [m], inf: never.
    separation
        [m], (rings,), given as a guess, filled in place.
    moments
        Of orders 1/2, 1, 3/2, 0 (the first and third with what flows), and of orders 1, 0 of what flows,
        (rings, 6), filled in place.
    """
    for r in range(probability.shape[0]):
        if pressure[r] <= 0.0:
            separation[r] = edges[edges.size - 1]
            moments[r, :] = 0.0
            continue
        separation[r], found = _separate(
            probability[r], edges, pressure[r], stiff, depth, separation[r], 1e-8
        )
        for k in range(6):
            moments[r, k] = found[k]


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _wear(p: Array, z: Array, d: float, depth: float, move: float, cumulative: Array) -> None:
    """Carry the cumulative distribution of one ring down its wear paths: sqrt(delta) less ``move``, evenly beyond the depth."""
    n = p.size
    limit = np.sqrt(depth)
    first = min(max(int(np.searchsorted(z, d)) - 1, 0), n - 1)
    # Counted from the bottom of bin ``first``: what lies below d does not move.
    cumulative[first] = 0.0
    for k in range(first, n):
        cumulative[k + 1] = cumulative[k] + p[k]
    total = cumulative[n]
    source = first
    before = 0.0
    for k in range(first, n):
        root = np.sqrt(z[k + 1] - d) if z[k + 1] > d else 0.0
        if root + move <= limit:
            came = d + (root + move) * (root + move)
        elif root < limit:  # it flowed first, and wore elastically from there
            came = d + depth + 2.0 * limit * (move - (limit - root))
        else:
            came = z[k + 1] + 2.0 * limit * move
        while source < n - 1 and z[source + 1] < came:
            source += 1
        if k == n - 1 or came >= z[n]:
            now = total
        else:
            width = z[source + 1] - z[source]
            s = min(max((came - z[source]) / width, 0.0), 1.0)
            mass = cumulative[source + 1] - cumulative[source]
            bend = 0.0
            if first < source < n - 1:
                below = (cumulative[source] - cumulative[source - 1]) / (z[source] - z[source - 1])
                above = (cumulative[source + 2] - cumulative[source + 1]) / (z[source + 2] - z[source + 1])
                here = mass / width
                a, b = here - below, above - here
                if a * b > 0.0:  # limited slope: the density stays between that of its neighbours
                    mean = abs(above - below) / (z[source + 2] + z[source + 1] - z[source] - z[source - 1])
                    bend = min(min(abs(a), abs(b)), mean * width) * width
                    if a < 0.0:
                        bend = -bend
            now = cumulative[source] + s * mass - bend * s * (1.0 - s)
        now = max(now, before)
        p[k] = now - before
        before = now


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def age_rings(
    probability: Array,
    edges: Array,
    fresh: Array,
    pressure: Array,
    wear: Array,
    renewal: Array,
    stiff: float,
    depth: float,
    separation: Array,
    fresh_load: Array,
    finer: int,
) -> None:
    """Age the summits of all pad rings in place through one stretch of polishing. Unchecked.

    Parameters
    ----------
    probability
        Of the bins of every ring, (rings, n), each row summing to 1; changed in place.
    edges
        Of the bins [m], (n+1,).
    fresh
        Of newly cut summits, (n,).
    pressure
        On the ring while the wafer is on it [Pa], (rings,), 0: not touched.
    wear
        c times the time (:func:`wear_constant`) [m^(1/2)], (rings,).
    renewal
        Share cut anew as an exponent, (rings,), inf: wholly.
    stiff
        density x plane modulus x sqrt(tip radius) [Pa/m^(3/2)].
    depth
        At which a summit begins to flow [m], inf: never.
    separation
        A guess of the one at the start [m], (rings,); becomes that of the last substep.
    fresh_load
        From :func:`log_load`, (n+1,).
    finer
        Multiplies the number of substeps.
    """
    rings, n = probability.shape
    work = np.empty(n + 1)
    for r in range(rings):
        p = probability[r]
        touched = pressure[r] > 0.0 and wear[r] > 0.0
        d, half, one, threehalf = separation[r], 0.0, 0.0, 0.0  # one: what wear takes, in its units
        steps = finer
        if touched:
            d, found = _separate(p, edges, pressure[r], stiff, depth, d, 1e-5)
            half, threehalf, one = found[0], found[2], _worn(found[1], found[4], found[5], depth)
            move = 0.5 * wear[r] / np.sqrt(2.0 / 3.0 * threehalf / half)
            need = move / MAX_MOVE
            if renewal[r] > 0.0:
                new = np.exp(np.interp(d, edges, fresh_load))
                need = max(need, min(renewal[r], 1.0) * new / threehalf / MAX_TAKEN)
            steps = finer * int(min(max(np.ceil(need), 1.0), MAX_STEPS))
        half_kept = np.exp(-0.5 * renewal[r] / steps)
        for s in range(steps):
            kept = half_kept if s == 0 else half_kept * half_kept
            if kept < 1.0:
                for k in range(n):
                    p[k] = fresh[k] + kept * (p[k] - fresh[k])
            if touched:
                if s > 0 or kept < 1.0:
                    d, found = _separate(p, edges, pressure[r], stiff, depth, d, 1e-5)
                    half, one = found[0], _worn(found[1], found[4], found[5], depth)
                # At constant load d falls at the rate c M_1/M_1/2: take it at the middle of the substep.
                c = wear[r] / steps
                _wear(p, edges, d - 0.5 * c * one / half, depth, 0.5 * c, work)
                d -= c * one / half
        if half_kept < 1.0:
            for k in range(n):
                p[k] = fresh[k] + half_kept * (p[k] - fresh[k])
        separation[r] = d
