"""Pad summits in contact: load, real area and stiffness from the distribution of their heights.

The picture is Greenwood and Williamson's: ``density`` summits per area, each a
spherical cap of radius R, pressed elastically by a flat wafer at separation d.
A summit of height z above d carries (4/3) E* sqrt(R) (z-d)^(3/2) on an area
pi R (z-d); neighbours do not feel each other, so all of it holds while the
real contact fraction is small (pads: well below a few per cent).

Heights are held as probabilities of equal or unequal bins (``edges`` of n+1
heights [m], ``probability`` of n bins, summing to 1), uniform inside a bin.
Any measured or parametric distribution takes that form, the ageing pad too
(``summit_balance``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfcx, ndtr

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300: contact of nominally flat surfaces (read as quoted in "
    "Yastrebov's Greenwood-Tripp notes)",
    "Hertz contact (read as quoted in the ContactMechanics library); exponential heights: derived here",
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
    """

    pressure: Array
    area_fraction: Array
    count: Array
    real_pressure: Array
    stiffness: Array
    decay_length: Array


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


def table_integral(order: float, separation: ArrayLike, edges: ArrayLike, probability: ArrayLike) -> Array:
    """Return int_d^inf (z-d)^n phi(z) dz of binned heights.

    Parameters
    ----------
    order
        n, above -1.
    separation
        d [m], any shape.
    edges, probability
        Of the bins: (n+1,) increasing [m], (n,) summing to 1.

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
    above = np.maximum(z - d[..., None], 0.0) ** (order + 1.0) / (order + 1.0)
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
    p = n (4/3) E* sqrt(R) M_(3/2), A = pi R n M_1, dp/dd = -n 2 E* sqrt(R) M_(1/2), with M_k = int (z-d)^k
    phi dz.
    """
    above_zero("summit density [1/m^2]", density)
    above_zero("summit tip radius [m]", tip_radius)
    above_zero("summit plane modulus [Pa]", modulus)
    stiff = density * modulus * sqrt(tip_radius)
    pressure = 4.0 / 3.0 * stiff * table_integral(1.5, separation, edges, probability)
    area = pi * tip_radius * density * table_integral(1.0, separation, edges, probability)
    stiffness = 2.0 * stiff * table_integral(0.5, separation, edges, probability)
    touching = area > 0
    return Contact(
        pressure=pressure,
        area_fraction=area,
        count=density * table_integral(0.0, separation, edges, probability),
        real_pressure=np.divide(pressure, area, out=np.zeros_like(pressure), where=touching),
        stiffness=stiffness,
        decay_length=np.divide(pressure, stiffness, out=np.zeros_like(pressure), where=stiffness > 0),
    )


def separation_under(
    pressure: ArrayLike,
    edges: ArrayLike,
    probability: ArrayLike,
    *,
    density: float,
    tip_radius: float,
    modulus: float,
) -> Array:
    """Return the separation at which the summits carry a pressure.

    Parameters
    ----------
    pressure
        [Pa], any shape, above 0.
    edges, probability
        Of the bins: (n+1,) increasing [m], (n,) summing to 1.
    density, tip_radius, modulus
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
    stiff = density * modulus * sqrt(tip_radius)
    top = float(z[1:][p > 0].max())
    # all summits pressed as if they were as high as the lowest: a separation that certainly carries enough
    deep = float(z[0]) - (float(want.max()) / (4.0 / 3.0 * stiff)) ** (2.0 / 3.0) - 1e-12
    low, high = np.full(want.shape, deep), np.full(want.shape, top)
    d = 0.5 * (low + high)
    for turn in range(200):
        load = 4.0 / 3.0 * stiff * table_integral(1.5, d, z, p)
        slope = 2.0 * stiff * table_integral(0.5, d, z, p)
        if np.all(np.abs(load - want) <= 1e-12 * want):
            break
        low, high = np.where(load > want, d, low), np.where(load > want, high, d)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = d + np.log(load / want) * load / slope
        # Newton can swing over a level crowd of summits: every other later turn halves the bracket.
        newton = np.isfinite(step) & (step > low) & (step < high) & (turn < 6 or turn % 2 == 0)
        d = np.where(newton, step, 0.5 * (low + high))
    return np.asarray(d)


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
