"""Elastic compliance of a flat pad: how far a pressure wave, or a pressed cell, sinks it.

A pressure p(x) = P cos(q x) on a linear elastic body sinks its surface by C(q) P cos(q x). The
half-space has C(q) = 2/(E* q); a layered pad has its own curve. On a periodic surface that curve,
sampled at the grid's wave numbers, is the whole operator. A surface that stands alone needs the
response in real space instead, convolved without wrap-around.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.fft

from planish.errors import ModelError, refuse

SOURCES: tuple[str, ...] = (
    "Sinusoidal pressure on a half-space: Westergaard 1939, J. Appl. Mech. 6, 49 (read as quoted in the "
    "ContactMechanics library)",
    "Love 1929, Phil. Trans. R. Soc. A 228, 377: uniform pressure on a rectangle (read as quoted in the ASPHER "
    "documentation)",
)

Compliance = Callable[[Any], Any]
"""Maps wave numbers [rad/m] to surface compliance [m/Pa]."""


def half_space_compliance(q: Any, plane_modulus: float) -> Any:
    """Return the surface compliance of an elastic half-space.

    Parameters
    ----------
    q
        Wave numbers [rad/m], any shape.
    plane_modulus
        E* = E/(1 - nu^2) [Pa].

    Returns
    -------
    Any
        2/(E* q) [m/Pa], shape as ``q``.

    Notes
    -----
    At q = 0 the half-space has no finite compliance; 0 is returned there, which measures displacements from
    the mean plane of the pressed surface.
    """
    q = np.asarray(q, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.where(q > 0.0, 2.0 / (plane_modulus * q), 0.0)


def as_compliance(compliance: Compliance | float) -> Compliance:
    """Return a compliance function.

    Parameters
    ----------
    compliance
        Such a function, or a number: the plane modulus E* [Pa] of a half-space.

    Returns
    -------
    Compliance
        C(q) [m/Pa].

    Raises
    ------
    ModelError
        Where a number is not above 0, or it is neither.
    """
    if callable(compliance):
        return compliance
    modulus = float(compliance)
    if not (np.isfinite(modulus) and modulus > 0.0):
        raise ModelError(refuse("compliance", compliance, "a plane modulus above 0 Pa, or a function of q"))
    return lambda q: half_space_compliance(q, modulus)


def wave_numbers(shape: tuple[int, int], cell: tuple[float, float]) -> np.ndarray:
    """Return |q| of the half-spectrum of a grid.

    Parameters
    ----------
    shape
        Grid (ny, nx).
    cell
        Cell sizes (dy, dx) [m].

    Returns
    -------
    np.ndarray
        [rad/m], (ny, nx//2 + 1).
    """
    qy = 2.0 * np.pi * np.fft.fftfreq(shape[0], cell[0])
    qx = 2.0 * np.pi * np.fft.rfftfreq(shape[1], cell[1])
    return np.asarray(np.hypot(qy[:, None], qx[None, :]))


@dataclass(frozen=True)
class Kernel:
    """The elastic operator of one grid, ready to multiply half-spectra.

    Attributes
    ----------
    multiplier
        Real factors on the half-spectrum of the pressure [m/Pa]; shape of the transform grid.
    inverse
        Approximate inverse [Pa/m] on the half-spectrum of the surface itself (the preconditioner).
    shape
        Grid of the surface (ny, nx).
    padded
        Grid of the transform: `shape` if periodic, twice as large if the surface stands alone.
    """

    multiplier: np.ndarray
    inverse: np.ndarray
    shape: tuple[int, int]
    padded: tuple[int, int]


def _sampled(compliance: Compliance, q: np.ndarray) -> np.ndarray:
    """Evaluate `compliance` on a grid, checked; an infinite value at q = 0 becomes 0."""
    # Grid wave numbers repeat by symmetry; a layered compliance is dear, so each is computed once.
    distinct, back = np.unique(q, return_inverse=True)
    curve = np.zeros_like(distinct)
    positive = distinct > 0.0
    curve[positive] = compliance(distinct[positive])
    if not positive[0]:
        with np.errstate(all="ignore"):
            at_rest = float(np.asarray(compliance(np.zeros(1))).reshape(-1)[0])
        curve[0] = at_rest if np.isfinite(at_rest) else 0.0
    if not np.all(np.isfinite(curve)) or np.any(curve[positive] <= 0.0):
        raise ModelError(refuse("compliance", "a function of q", "finite and positive at every q > 0"))
    return curve[back].reshape(q.shape)


def periodic_kernel(shape: tuple[int, int], cell: tuple[float, float], compliance: Compliance) -> Kernel:
    """Return the operator of a surface that repeats in both directions.

    Parameters
    ----------
    shape
        Grid (ny, nx).
    cell
        Cell sizes (dy, dx) [m].
    compliance
        C(q) [m/Pa]. If finite at q = 0, the approach counts from the unloaded pad.

    Returns
    -------
    Kernel
        For :class:`ContactProblem`.

    Raises
    ------
    ModelError
        Where the compliance is not finite and above 0 at some wave number.
    """
    multiplier = _sampled(compliance, wave_numbers(shape, cell))
    return Kernel(multiplier, _inverted(multiplier), shape, shape)


def free_kernel(shape: tuple[int, int], cell: tuple[float, float], compliance: Compliance) -> Kernel:
    """Return the operator of a surface that stands alone: nothing presses the pad outside it.

    Parameters
    ----------
    shape
        Grid (ny, nx).
    cell
        Cell sizes (dy, dx) [m].
    compliance
        C(q) [m/Pa].

    Returns
    -------
    Kernel
        For :class:`ContactProblem`.

    Raises
    ------
    ModelError
        Where the compliance is not finite and above 0 at some wave number.

    Notes
    -----
    The pad's response is that of a half-space of its short-wave modulus, exact for uniformly pressed cells,
    plus the smooth difference made by the layers below (zero for a half-space).
    """
    ny, nx = shape
    padded = (2 * ny, 2 * nx)
    top = np.pi / min(cell) * 64.0
    modulus = float(2.0 / (top * np.asarray(compliance(np.array([top])))[0]))
    y = np.minimum(np.arange(2 * ny), 2 * ny - np.arange(2 * ny)) * cell[0]
    x = np.minimum(np.arange(2 * nx), 2 * nx - np.arange(2 * nx)) * cell[1]
    response = _pressed_rectangle(y[:, None], x[None, :], cell) / (np.pi * modulus)
    distance = np.hypot(y[:, None], x[None, :])
    response += cell[0] * cell[1] * _layer_difference(distance, compliance, modulus)
    multiplier = scipy.fft.rfft2(response).real
    return Kernel(multiplier, _inverted(_sampled(compliance, wave_numbers(shape, cell))), shape, padded)


def _inverted(multiplier: np.ndarray) -> np.ndarray:
    inverse = np.zeros_like(multiplier)
    np.divide(1.0, multiplier, out=inverse, where=multiplier > 0.0)
    inverse[0, 0] = 0.0
    return inverse


def _pressed_rectangle(y: np.ndarray, x: np.ndarray, cell: tuple[float, float]) -> np.ndarray:
    """Integral of 1/r over a rectangle centred at the origin, seen from (y, x) [m]."""

    def corner(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        # a * asinh(b/|a|) + b * asinh(a/|b|); cells are seen from centres, so a, b are never 0
        return np.asarray(a * np.arcsinh(b / np.abs(a)) + b * np.arcsinh(a / np.abs(b)))

    up, down = y + cell[0] / 2, y - cell[0] / 2
    right, left = x + cell[1] / 2, x - cell[1] / 2
    return np.asarray(corner(up, right) - corner(up, left) - corner(down, right) + corner(down, left))


def _layer_difference(distance: np.ndarray, compliance: Compliance, modulus: float) -> np.ndarray:
    """Point response [m/(Pa m^2)] of the pad minus that of the half-space of `modulus`.

    (1/2pi) * integral of [C(q) - 2/(E* q)] J0(q r) q dq. The bracket vanishes for waves short
    against the top layer, so the integral is smooth and short.
    """
    from scipy.interpolate import CubicSpline
    from scipy.special import j0

    farthest = float(distance.max())
    probe = np.geomspace(1e-3 / farthest, 1e3 * np.pi / farthest * max(distance.shape), 400)
    bracket = np.asarray(compliance(probe)) * probe - 2.0 / modulus
    differs = np.abs(bracket) > 1e-9 * 2.0 / modulus
    if not differs.any():
        return np.zeros_like(distance)
    q_end = float(probe[differs][-1])
    # panels of at most half a period of J0 at the farthest point, 8 Gauss points each
    panels = int(np.clip(np.ceil(q_end * farthest / np.pi), 32, 20000))
    nodes, weights = np.polynomial.legendre.leggauss(8)
    edges = np.linspace(0.0, q_end, panels + 1)
    half = np.diff(edges)[:, None] / 2
    q = (edges[:-1, None] + half + half * nodes).ravel()
    w = (half * weights).ravel()
    density = (np.asarray(compliance(q)) * q - 2.0 / modulus) * w / (2.0 * np.pi)
    radii = np.linspace(0.0, farthest, 1025)
    table = np.array([density @ j0(q * r) for r in radii])
    return np.asarray(CubicSpline(radii, table)(distance))
