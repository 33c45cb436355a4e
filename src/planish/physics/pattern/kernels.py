"""Weighting kernels of the effective density: square, Gaussian, elliptic.

A pad that bends over a die averages the layout density around each point. The
kernel is the weight of that average, of integral one; its ``length`` is the
planarization length. How ``length`` is meant, kernel by kernel:

* ``square``: the side of the window, w = 1/L^2 inside.
* ``elliptic``: the diameter L = 2a of a uniformly loaded disc on an elastic
  half-space; inside it the weight follows the surface deflection,
  w(r) = 3 E(m) / (4 pi a^2), m = (r/a)^2, E the complete elliptic integral of
  the second kind; zero outside. (The deflection outside decays as 1/r, whose
  integral over the plane diverges, so some cut is needed; this is the cut at
  the edge of the load.)
* ``gaussian``: the Gaussian whose second moment is that of the square window
  of side L, sigma = L / sqrt(12).

Cell integrals are exact to quadrature: the weight of a cell is the integral of
w over the cell, not w at its centre, so a cell that is coarse against the
kernel costs no accuracy.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, ellipk, erf, j0

from planish.engine.fixed import sealed
from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
Kernel = Literal["square", "gaussian", "elliptic"]
KERNELS: tuple[str, ...] = get_args(Kernel)

SOURCES: tuple[str, ...] = (
    "Effective density with elliptic weighting, after Ouma et al. 2002, IEEE Trans. Semicond. Manuf. 15, 232"
    " (read as quoted in a glossary of planarization)",
    "Deflection under a uniformly loaded disc on a half-space: derived here from Boussinesq's point load (read as"
    " quoted in the ASPHER documentation)",
    "cell integrals, moments and cut of the elliptic kernel: derivation of our own",
)

# Up to this many cells in the kernel's half width the cell integrals are exact; beyond it a cell is so
# small against the kernel (below 1/400 of its radius) that its centre value, with the rim cells cut by a
# straight line, is good to 1e-6.
EXACT_HALF_WIDTH = 400
#: Weights of one kernel (240 MB): 5 mm in cells of 1 um are 25 million.
MOST_WEIGHTS = 30_000_000
_GAUSS_CUT = 6.5  # sigmas kept of a Gaussian: the rest is 1e-10
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(10)
# E(m) for m1 = 1 - m: Abramowitz & Stegun 17.3.36 (read as quoted in the Rosetta source); |error| < 2e-8 by scipy.
_E_POLYNOMIAL = (0.44325141463, 0.06260601220, 0.04757383546, 0.01736506451)
_E_LOGARITHM = (0.24998368310, 0.09200180037, 0.04069697526, 0.00526449639)


def variance(kernel: Kernel, length: float) -> float:
    """Return the second moment per axis of a kernel.

    Parameters
    ----------
    kernel
        Which.
    length
        Planarization length L [m].

    Returns
    -------
    float
        [m^2].

    Raises
    ------
    ModelError
        Where there is no such kernel or length.

    Notes
    -----
    square L^2/12; gaussian L^2/12 (so defined); elliptic 7 L^2/120, from int_0^1 k E dk = 2/3 and int_0^1
    k^3 E dk = 14/45.
    """
    _checked(kernel, length)
    return length**2 * (7 / 120 if kernel == "elliptic" else 1 / 12)


def transform(kernel: Kernel, length: float, wave_number: Array) -> Array:
    """Return the kernel's Fourier transform, 1 at zero.

    Parameters
    ----------
    kernel
        Which; for the square one, which is not round, the transform along an axis.
    length
        Planarization length [m].
    wave_number
        Radial [rad/m], any shape.

    Returns
    -------
    Array
        Shape as ``wave_number``.

    Raises
    ------
    ModelError
        Where there is no such kernel or length, or a wave is far shorter than it.
    """
    _checked(kernel, length)
    q = np.asarray(wave_number, dtype=np.float64)
    if kernel == "gaussian":
        return np.asarray(np.exp(-variance(kernel, length) * q**2 / 2))
    if kernel == "square":
        return np.asarray(np.sinc(q * length / (2 * np.pi)))
    node, weight, e = _elliptic_rule()
    flat = np.abs(q.ravel()) * length / 2
    if flat.size and flat.max() > 400:
        raise ModelError(refuse("wave number times kernel radius", float(flat.max()), "400 or less"))
    out = np.array([np.dot(weight * e * node, j0(x * node)) for x in flat]) * 1.5
    return np.asarray(out.reshape(q.shape))


def elliptic_mass(ratio: Array) -> Array:
    """Return the share of the elliptic kernel inside a radius.

    Parameters
    ----------
    ratio
        k = r/a, any shape.

    Returns
    -------
    Array
        [(1+k^2)E - (1-k^2)K]/2, 1 beyond.
    """
    k2 = np.minimum(np.asarray(ratio, dtype=np.float64), 1.0) ** 2
    safe = np.minimum(k2, 1 - 1e-16)  # (1-k^2)K -> 0 at k = 1
    return np.asarray(0.5 * ((1 + k2) * ellipe(k2) - (1 - k2) * ellipk(safe)))


def half_width(kernel: Kernel, length: float, cell: float) -> int:
    """Return how many cells the kernel reaches to each side of its centre cell.

    Parameters
    ----------
    kernel
        Which.
    length
        Planarization length [m].
    cell
        Side of a cell [m].

    Returns
    -------
    int
        Cells.

    Raises
    ------
    ModelError
        Where there is no such kernel or length, or it is too wide for such cells.
    """
    _checked(kernel, length)
    reach = _GAUSS_CUT * length / math.sqrt(12) if kernel == "gaussian" else length / 2
    if reach > cell * (MOST_WEIGHTS / 2):
        raise ModelError(_too_wide(length, cell, reach / cell))
    return int(np.ceil(reach / cell - 0.5 + 1e-12)) if reach > cell / 2 else 0


def _too_wide(length: float, cell: float, reach: float) -> str:
    side = f"{2 * reach + 1:.3g}"
    return refuse(
        f"kernel of planarization length {length:.3g} m in cells of {cell:.3g} m",
        f"{side} x {side} cells",
        f"at most {MOST_WEIGHTS} cells in all",
        "take larger cells, or a shorter length",
    )


def axis_weights(kernel: Kernel, length: float, cell: float) -> Array:
    """Return the weights along an axis whose outer product is the square or Gaussian kernel.

    Parameters
    ----------
    kernel
        "square" or "gaussian".
    length
        Planarization length [m].
    cell
        Side of a cell [m].

    Returns
    -------
    Array
        (2n+1,).

    Raises
    ------
    ModelError
        Where the kernel is no such product, or too wide for such cells.
    """
    n = half_width(kernel, length, cell)
    edge = (np.arange(2 * n + 2) - n - 0.5) * cell
    if kernel == "square":
        cumulative = np.clip(edge / length, -0.5, 0.5)
    elif kernel == "gaussian":
        cumulative = 0.5 * erf(edge / np.sqrt(2 * variance(kernel, length)))
    else:
        raise ModelError(refuse("kernel with separable weights", kernel, "'square' or 'gaussian'"))
    weights = np.diff(cumulative)
    return np.asarray(weights / weights.sum())


def cell_weights(kernel: Kernel, length: float, cell: float, xp: Any = np) -> Any:
    """Return the kernel's integral over each square cell around the centre cell.

    Parameters
    ----------
    kernel
        Which.
    length
        Planarization length [m].
    cell
        Side of a cell [m].
    xp
        NumPy or CuPy; only kernels of more than 400 cells in half width are built there, smaller ones are
        built on the host.

    Returns
    -------
    weights
        (2n+1, 2n+1), sum 1.

    Raises
    ------
    ModelError
        For an unknown kernel, a size that is not above 0, or more than ``MOST_WEIGHTS`` weights.
    """
    if not cell > 0:
        raise ModelError(refuse("cell [m]", cell, "above 0"))
    n = half_width(kernel, length, cell)
    if (2 * n + 1) ** 2 > MOST_WEIGHTS:
        raise ModelError(_too_wide(length, cell, n))
    if n == 0:
        return xp.ones((1, 1))  # all within the cell
    if kernel != "elliptic":
        one = axis_weights(kernel, length, cell)
        return xp.asarray(np.outer(one, one))
    if n > EXACT_HALF_WIDTH:
        return _elliptic_fine(length / (2 * cell), n, xp)
    return xp.asarray(_elliptic_exact(round(length / (2 * cell), 12), n))


@lru_cache(maxsize=16)
def _elliptic_exact(radius: float, n: int) -> Array:
    """Exact elliptic cell integrals; ``radius`` in cells."""
    corner = np.concatenate([[0.0], np.arange(n + 1) + 0.5])
    wedge = _wedges(corner, radius)
    quadrant = wedge + wedge.T  # integral over [0, x_i] x [0, y_j]
    odd = np.concatenate([-quadrant[:0:-1], quadrant[1:]])  # odd in x and y
    full = np.concatenate([-odd[:, :0:-1], odd[:, 1:]], axis=1)
    weights = full[1:, 1:] - full[1:, :-1] - full[:-1, 1:] + full[:-1, :-1]
    weights = np.maximum(weights, 0.0)  # rounding outside the rim
    return sealed(np.asarray(weights / weights.sum()))


def _wedges(edge: Array, radius: float) -> Array:
    """Integral of w over the triangle (0,0), (x_i,0), (x_i,y_j), for all i, j.

    In polar angle it is int M(x/cos) dphi / 2pi with M the mass within a radius; in y,
    int M(sqrt(x^2+y^2)) x/(x^2+y^2) dy. Beyond y* = sqrt(a^2-x^2) M is 1 and the integral an angle.
    """
    x = edge[1:, None]
    rim = np.sqrt(np.maximum(radius**2 - x**2, 0.0))
    low, high = np.minimum(edge[None, :-1], rim), np.minimum(edge[None, 1:], rim)
    mid, half = 0.5 * (low + high), 0.5 * (high - low)
    inside = np.zeros_like(mid)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        y = mid + half * node
        r2 = x**2 + y**2
        inside += weight * half * elliptic_mass(np.sqrt(r2) / radius) * x / r2
    outside = np.arctan(np.maximum(edge[None, 1:], rim) / x) - np.arctan(np.maximum(edge[None, :-1], rim) / x)
    table = np.zeros((edge.size, edge.size))
    table[1:, 1:] = np.cumsum(inside + outside, axis=1) / (2 * np.pi)
    return table


def _elliptic_fine(radius: float, n: int, xp: Any) -> Any:
    """Elliptic weights from cell centres, rim cells cut by the tangent; ``radius`` in cells."""
    dtype = xp.float64 if xp is np else xp.float32
    line = xp.arange(-n, n + 1, dtype=dtype)
    r = xp.sqrt(line[:, None] ** 2 + line[None, :] ** 2)
    m1 = xp.clip(1 - (r / radius) ** 2, 1e-12, 1.0)
    polynomial, logarithm = xp.ones_like(m1), xp.zeros_like(m1)
    power = xp.ones_like(m1)
    for a, b in zip(_E_POLYNOMIAL, _E_LOGARITHM, strict=True):
        power *= m1
        polynomial += a * power
        logarithm += b * power
    polynomial -= logarithm * xp.log(m1)
    # Share of a rim cell inside: the unit square cut by the tangent at distance (radius - r) from its centre.
    safe = xp.maximum(r, 1)
    first, second = xp.abs(line[:, None]) / safe, xp.abs(line[None, :]) / safe
    big = xp.maximum(xp.maximum(first, second), 0.7)  # 0.7 only matters at the centre
    small = xp.maximum(xp.minimum(first, second), 1e-6)
    away = xp.clip((radius - r), -(big + small) / 2, (big + small) / 2)
    corner = ((big + small) / 2 - xp.abs(away)) ** 2 / (2 * big * small)
    past = xp.where(away > 0, 1 - corner, corner)
    polynomial *= xp.where(xp.abs(away) <= (big - small) / 2, 0.5 + away / big, past)
    return polynomial / polynomial.sum(dtype=xp.float64).astype(dtype)


@lru_cache(maxsize=1)
def _elliptic_rule() -> tuple[Array, Array, Array]:
    node, weight = np.polynomial.legendre.leggauss(400)
    # k = 1 - s^2 draws nodes to the rim, where E has a logarithmic derivative.
    s = 0.5 * (node + 1)
    k = 1 - s**2
    return sealed(k), sealed(weight * s), sealed(ellipe(k**2))


def _checked(kernel: str, length: float) -> None:
    if kernel not in KERNELS:
        raise ModelError(refuse("kernel", kernel, "one of " + ", ".join(KERNELS)))
    if not (np.isfinite(length) and length > 0):
        raise ModelError(refuse("planarization length [m]", length, "above 0"))
