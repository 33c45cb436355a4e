"""Zernike polynomials on the unit disk, as a basis for maps of a round wafer."""

from __future__ import annotations

from math import comb

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Zernike polynomials, normalised as in Noll 1976, J. Opt. Soc. Am. 66, 207 (read as quoted in the POPPY "
    "source): "
    "orthonormal on the unit disk with weight 1/pi",
)


def indices(order: int) -> list[tuple[int, int]]:
    """Return all (n, m) with n <= order, ``|m|`` <= n and n - m even, in rising n.

    Parameters
    ----------
    order
        The highest n.

    Returns
    -------
    list[tuple[int, int]]
        One pair a polynomial.
    """
    return [(n, m) for n in range(order + 1) for m in range(-n, n + 1, 2)]


def terms(order: int) -> int:
    """Return how many polynomials there are.

    Parameters
    ----------
    order
        The highest n.

    Returns
    -------
    int
        Count.
    """
    return (order + 1) * (order + 2) // 2


def radial(n: int, m: int, rho: Array) -> Array:
    """Return the radial polynomial ``R_n^|m|``.

    Parameters
    ----------
    n, m
        Of the polynomial.
    rho
        Radius, 0 to 1, any shape.

    Returns
    -------
    Array
        Shape as ``rho``.
    """
    m = abs(m)
    out = np.zeros_like(rho)
    for k in range((n - m) // 2 + 1):
        c = (-1) ** k * comb(n - k, k) * comb(n - 2 * k, (n - m) // 2 - k)
        out += c * rho ** (n - 2 * k)
    return out


def basis(x: Array, y: Array, radius: float, order: int) -> Array:
    """Return the polynomials at points of a disk.

    Parameters
    ----------
    x, y
        [m], (points,).
    radius
        Of the disk [m].
    order
        The highest n.

    Returns
    -------
    Array
        (points, terms). Column 0 is 1 everywhere; each has mean square 1 over the disk.
    """
    rho, phi = np.hypot(x, y) / radius, np.arctan2(y, x)
    columns = []
    for n, m in indices(order):
        norm = np.sqrt((n + 1) * (1 if m == 0 else 2))
        angle = np.cos(m * phi) if m >= 0 else np.sin(-m * phi)
        columns.append(norm * radial(n, m, rho) * angle)
    return np.column_stack(columns)
