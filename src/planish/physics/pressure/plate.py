"""The wafer as a thin elastic plate with a free edge, in the round, and what its back is loaded with.

The plate is held as a flexibility: the deflection at each ring per unit force
on each other ring. It comes from the closed form for a ring load, so nothing is
differenced and nothing inverted, and finely graded rings cost no accuracy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.engine.record import Kept
from planish.errors import ModelError, refuse
from planish.physics.pressure.layers import Base, plate_stiffness
from planish.physics.pressure.radial_grid import (
    AREA_SUBCELLS,
    PressureGrid,
    wafer_areas,
    wafer_functions,
    wafer_nodes,
)

Array = NDArray[np.float64]
Values = Array | Sequence[float]

SOURCES: tuple[str, ...] = (
    "Thin plate theory, D = E h^3/12(1 - nu^2): Elastic Analysis of Circular Plates, 2020, eq. 4 (read)",
    "Free-edged plate under ring loads from the mean of rho^2 ln(rho) over a circle: derivation of our own",
)


@dataclass(frozen=True, slots=True, repr=False)
class PlateOperator(Kept):
    """A wafer's bending on a grid.

    Attributes
    ----------
    flexibility
        [m/N], (nodes, nodes): deflection at node i per unit force on node j, the force balanced evenly over
        the wafer and the deflection counted from its mean over area.
    areas
        Of the nodes [m^2], (nodes,).
    rigidity
        D [N m].
    poisson
        Of the wafer.
    backing
        Pressure that a film between the wafer and a rigid plate behind it gains per length [Pa/m]; 0 without.
    """

    flexibility: Array
    areas: Array
    rigidity: float
    poisson: float
    backing: float = 0.0

    def held(self, shape: Array) -> Array:
        """Return what is left, loads and pad apart, of a shape that the wafer has by itself.

        Parameters
        ----------
        shape
            [m], (nodes,).

        Returns
        -------
        Array
            [m], (nodes,), counted from its mean: a membrane leaves all of it, a backing presses it flat.
        """
        own = shape - float(self.areas @ shape) / float(self.areas.sum())
        if self.backing == 0.0:
            return np.asarray(own)
        return np.asarray(own - self.backing * (self.flexibility @ (self.areas * own)))


def plate_operator(grid: PressureGrid, modulus: float, poisson: float, thickness: float) -> PlateOperator:
    """Return the bending of a wafer.

    Parameters
    ----------
    grid
        Whose wafer nodes are taken.
    modulus, poisson, thickness
        Of the wafer: Young's modulus [Pa], Poisson ratio, [m].

    Returns
    -------
    PlateOperator
        On the grid's wafer nodes.

    Raises
    ------
    ModelError
        Where a value cannot belong to a plate.
    """
    if not (math.isfinite(modulus) and modulus > 0):
        raise ModelError(refuse("wafer modulus [Pa]", modulus, "more than 0", "silicon about 130e9"))
    if not 0 <= poisson <= 0.499:
        raise ModelError(refuse("wafer Poisson ratio", poisson, "0 to 0.499", "silicon about 0.28"))
    if not (math.isfinite(thickness) and 0 < thickness < 0.2 * grid.wafer_radius):
        raise ModelError(refuse("wafer thickness [m]", thickness, "more than 0, under a fifth of the radius"))
    rigidity = plate_stiffness(modulus, poisson, thickness)
    share = grid.shares
    table = ring_load_deflection(grid.r, grid.r, grid.wafer_radius, rigidity, poisson)
    mean = table @ share
    table = table - mean[:, None] - mean[None, :] + share @ mean
    return PlateOperator(table, grid.areas, rigidity, poisson)


def backed_plate(plate: PlateOperator, backing: float) -> PlateOperator:
    """Return a wafer behind which a film presses it against a rigid plate that moves up and down.

    Parameters
    ----------
    plate
        The wafer alone.
    backing
        k, pressure that the film gains per length [Pa/m].

    Returns
    -------
    PlateOperator
        Its flexibility is (1 + k F A)^-1 F, with F that of the wafer and A the areas. A load is then what the
        film would press with on a flat wafer.

    Raises
    ------
    ModelError
        Where the backing is not above 0.

    Notes
    -----
    The film presses with load - k u where the wafer's face stands u above its mean, so u = F A (load - k u - p).
    """
    if not (math.isfinite(backing) and backing > 0):
        raise ModelError(refuse("backing stiffness [Pa/m]", backing, "more than 0"))
    system = np.eye(plate.areas.size) + backing * plate.flexibility * plate.areas[None, :]
    held = np.linalg.solve(system, plate.flexibility)
    return replace(plate, flexibility=0.5 * (held + held.T), backing=backing)


def ring_load_deflection(at: Array, load: Array, radius: float, rigidity: float, poisson: float) -> Array:
    """Return the deflection per unit force on circles, edge free.

    Parameters
    ----------
    at
        Radii r of the deflection [m].
    load
        Radii s of the circles [m], broadcastable with ``at``.
    radius
        Of the plate, a [m].
    rigidity, poisson
        D [N m] and nu of the plate.

    Returns
    -------
    Array
        g [m/N], of the shape of both.

    Notes
    -----
    Only for loads that balance: a tilt-free rigid movement is left open. With M the larger and m the
    smaller of the two radii, 8 pi D g = (r^2 + s^2) ln(M/a) + m^2 + (1 - nu)/(2 (1 + nu)) r^2 s^2/a^2,
    where the last term takes the bending moment off the edge.
    """
    r, s = at[:, None], load[None, :]
    larger, smaller = np.maximum(r, s), np.minimum(r, s)
    moment = (1 - poisson) / (2 * (1 + poisson)) * (r * s / radius) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        bend = np.where(larger > 0, (r * r + s * s) * np.log(larger / radius), 0.0)
    return np.asarray((bend + smaller**2 + moment) / (8 * np.pi * rigidity))


def zone_load(nodes_r: Array, outer_radii: Values, pressures: Values, wall_width: float) -> Array:
    """Return the load at the wafer nodes of a membrane with pressure zones.

    Parameters
    ----------
    nodes_r
        ``grid.r`` [m], (nodes,).
    outer_radii, pressures
        Of the zones from the middle outward [m], [Pa], (zones,).
    wall_width
        Width [m] over which the pressure goes over smoothly (3 t^2 - 2 t^3) from one zone to the next,
        centred on the wall. 0 is a sharp step.

    Returns
    -------
    Array
        [Pa], (nodes,).

    Raises
    ------
    ModelError
        Where radii do not increase, counts differ, or the nodes are not those of a grid.

    Notes
    -----
    Each value is the mean of the load over the node's own interpolating function. Total force and, to high
    order, moments are those of the load itself, wherever a wall falls between nodes; beside a wall narrower
    than the spacing of the nodes the values swing by a few percent of the step about the true load.
    """
    radii, values = _check_zones(outer_radii, pressures)
    if not (math.isfinite(wall_width) and wall_width >= 0):
        raise ModelError(refuse("zone wall width [m]", wall_width, "0 or more"))
    count = nodes_r.size
    radius = float(nodes_r[-1]) / math.sin(0.5 * math.pi * (count - 0.5) / count)
    if not np.allclose(nodes_r, radius * wafer_nodes(count), rtol=1e-9):
        raise ModelError(refuse("load nodes [m]", f"{count} radii", "the wafer nodes of a pressure grid"))
    load = np.full(count, values[0])
    for wall, step in zip(radii / radius, np.diff(np.append(values, 0.0)), strict=True):
        if wall < 1 - 1e-9:  # the last zone ends at the edge, without a wall
            load += step * _share_beyond(count, float(wall), wall_width / radius)
    return load


@lru_cache(maxsize=256)
def _share_beyond(count: int, wall: float, width: float) -> Array:
    """Return how much of each node's function lies beyond a wall, on a wafer of radius 1."""
    _, fine, spread = wafer_functions(count, AREA_SUBCELLS)
    return sealed(np.diff(_beyond_wall(np.sin(fine), wall, width)) @ spread / wafer_areas(count))


def _check_zones(outer_radii: Values, pressures: Values) -> tuple[Array, Array]:
    radii = np.atleast_1d(np.asarray(outer_radii, dtype=float))
    values = np.atleast_1d(np.asarray(pressures, dtype=float))
    if radii.size != values.size or radii.size == 0:
        raise ModelError(refuse("zone pressures", f"{values.size} values", f"one for each of {radii.size}"))
    if not (np.all(np.isfinite(radii)) and radii[0] > 0 and np.all(np.diff(radii) > 0)):
        raise ModelError(refuse("zone radii [m]", radii.tolist(), "more than 0 and increasing"))
    if not np.all(np.isfinite(values)):
        raise ModelError(refuse("zone pressures [Pa]", values.tolist(), "finite"))
    return radii, values


def _beyond_wall(edge: Array, wall: float, width: float) -> Array:
    """Return int_0^edge H(s) 2 pi s ds [m^2], H going from 0 to 1 smoothly about ``wall``."""
    if width == 0:
        return np.pi * np.maximum(edge**2 - wall**2, 0.0)
    start = wall - 0.5 * width
    t = np.clip((edge - start) / width, 0.0, 1.0)
    # s = start + width t inside the wall; H = 3 t^2 - 2 t^3.
    first = t**3 - 0.5 * t**4
    second = 0.75 * t**4 - 0.4 * t**5
    inside = 2 * np.pi * width * (start * first + width * second)
    past = np.maximum(edge, start + width)
    return np.asarray(inside + np.pi * (past**2 - (start + width) ** 2))


def bearing_lift(nodes_r: Array, outer_radii: Values, pressures: Values, base: Base) -> Array:
    """Return how far zones of a belt's fluid bearing raise the belt.

    Parameters
    ----------
    nodes_r
        Where [m], (nodes,).
    outer_radii, pressures
        Of the zones from the middle outward [m], [Pa], (zones,).
    base
        The belt on its bearing.

    Returns
    -------
    Array
        Upward [m], (nodes,). Counted from where a uniform bearing of the same force over the zones holds
        it, as only the differences between zones shape the wafer's pressure.

    Raises
    ------
    ModelError
        Where the base is rigid or the zones cannot be.

    Notes
    -----
    The belt under tension on the bearing's springs is taken without the pad on it, whose bending stiffness
    is small beside its own. Closed form: for each root a of D a^4 - (T/2) a^2 + k = 0 a disc of pressure of
    radius b bends the belt by 1/a^2 - (b/a) K1(a b) I0(a r) inside and (b/a) I1(a b) K0(a r) outside.
    """
    from scipy.special import ive, kve

    radii, values = _check_zones(outer_radii, pressures)
    if base.rigid or base.bending <= 0:
        raise ModelError(refuse("bearing zones", values.tolist(), "on a belt base"))
    share = np.diff(np.concatenate([[0.0], radii**2])) / radii[-1] ** 2
    steps = -np.diff(np.append(values - share @ values, 0.0))
    half, k, bend = 0.5 * base.half_tension / base.bending, base.spring, base.bending
    root = np.sqrt(complex(half * half - k / bend))
    if abs(root) < 1e-6 * math.sqrt(k / bend):
        root = complex(1e-6 * math.sqrt(k / bend))  # a double root: move the two apart by a hair
    lift = np.zeros(nodes_r.size, dtype=complex)
    for square, sign in ((half - root, 1.0), (half + root, -1.0)):
        a = np.sqrt(square)
        for b, step in zip(radii, steps, strict=True):
            # Each form holds on its own side of b only; beyond it the exponential would overflow.
            within, beyond = np.minimum(nodes_r, b), np.maximum(nodes_r, b)
            inside = 1 / square - (b / a) * kve(1, a * b) * ive(0, a * within) * np.exp(
                -a * b + np.abs(a.real) * within
            )
            outside = (b / a) * ive(1, a * b) * kve(0, a * beyond) * np.exp(np.abs(a.real) * b - a * beyond)
            lift += sign * step * np.where(nodes_r < b, inside, outside) / (2 * root * bend)
    return np.asarray(lift.real)
