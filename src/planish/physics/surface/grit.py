"""What the diamonds of a disk do to the pad: who touches, how deep they plough, how much they cut, blunt and shed.

The tips of the diamonds stand at Gaussian heights of deviation sigma = chi d (grit size d, chi how unevenly it is
set), each a paraboloid of tip radius rho. A pad of hardness H carries pi rho H delta on a tip that is sunk in by
delta, so a plane at t deviations above the mean height follows from the force F on N tips,

    N F_1(t) = F/(pi rho H sigma),        F_n(t) = int_t^inf (x - t)^n phi(x) dx

With it come the share F_0 of the tips that touch, their mean depth s = sigma F_1/F_0, the load of one, and the
section N (4/3) sqrt(2 rho) sigma^1.5 F_1.5 of all furrows. Section times H/F is the cut number: an Archard
coefficient apart from how much of a furrow's section leaves as debris (about 0.4 %). Only ratios are used: a pad's
wear coefficient and its surface are stated for the reference disk and force of this module, on that pad.

With use, tips blunt and cut less but go as deep, so that cut and texture are two things. Grit that is pressed far
in, for its size, is shed more.

Limits. What holds of flattening tips or of a plane that wears was tried and turned the order of even and uneven
disks round; blunting sooner under deeper furrows is a fitted form. Even disks cut a little more after their first
hours, which is not described. Tip radius, hardness and unevenness cannot be told apart by cut rates alone.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero, zero_or_more
from planish.units import LBF

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Tips at Gaussian heights that plough a plastic pad; section, depth and load of their furrows: derivation of our"
    " own, after the summits of Greenwood & Williamson 1966 (read as quoted in Yastrebov's Greenwood-Tripp notes)",
    "US 7,150,677 B2, table 1: cut rate over 100 h of even and uneven electroplated disks of three grits, to which"
    " unevenness, halving time and its power were fitted (read)",
    "Cut rate halves in 32 h while texture and removal rate stay: Philipossian group, wear of conditioner disks"
    " (abstract)",
    "Furrows and pores add as variances; shed grit as exp(-0.3 d/s): derivation of our own, fitted to the order of"
    " the scratches in the same table",
)

REFERENCE_SIZE, REFERENCE_SHARE = 150e-6, 0.0235
"""Grit size [m] and furrow depth over grit size at which a disk's stated halving time is its own."""

DEEPEST = 0.5
"""Furrow depth over grit size at which diamonds are in the pad up to their bond (common practice, no source)."""

SHEDDING = 0.3
"""By how much (d/s) holds a diamond in its bond: shed grit goes as exp(-0.3 d/s)."""

_FAR = 37.0  # deviations above the mean, beyond which so little of a Gaussian is left that it is no number


class Grit(NamedTuple):
    """The diamonds of one disk.

    Attributes
    ----------
    size
        Of a diamond, d [m].
    tips
        On the whole disk, N.
    spread
        Standard deviation of their heights over the size, chi.
    tip_radius
        rho [m].
    """

    size: float
    tips: float
    spread: float
    tip_radius: float


class Furrows(NamedTuple):
    """What a pressed disk does.

    Attributes
    ----------
    plane
        Of the pad above the mean height of the tips, in their deviations, t; inf where nothing presses.
    active_share
        Of the tips that touch.
    depth
        Mean depth of a furrow, s [m].
    load
        Of a tip that touches [N].
    cut_number
        Section of all furrows times hardness over force.
    """

    plane: float
    active_share: float
    depth: float
    load: float
    cut_number: float


REFERENCE_GRIT = Grit(150e-6, 35e6 * 0.4 * math.pi * 0.05**2, 0.06, 20e-6)
"""Of the disk for which a pad's wear coefficient and surface are stated: 150 um diamonds, evenly set, 35 per mm^2
on two fifths of a disk of 100 mm (US 7,150,677 B2, table 1 has 35 per mm^2 on a ring that is 40 % of its disk)."""

REFERENCE_FORCE = 7.0 * LBF
"""On that disk [N] (common practice, no source)."""


def tail_integral(order: float, plane: float) -> float:
    """Return F_n(t), the mean of (x - t)^n over the Gaussian heights x above t.

    Parameters
    ----------
    order
        n, 0, 1 or 1.5.
    plane
        t, any.

    Returns
    -------
    float
        To about 1e-13 of it.
    """
    if order == 0.0:
        return 0.5 * math.erfc(plane / math.sqrt(2.0))
    density = math.exp(-0.5 * plane * plane) / math.sqrt(2.0 * math.pi)
    if order == 1.0:
        if plane < 2.0:
            return density - plane * tail_integral(0.0, plane)
        # Further out the two terms cancel. With I_n = F_n/n! and I_-1 = phi, (n + 1) I_n+1 = I_n-1 - t I_n gives
        # their ratios R_n = I_n/I_n-1 = 1/(t + (n + 1) R_n+1) from above.
        ratio, product = 0.0, 1.0
        for n in range(100, -1, -1):
            ratio = 1.0 / (plane + (n + 1) * ratio)
            if n <= 1:
                product *= ratio
        return density * product
    # x - t = u^2 makes the integrand even and smooth at u = 0, where the trapezoid rule then converges fast.
    most = math.sqrt(max(-plane, 0.0) + math.sqrt(max(plane, 0.0) ** 2 + 80.0) - max(plane, 0.0))
    u = np.linspace(0.0, most, 401)
    values = 2.0 * u ** (2.0 * order + 1.0) * np.exp(-0.5 * (u * u + plane) ** 2)
    return float(np.trapezoid(values, u)) / math.sqrt(2.0 * math.pi)


@lru_cache(maxsize=256)
def plough(grit: Grit, force: float, hardness: float) -> Furrows:
    """Return what a disk does that is pressed on the pad.

    Parameters
    ----------
    grit
        Its diamonds.
    force
        On the disk [N]; 0 leaves it hovering: no depth, no cut.
    hardness
        Of the pad, H [Pa].

    Returns
    -------
    Furrows
        Continuous in all of them. Where on average less than one tip would touch, one carries the force; no
        furrow is deeper than ``DEEPEST`` of the size, where the plate of the disk comes to rest on the pad.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    above_zero("grit size [m]", grit.size)
    above_zero("diamonds on the disk", grit.tips)
    above_zero("spread of the grit heights", grit.spread)
    above_zero("tip radius of the grit [m]", grit.tip_radius)
    above_zero("pad hardness [Pa]", hardness)
    zero_or_more("disk downforce [N]", force)
    sigma = grit.spread * grit.size
    stiff = math.pi * grit.tip_radius * hardness
    wanted = force / (stiff * sigma * grit.tips)
    if wanted <= tail_integral(1.0, _FAR):
        return Furrows(math.inf, 0.0, force / stiff, force, 0.0)
    plane = _plane(wanted)
    share = tail_integral(0.0, plane)
    touching = max(share * grit.tips, 1.0)
    depth = force / (stiff * touching)
    section = (
        grit.tips * 4.0 / 3.0 * math.sqrt(2.0 * grit.tip_radius) * sigma**1.5 * tail_integral(1.5, plane)
    )
    return Furrows(
        plane=plane,
        active_share=share,
        depth=min(depth, DEEPEST * grit.size),
        load=force / touching,
        cut_number=section * hardness / force,
    )


def _plane(wanted: float) -> float:
    """Return where F_1 has the value ``wanted``: Newton in its logarithm, from above after the first step.

    The logarithm is concave: a tangent from the left of the root overshoots it, one from the right does not reach it.
    """
    plane = -wanted
    for _ in range(200):
        here = tail_integral(1.0, plane)
        step = math.log(here / wanted) * here / tail_integral(0.0, plane)
        plane = min(plane + step, _FAR)
        if abs(step) <= 1e-14 * max(1.0, abs(plane)):
            break
    return plane


def halving_time(size: float, depth: float, stated: float, power: float) -> float:
    """Return the use [s] in which a disk's cut rate falls to half.

    Parameters
    ----------
    size
        Of a diamond, d [m].
    depth
        Of its furrows, s [m].
    stated
        That time for ``REFERENCE_SIZE`` and furrows ``REFERENCE_SHARE`` of the size deep, tau_0 [s].
    power
        m by which deeper furrows blunt sooner.

    Returns
    -------
    float
        tau_0 (d/150 um) ((s/d)/0.0235)^-m; inf where the disk does not touch.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    above_zero("grit size [m]", size)
    above_zero("halving time of the disk [s]", stated)
    zero_or_more("power of the dulling", power)
    zero_or_more("furrow depth [m]", depth)
    if depth == 0.0:
        return math.inf if power > 0.0 else stated * size / REFERENCE_SIZE
    slower = -power * math.log(depth / size / REFERENCE_SHARE)
    return stated * size / REFERENCE_SIZE * math.exp(min(slower, 600.0))


def sharpness(use: ArrayLike, halving: float) -> Array:
    """Return the cut rate that is left of a new disk's: 1/(1 + use/halving).

    Parameters
    ----------
    use
        Of the disk [s], any shape.
    halving
        From :func:`halving_time` [s].

    Returns
    -------
    Array
        Shape as ``use``.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    t = np.asarray(use, dtype=np.float64)
    if np.any(~(t >= 0)):
        raise ModelError(refuse("disk use [s]", float(np.min(t)), "0 or more"))
    if not halving > 0:
        raise ModelError(refuse("halving time of the disk [s]", halving, "above 0"))
    return np.asarray(1.0 / (1.0 + t / halving))


def texture_ratio(depth: float, reference: float, porosity: float) -> float:
    """Return how rough a disk leaves the pad, relative to the surface stated for it.

    Parameters
    ----------
    depth
        Of the furrows [m].
    reference
        Depth of those with which the stated surface was made [m].
    porosity
        Share of the pad's volume that is pores.

    Returns
    -------
    float
        Scales the body's deviation and the tail of the summit heights alike.

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    sqrt(porosity + (1 - porosity) (depth/reference)^2): the pores keep their own roughness, taken as the share
    ``porosity`` of the variance.
    """
    zero_or_more("furrow depth [m]", depth)
    above_zero("furrow depth of the stated surface [m]", reference)
    if not 0 <= porosity < 1:
        raise ModelError(refuse("pad porosity", porosity, "0 or more and below 1"))
    return math.sqrt(porosity + (1.0 - porosity) * (depth / reference) ** 2)


def shed_grit(grit: Grit, furrows: Furrows) -> float:
    """Return how much grit comes loose; only ratios of it mean something.

    Parameters
    ----------
    grit
        Of the disk.
    furrows
        That it ploughs.

    Returns
    -------
    float
        N F_0 exp(-0.3 d/s).
    """
    if furrows.depth <= 0.0:
        return 0.0
    return grit.tips * furrows.active_share * math.exp(-SHEDDING * grit.size / furrows.depth)
