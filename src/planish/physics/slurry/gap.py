"""The gap between a rough pad with grooves and the wafer: how open it is, and how easily liquid flows through it."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Film between rough faces: Patir & Cheng 1978, J. Lubr. Technol., its flow factor (read as quoted in a "
    "piston-machine gap solver)",
    "Film between rough faces: Patir & Cheng 1979, J. Lubr. Technol., its shear factor (from memory)",
    "Flow along a rectangular groove, 1 - 0.63 of the narrow over the wide side (read as quoted in a channel-flow "
    "code), its small term that of torsion (read as quoted in a bar-frequency code), one problem: derived here",
)

CLOSED = 1e-10  # [m]: no gap between solids is smaller
_ROOT = sqrt(2.0 * pi)
_MOST_SHEARED = 0.5506  # gap over roughness at which Phi^2 over the mean open gap is greatest


@dataclass(frozen=True, slots=True)
class Gap:
    """The gap between wafer and pad as the film sees it.

    Attributes
    ----------
    height
        Mean gap where summits carry the mean pressure, h0 [m].
    roughness
        Standard deviation of the pad's heights, sigma [m].
    tail
        Length over which summits' load falls to 1/e, s [m].
    groove_width, groove_depth, groove_pitch
        [m]; a depth of 0 is a pad without grooves.
    groove_share
        Share of the area that is groove [1].
    crossed
        Whether grooves run both ways, so that the flow finds one along it wherever it goes.
    drainage
        Length over which open pores let the pressure out [m]; infinite for none.
    """

    height: float
    roughness: float
    tail: float
    groove_width: float = 0.0
    groove_depth: float = 0.0
    groove_pitch: float = 1.0
    groove_share: float = 0.0
    crossed: bool = False
    drainage: float = float("inf")


def groove_height(share: float, depth: float, tail: float) -> float:
    """Return how much closer the wafer comes because grooves take land from the summits.

    Parameters
    ----------
    share
        Of the area that is groove [1].
    depth, tail
        Of the groove, and of the summits [m].

    Returns
    -------
    float
        s ln[(1 - f) + f exp(-d/s)] [m], 0 or less: nothing jumps where a groove is worn away.
    """
    return tail * log((1.0 - share) + share * exp(-depth / tail))


def rough_height(height: ArrayLike, roughness: float) -> Array:
    """Return the mean of the open gap of a rough pad: what is above its surface.

    Parameters
    ----------
    height
        Between the mean planes [m], any shape, also below 0.
    roughness
        sigma of Gaussian heights [m], above 0.

    Returns
    -------
    Array
        sigma [z Phi(z) + phi(z)], z = h/sigma [m].
    """
    z = np.asarray(height, dtype=np.float64) / roughness
    relative, bell = _opened(z, ndtr(z))
    if z.min() <= -8.0:  # there z Phi + phi loses its digits: bell/z^2 is its limit
        far = np.minimum(z, -8.0)
        relative = np.where(z > -8.0, relative, bell / (far * far))
    return np.asarray(np.maximum(roughness * relative, CLOSED))


def _opened(z: Array, clear: Array) -> tuple[Array, Array]:
    """Return the mean open gap over sigma, z Phi(z) + phi(z), from z and ``clear`` Phi(z), and phi(z)."""
    bell = np.exp(-0.5 * z * z) / _ROOT
    return z * clear + bell, bell


def tip_relief(density: float, tip_radius: float) -> float:
    """Return how deep the pad lies below the tips of its summits on average, by their roundness alone.

    Parameters
    ----------
    density
        Of the summits [1/m^2].
    tip_radius
        [m].

    Returns
    -------
    float
        1/(4 pi n R) [m]: a paraboloid of tip radius R falls by r^2/2R, averaged over the area 1/n that is its own.
    """
    return 1.0 / (4.0 * pi * density * tip_radius)


def rough_shear(height: ArrayLike, roughness: float, relief: float) -> Array:
    """Return the shear rate over the sliding speed in the open part of the gap, over the whole area.

    Parameters
    ----------
    height
        Between the mean planes [m], any shape, also below 0.
    roughness
        sigma of Gaussian heights [m], above 0.
    relief
        Mean depth below the tips (:func:`tip_relief`) [m], above 0.

    Returns
    -------
    Array
        Phi(z)^2 over the mean open gap, z = h/sigma [1/m]: 1/h where all of it is open; at most 1/relief, and never
        less in a closer gap.

    Notes
    -----
    Phi is the share of the *tips* that stand clear, and tips touch with a few per cent of their area only. So where
    more of them touch than at the greatest Phi^2 over open gap (``_MOST_SHEARED``), the shear stays what it is there;
    and where all are worn to one height, the liquid still stands as deep as tips are round.
    """
    z = np.maximum(np.asarray(height, dtype=np.float64) / roughness, _MOST_SHEARED)
    clear = ndtr(z)
    open_gap = np.maximum(roughness * _opened(z, clear)[0], CLOSED)
    return np.asarray(np.minimum(clear * clear / open_gap, 1.0 / relief))


def flow_factor(ratio: ArrayLike) -> Array:
    """Return Patir and Cheng's pressure flow factor of an isotropic surface.

    Parameters
    ----------
    ratio
        H, gap over roughness [1].

    Returns
    -------
    Array
        phi_x = 1 - 0.9 exp(-0.56 H) [1].
    """
    return np.asarray(1.0 - 0.9 * np.exp(-0.56 * np.asarray(ratio, dtype=np.float64)))


def shear_factor(ratio: ArrayLike) -> Array:
    """Return Patir and Cheng's shear flow factor of an isotropic surface.

    Parameters
    ----------
    ratio
        H, gap over roughness [1].

    Returns
    -------
    Array
        phi_s = 1.899 H^0.98 exp(-0.92 H + 0.05 H^2) up to H = 5, 1.126 exp(-0.25 H) beyond [1].
    """
    H = np.maximum(np.asarray(ratio, dtype=np.float64), 1e-12)
    far = H.max() > 5.0
    low = np.minimum(H, 5.0) if far else H
    near = 1.899 * low**0.98 * np.exp((0.05 * low - 0.92) * low)
    return np.asarray(np.where(H <= 5.0, near, 1.126 * np.exp(-0.25 * H)) if far else near)


def duct_conductance(width: ArrayLike, height: ArrayLike) -> Array:
    """Return the flow along a rectangular duct at unit viscosity and pressure gradient.

    Parameters
    ----------
    width, height
        Of the duct [m].

    Returns
    -------
    Array
        G = m^3 M/12 [1 - 0.63 (m/M)(1 - (m/M)^4/12)] [m^4], m and M the lesser and greater of the two.
    """
    a, b = np.asarray(width, dtype=np.float64), np.asarray(height, dtype=np.float64)
    m, M = np.minimum(a, b), np.maximum(a, b)
    q = m / M
    square = q * q
    return np.asarray(m * m * m * M / 12.0 * (1.0 - 0.63 * q * (1.0 - square * square / 12.0)))


def mobility(gap: Gap, viscosity: float, height: ArrayLike) -> Array:
    """Return the flow per width and pressure gradient of the gap and the grooves under it.

    Parameters
    ----------
    gap
        Of the pad.
    viscosity
        [Pa s].
    height
        Open gap [m], from :func:`rough_height`.

    Returns
    -------
    Array
        K [m^3/(Pa s)], half the trace of what it is along and across the grooves (exact on a disk with an
        even source, whatever the grooves' direction); along, for grooves that run both ways.
    """
    h = np.asarray(height, dtype=np.float64)
    cube = h * h * h
    land = flow_factor(h / gap.roughness) * cube / (12.0 * viscosity)
    if gap.groove_depth <= 0 or gap.groove_share <= 0:
        return np.asarray(land)
    deep, f = h + gap.groove_depth, gap.groove_share
    ducts = duct_conductance(gap.groove_width, deep) - duct_conductance(gap.groove_width, h)
    along = land + np.maximum(ducts, 0.0) / (viscosity * gap.groove_pitch)
    if gap.crossed:
        return np.asarray(along)
    over_groove = land + (deep * deep * deep - cube) / (12.0 * viscosity)
    across = 1.0 / ((1.0 - f) / land + f / over_groove)
    return np.asarray(0.5 * (along + across))
