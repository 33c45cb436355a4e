"""Pad summits in contact: load, real area and stiffness from the distribution of their heights.

The picture is Greenwood and Williamson's: ``density`` summits per area, each a
spherical cap of radius R, pressed by a flat wafer at separation d. A summit
pressed in by delta = z - d carries (4/3) E* sqrt(R) delta^(3/2) on an area
pi R delta while it is elastic. The mean pressure on it, 4 E*/(3 pi) sqrt(delta/R),
grows until it reaches the flow pressure H, at delta_c = R (3 pi H/(4 E*))^2.
Pressed further it flows: the pressure stays H on an area pi R (2 delta - delta_c),
which lets none of its volume get lost. Load and area go on without a jump.
Neighbours do not feel each other, so all of it holds while the real contact
fraction is small (pads: well below a few per cent).

Heights are held as probabilities of equal or unequal bins (``edges`` of n+1
heights [m], ``probability`` of n bins, summing to 1), uniform inside a bin.
Any measured or parametric distribution takes that form, the ageing pad too
(``summit_balance``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfcx, ndtr

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more
from planish.physics.surface.summit_flow import elastic_depth

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300: contact of nominally flat surfaces (read as quoted in "
    "Yastrebov's Greenwood-Tripp notes)",
    "Hertz contact (read as quoted in the ContactMechanics library); exponential heights: derived here",
    "Chang, Etsion & Bogy 1987, J. Tribol. 109, 257: a summit that flows at constant pressure keeps its volume"
    " (from memory)",
    "Sun, Zhuang, Borucki & Philipossian 2010, Jpn. J. Appl. Phys. 49, 066501: real contact area of a used"
    " pad grows with pressure, 0.026-0.059 % at 2-6 psi (abstract)",
    "Exponential tails on every pad sample measured: Sun et al., 'Investigation of Diamond Grit Size and Conditioning"
    " Force Effect on CMP Pads Topography' (abstract)",
    "Gaussian body with an exponential tail as the heights of a conditioned pad: derivation of our own",
)


@dataclass(frozen=True, slots=True)
class Contact:
    """Contact state at given separations; every field has the shape of the separation.

    Attributes
    ----------
    pressure
        Nominal pressure carried by the summits [Pa].
    area_fraction
        Real contact area over nominal area.
    count
        Summits in contact per nominal area [1/m^2].
    real_pressure
        Mean pressure on the real contact area [Pa]; 0 where nothing touches.
    stiffness
        -d(pressure)/d(separation) [Pa/m].
    decay_length
        pressure / stiffness [m]: lowering a place by this much takes its
        pressure to about 1/e. It is also how far the summits reach into low
        places, the topographic selectivity length of the die level. The exponential
        layer of this length has the summits' own pressure and stiffness here (everywhere
        for exponential tails): what the pressure solver puts in series with the elastic pad.
    flowing
        Share of the pressure that is carried by summits that flow.
    """

    pressure: Array
    area_fraction: Array
    count: Array
    real_pressure: Array
    stiffness: Array
    decay_length: Array
    flowing: Array


def plane_modulus(modulus: float, poisson: float) -> float:
    """Return the plane modulus of the summits (the wafer counts as rigid beside them).

    Parameters
    ----------
    modulus, poisson
        Of the summits: E [Pa], nu.

    Returns
    -------
    float
        E* = E / (1 - nu^2) [Pa].

    Raises
    ------
    ModelError
        Where the modulus is not above 0 or no body has the Poisson ratio.
    """
    above_zero("summit modulus [Pa]", modulus)
    if not -1.0 < poisson <= 0.5:
        raise ModelError(refuse("summit Poisson ratio", poisson, "above -1 and at most 0.5"))
    return modulus / (1.0 - poisson**2)


def table_integral(
    order: float,
    separation: ArrayLike,
    edges: ArrayLike,
    probability: ArrayLike,
    *,
    least: float = 0.0,
    most: float = inf,
) -> Array:
    """Return int (z-d)^n phi(z) dz of binned heights, over z from d + least to d + most.

    Parameters
    ----------
    order
        n, above -1.
    separation
        d [m], any shape.
    edges, probability
        Of the bins: (n+1,) increasing [m], (n,) summing to 1.
    least, most
        Of z - d [m], 0 or more: summits pressed in by less, or by more, are not counted.

    Returns
    -------
    Array
        [m^n], shape as ``separation``; exact for a density uniform in each bin.

    Raises
    ------
    ModelError
        Where the order is too low or the table of heights is none.
    """
    if not order > -1:
        raise ModelError(refuse("order of the contact integral", order, "above -1"))
    z, p = _checked(edges, probability)
    d = np.asarray(separation, dtype=np.float64)
    above = np.clip(z - d[..., None], least, most) ** (order + 1.0) / (order + 1.0)
    return np.asarray(np.diff(above, axis=-1) @ (p / np.diff(z)))


def height_grid(height_sd: float, tail_length: float, bins: int = 400, *, tails: float = 18.0) -> Array:
    """Return bin edges from four standard deviations below the body to the end of the tail.

    Parameters
    ----------
    height_sd
        Standard deviation of the body [m].
    tail_length
        Of the exponential tail [m].
    bins
        How many, 8 or more.
    tails
        Tail lengths from where the tail takes over from the body to the top; 18 leaves out 1.5e-8 of the
        tail.

    Returns
    -------
    Array
        [m], (bins+1,).

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    zero_or_more("summit height standard deviation [m]", height_sd)
    above_zero("summit tail length [m]", tail_length)
    if bins < 8:
        raise ModelError(refuse("bins", bins, "8 or more"))
    start = min(height_sd**2 / tail_length, 4.0 * height_sd)
    return np.linspace(-4.0 * height_sd - 0.5 * tail_length, start + tails * tail_length, bins + 1)


def fresh_heights(edges: ArrayLike, height_sd: float, tail_length: float) -> Array:
    """Return bin probabilities of as-conditioned summits: a Gaussian body with an exponential tail.

    Parameters
    ----------
    edges
        Of the bins [m], (n+1,).
    height_sd
        Standard deviation of the body [m]; 0 gives a pure exponential.
    tail_length
        Of the tail [m].

    Returns
    -------
    Array
        (n,), summing to 1: what lies beyond the last edge is put into the last bin.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Height = Gaussian(0, ``height_sd``) + exponential(``tail_length``), whose cumulative probability is
    Phi(x) - exp(u^2/2 - u x) Phi(x - u) with x = z/sd, u = sd/tail.
    """
    zero_or_more("summit height standard deviation [m]", height_sd)
    above_zero("summit tail length [m]", tail_length)
    z = np.asarray(edges, dtype=np.float64)
    if height_sd == 0.0:
        beyond = np.exp(-np.maximum(z, 0.0) / tail_length)
    else:
        x, u = z / height_sd, height_sd / tail_length
        # exp(u^2/2 - u x) Phi(x-u) written with the scaled complement so that nothing overflows
        y = (u - x) / sqrt(2.0)
        with np.errstate(over="ignore"):
            tail = np.where(
                y > 0,
                0.5 * np.exp(-0.5 * x * x) * erfcx(np.maximum(y, 0.0)),
                np.exp(np.minimum(0.5 * u * u - u * x, 700.0)) * ndtr(x - u),
            )
        beyond = ndtr(-x) + tail
    beyond[0], beyond[-1] = 1.0, 0.0
    return np.asarray(np.maximum(-np.diff(beyond), 0.0))


def level_and_deviation(edges: ArrayLike, probability: ArrayLike) -> tuple[Array, Array]:
    """Return mean and standard deviation of binned heights.

    Parameters
    ----------
    edges
        Of the bins: (n+1,) increasing [m].
    probability
        (..., n), each row summing to 1.

    Returns
    -------
    tuple[Array, Array]
        [m], (...,); exact for a density uniform in each bin.
    """
    z, p = np.asarray(edges, dtype=np.float64), np.asarray(probability, dtype=np.float64)
    middle, width = 0.5 * (z[1:] + z[:-1]), np.diff(z)
    mean = p @ middle
    square = p @ (middle * middle + width * width / 12.0)
    return np.asarray(mean), np.sqrt(np.maximum(square - mean * mean, 0.0))


def contact(
    separation: ArrayLike,
    edges: ArrayLike,
    probability: ArrayLike,
    *,
    density: float,
    tip_radius: float,
    modulus: float,
    flow_pressure: float = inf,
) -> Contact:
    """Return the contact of binned summits with a flat.

    Parameters
    ----------
    separation
        d of the flat [m], any shape.
    edges, probability
        Of the bins: (n+1,) increasing [m], (n,) summing to 1.
    density
        Summits per area, n [1/m^2].
    tip_radius
        R [m].
    modulus
        Plane modulus E* [Pa].
    flow_pressure
        H [Pa]; inf: summits never flow.

    Returns
    -------
    Contact
        Every field of the shape of ``separation``.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    With M_k = int (z-d)^k phi dz over the summits pressed in by less than delta_c, and N_k the same over those
    pressed in by more: p = n (4/3) E* sqrt(R) M_(3/2) + pi R n H (2 N_1 - delta_c N_0),
    A = pi R n (M_1 + 2 N_1 - delta_c N_0), dp/dd = -n 2 E* sqrt(R) M_(1/2) - 2 pi R n H N_0.
    """
    above_zero("summit density [1/m^2]", density)
    depth = elastic_depth(tip_radius, modulus, flow_pressure)
    d = np.asarray(separation, dtype=np.float64)
    load, flowing, slope = _loads(d, *_checked(edges, probability), depth)
    stiff = density * modulus * sqrt(tip_radius)
    one = table_integral(1.0, d, edges, probability)
    count = table_integral(0.0, d, edges, probability)
    if isfinite(depth):
        one = one + table_integral(1.0, d + depth, edges, probability)
    pressure, stiffness = 4.0 / 3.0 * stiff * load, 2.0 * stiff * slope
    area = pi * tip_radius * density * one
    touching = area > 0
    return Contact(
        pressure=pressure,
        area_fraction=area,
        count=density * count,
        real_pressure=np.divide(pressure, area, out=np.zeros_like(pressure), where=touching),
        stiffness=stiffness,
        decay_length=np.divide(pressure, stiffness, out=np.zeros_like(pressure), where=stiffness > 0),
        flowing=np.divide(flowing, load, out=np.zeros_like(pressure), where=load > 0),
    )


def _loads(separation: Array, z: Array, p: Array, depth: float) -> tuple[Array, Array, Array]:
    """Return load over (4/3) n E* sqrt(R), what of it lies on summits that flow, and stiffness over 2 n E* sqrt(R).

    The table integrals of orders 3/2, 1/2 and, of what flows, 1 and 0, from heights subtracted once and one square root.
    """
    pressed = z - separation[..., None]
    # sum over bins of density times (power at the upper edge less power at the lower), told by edges
    by_edge = -np.diff(p / np.diff(z), prepend=0.0, append=0.0)

    def counted(powers: Array, order: float) -> Array:
        return np.asarray(powers @ by_edge) / (order + 1.0)

    elastic = np.clip(pressed, 0.0, depth)
    threehalves = elastic * np.sqrt(elastic)
    load, slope = counted(elastic * threehalves, 1.5), counted(threehalves, 0.5)
    if not isfinite(depth):
        return load, np.zeros_like(load), slope
    # from u = z - d - delta_c: 2 N_1 - delta_c N_0 is 2 int u phi + delta_c N_0, without a difference
    beyond = np.maximum(pressed - depth, 0.0)
    count, further = counted(beyond, 0.0), counted(beyond * beyond, 1.0)
    # pi R H is (4/3) E* sqrt(R delta_c): the flowing part in the units of the elastic one
    flowing = sqrt(depth) * (2.0 * further + depth * count)
    return load + flowing, flowing, slope + 4.0 / 3.0 * sqrt(depth) * count


def separation_under(
    pressure: ArrayLike,
    edges: ArrayLike,
    probability: ArrayLike,
    *,
    density: float,
    tip_radius: float,
    modulus: float,
    flow_pressure: float = inf,
) -> Array:
    """Return the separation at which the summits carry a pressure.

    Parameters
    ----------
    pressure
        [Pa], any shape, above 0.
    edges, probability
        Of the bins: (n+1,) increasing [m], (n,) summing to 1.
    density, tip_radius, modulus, flow_pressure
        As for :func:`contact`.

    Returns
    -------
    Array
        d [m], shape as ``pressure``.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Newton on ln p, which is nearly straight in d, kept inside a shrinking bracket; relative error of the
    pressure below 1e-12.
    """
    want = np.asarray(pressure, dtype=np.float64)
    if np.any(~(want > 0)):
        raise ModelError(refuse("pressure on the summits [Pa]", float(np.min(want)), "above 0"))
    z, p = _checked(edges, probability)
    depth = elastic_depth(tip_radius, modulus, flow_pressure)
    stiff = density * modulus * sqrt(tip_radius)
    top = float(z[1:][p > 0].max())
    asked = want.ravel()
    low = np.full(asked.shape, float(z[0]) - _deepest(float(asked.max()) / (4.0 / 3.0 * stiff), depth))
    high = np.full(asked.shape, top)
    d = 0.5 * (low + high)
    left = np.arange(asked.size)  # those not found yet: what is found stays, and costs nothing more
    for turn in range(200):
        at, goal = d[left], asked[left]
        carried, _, stiffness = _loads(at, z, p, depth)
        load, slope = 4.0 / 3.0 * stiff * carried, 2.0 * stiff * stiffness
        off = np.abs(load - goal) > 1e-12 * goal
        if not off.any():
            break
        left, at, goal, load, slope = left[off], at[off], goal[off], load[off], slope[off]
        over = load > goal
        low[left] = lower = np.where(over, at, low[left])
        high[left] = upper = np.where(over, high[left], at)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = at + np.log(load / goal) * load / slope
        # Newton can swing over a level crowd of summits: every other later turn halves the bracket.
        newton = np.isfinite(step) & (step > lower) & (step < upper) & (turn < 6 or turn % 2 == 0)
        d[left] = np.where(newton, step, 0.5 * (lower + upper))
    return np.asarray(d.reshape(want.shape))


def _deepest(load: float, depth: float) -> float:
    """Return how far [m] below the lowest summit the flat certainly carries ``load`` (over (4/3) n E* sqrt(R))."""
    elastic: float = load ** (2.0 / 3.0)
    return (elastic if elastic <= depth else depth + load / sqrt(depth)) + 1e-12


def _checked(edges: ArrayLike, probability: ArrayLike) -> tuple[Array, Array]:
    z, p = np.asarray(edges, dtype=np.float64), np.asarray(probability, dtype=np.float64)
    if z.ndim != 1 or p.shape != (z.size - 1,):
        raise ModelError(
            refuse("shape of the height table", (z.shape, p.shape), "n+1 edges and n probabilities")
        )
    if np.any(~(np.diff(z) > 0)):
        raise ModelError(refuse("height bin edges", "not increasing", "strictly increasing"))
    if np.any(~(p >= 0)) or not abs(p.sum() - 1.0) < 1e-6:
        raise ModelError(refuse("sum of the height probabilities", float(p.sum()), "1, with none below 0"))
    return z, p
