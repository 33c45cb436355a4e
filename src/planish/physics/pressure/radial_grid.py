"""Rings of the wafer and of the retaining ring on which pressure is solved.

Nodes sit at r = a sin(theta) with theta evenly spaced: about a hundredth of the
radius apart in the middle, and closing in on the edge as the square root of the
distance to it. Between nodes it is p cos(theta) that is interpolated. That one
quantity is smooth both for a regular pressure and for the inverse-square-root
pressure under a sharp rigid edge, so one grid serves both to high order. The
ring has nodes r = m - w cos(phi) and p sin(phi) in the same role.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.engine.record import Kept
from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SUBCELLS = 5  # odd, so that a node is the middle of a subcell
AREA_SUBCELLS = 15  # for areas and loads, which may step anywhere
_STENCIL = 6  # nodes that a value between nodes is interpolated from


@dataclass(frozen=True, slots=True, repr=False)
class PressureGrid(Kept):
    """Rings under the wafer, and under the retaining ring where there is one.

    Attributes
    ----------
    wafer_radius
        [m].
    ring_inner, ring_outer
        Radii of the retaining ring [m]; 0 without one.
    r, ring_r
        Wafer nodes and ring nodes [m].
    areas, ring_areas
        Their shares of area [m^2], so that force = sum(areas * pressure).
    shares
        Of the wafer's area, at its nodes [1].
    wafer_edges, ring_edges
        Bounds [m] of annuli of just these areas.
    fine_edges
        Bounds [m] of the subcells, wafer first, then ring.
    spread
        (subcells, nodes), takes node pressures to subcell pressures, wafer first, then ring.
    """

    wafer_radius: float
    ring_inner: float
    ring_outer: float
    r: Array
    ring_r: Array
    areas: Array
    ring_areas: Array
    shares: Array
    wafer_edges: Array
    ring_edges: Array
    fine_edges: tuple[Array, Array]
    spread: tuple[Array, Array]

    @property
    def nodes(self) -> Array:
        """All nodes [m], wafer first."""
        return np.concatenate([self.r, self.ring_r])

    @property
    def all_areas(self) -> Array:
        """All shares of area [m^2], wafer first."""
        return np.concatenate([self.areas, self.ring_areas])

    @property
    def has_ring(self) -> bool:
        """Whether there is a retaining ring."""
        return self.ring_r.size > 0


def pressure_grid(
    wafer_radius: float,
    ring_inner: float | None = None,
    ring_outer: float | None = None,
    *,
    cells: int = 120,
) -> PressureGrid:
    """Return the grid for a wafer and a retaining ring.

    Parameters
    ----------
    wafer_radius
        [m].
    ring_inner, ring_outer
        Radii of the ring [m]; None without one.
    cells
        Number of wafer nodes; the ring gets a sixth as many. At the 120 of the default the outermost cell
        of a 300 mm wafer is 12 um wide.

    Returns
    -------
    PressureGrid
        Finest at the edges.

    Raises
    ------
    ModelError
        Where the ring is inside the wafer or inside out, or there are fewer than 16 cells.
    """
    if not (math.isfinite(wafer_radius) and wafer_radius > 0):
        raise ModelError(refuse("wafer radius [m]", wafer_radius, "more than 0"))
    if isinstance(cells, bool) or not isinstance(cells, int | np.integer) or not 16 <= cells <= 2000:
        raise ModelError(
            refuse(
                "pressure cells",
                cells,
                "a whole number from 16 to 2000",
                "120 is enough for 1e-4 under zones, 170 under a point load on 300 mm",
            )
        )
    r, fine, spread = _wafer_nodes(wafer_radius, cells)
    areas = wafer_radius**2 * wafer_areas(cells)
    empty = np.empty(0)
    ring_r, ring_fine, ring_spread, ring_areas, ring_edges = empty, empty, np.empty((0, 0)), empty, empty
    inner, outer = 0.0, 0.0
    if ring_inner is not None or ring_outer is not None:
        inner, outer = _check_ring(wafer_radius, ring_inner, ring_outer)
        ring_r, ring_fine, ring_spread = _ring_nodes(inner, outer, max(16, cells // 6))
        ring_areas = _annuli(ring_fine) @ ring_spread
        ring_areas *= math.pi * (outer**2 - inner**2) / ring_areas.sum()
        ring_edges = _edges(inner, ring_areas, outer)
    return PressureGrid(
        wafer_radius=wafer_radius,
        ring_inner=inner,
        ring_outer=outer,
        r=r,
        ring_r=ring_r,
        areas=areas,
        ring_areas=ring_areas,
        shares=areas / areas.sum(),
        wafer_edges=_edges(0.0, areas, wafer_radius),
        ring_edges=ring_edges,
        fine_edges=(fine, ring_fine),
        spread=(spread, ring_spread),
    )


@lru_cache(maxsize=16)
def wafer_areas(cells: int) -> Array:
    """Return the nodes' shares of the area of a wafer of radius 1, the integrals of their functions.

    Parameters
    ----------
    cells
        Number of wafer nodes.

    Returns
    -------
    Array
        (cells,).
    """
    _, fine, spread = wafer_functions(cells, AREA_SUBCELLS)
    areas = _annuli(np.sin(fine)) @ spread
    return sealed(np.asarray(areas * (np.pi / areas.sum()), dtype=np.float64))


def _check_ring(wafer: float, inner: float | None, outer: float | None) -> tuple[float, float]:
    if inner is None or outer is None:
        raise ModelError(refuse("retaining ring radii [m]", (inner, outer), "both given or neither"))
    if not (math.isfinite(inner) and inner >= wafer):
        raise ModelError(refuse("ring inner radius [m]", inner, f"the wafer radius {wafer:g} or more"))
    if not (math.isfinite(outer) and outer > inner):
        raise ModelError(refuse("ring outer radius [m]", outer, f"more than the inner radius {inner:g}"))
    return inner, outer


def _annuli(edges: Array) -> Array:
    """Return the areas [m^2] between consecutive edges, without the loss of squaring first."""
    return np.pi * np.diff(edges) * (edges[1:] + edges[:-1])


def _edges(inner: float, areas: Array, outer: float) -> Array:
    """Return the radii that bound annuli of the given areas from ``inner`` outward."""
    edges = np.sqrt(inner**2 + np.concatenate([[0.0], np.cumsum(areas)]) / np.pi)
    edges[-1] = outer
    return edges


def _wafer_nodes(radius: float, cells: int) -> tuple[Array, Array, Array]:
    theta, fine, spread = wafer_functions(cells, SUBCELLS)
    return radius * np.sin(theta), radius * np.sin(fine), spread


def _ring_nodes(inner: float, outer: float, cells: int) -> tuple[Array, Array, Array]:
    phi, fine, spread = _ring_functions(cells)
    centre, half = 0.5 * (outer + inner), 0.5 * (outer - inner)
    return centre - half * np.cos(phi), centre - half * np.cos(fine), spread


def wafer_nodes(cells: int) -> Array:
    """Return the nodes of a wafer of radius 1.

    Parameters
    ----------
    cells
        Number of wafer nodes.

    Returns
    -------
    Array
        (cells,).
    """
    return np.asarray(np.sin((np.arange(cells) + 0.5) * (0.5 * np.pi / cells)))


@lru_cache(maxsize=16)
def wafer_functions(cells: int, subcells: int) -> tuple[Array, Array, Array]:
    """Return theta of the nodes, theta of the subcell edges, and the spread from nodes to subcells.

    Parameters
    ----------
    cells
        Number of wafer nodes.
    subcells
        How many to a node.

    Returns
    -------
    tuple[Array, Array, Array]
        (cells,), (cells*subcells + 1,) and (cells*subcells, cells).

    Notes
    -----
    p cos(theta) is interpolated; a subcell has the pressure of its middle.
    """
    step = 0.5 * np.pi / cells
    theta = (np.arange(cells) + 0.5) * step
    middle = (np.arange(cells * subcells) + 0.5) * step / subcells
    spread = _interpolation(middle / step - 0.5, cells, even_start=True)
    spread *= np.cos(theta)[None, :] / np.cos(middle)[:, None]
    return (
        sealed(np.asarray(theta, dtype=np.float64)),
        sealed(np.asarray(np.linspace(0.0, 0.5 * np.pi, cells * subcells + 1), dtype=np.float64)),
        sealed(spread),
    )


@lru_cache(maxsize=16)
def _ring_functions(cells: int) -> tuple[Array, Array, Array]:
    """Return the same for the ring in phi, where p sin(phi) is interpolated."""
    step = np.pi / cells
    phi = (np.arange(cells) + 0.5) * step
    middle = (np.arange(cells * SUBCELLS) + 0.5) * step / SUBCELLS
    spread = _interpolation(middle / step - 0.5, cells, even_start=False)
    spread *= np.sin(phi)[None, :] / np.sin(middle)[:, None]
    return (
        sealed(np.asarray(phi, dtype=np.float64)),
        sealed(np.asarray(np.linspace(0.0, np.pi, cells * SUBCELLS + 1), dtype=np.float64)),
        sealed(spread),
    )


def _interpolation(at: Array, count: int, *, even_start: bool) -> Array:
    """Return the matrix from values at 0 .. count-1 to values at ``at``, by local polynomials.

    Where ``even_start`` the values continue as their mirror image about -1/2;
    at the other ends the polynomial of the last nodes is carried on.
    """
    first = np.floor(at).astype(int) - (_STENCIL // 2 - 1)
    first = np.minimum(first, count - _STENCIL)
    if not even_start:
        first = np.maximum(first, 0)
    offsets = np.arange(_STENCIL)
    nodes = first[:, None] + offsets[None, :]
    weights = np.ones(nodes.shape)
    for k in range(_STENCIL):
        for other in range(_STENCIL):
            if other != k:
                weights[:, k] *= (at - nodes[:, other]) / (k - other)
    matrix = np.zeros((at.size, count))
    rows = np.arange(at.size)
    for k in range(_STENCIL):  # no row meets a column twice within one k
        matrix[rows, np.where(nodes[:, k] < 0, -1 - nodes[:, k], nodes[:, k])] += weights[:, k]
    return matrix
