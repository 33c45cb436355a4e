"""The pressure under the wafer: plate, membrane zones, retaining ring, layered pad and summits together.

Each node holds a thin layer of pad summits whose mean pressure falls off as
p = p0 exp(-(g - offset)/lambda) with the gap g between wafer and pad, the tail
of a Greenwood-Williamson surface. It can push but never pull. The gap is what
the pad's elastic surface lies below the bent wafer; the wafer's and the ring's
heights follow from their forces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.radial_grid import PressureGrid
from planish.physics.pressure.ring_influence import (
    PadOperator,
)
from planish.physics.pressure.wafer_contact import Answer, ContactSystem, combine, newton, remembered

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Summits with an exponential tail: derived here from Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300 (read as quoted "
    "in Yastrebov's Greenwood-Tripp notes)",
    "Wafer plate, ring and layered pad in one-sided contact through summits: derivation of our own",
)

_RING_OFF = 1e-9


@dataclass(slots=True)
class PressureSolution:
    """What ``solve_pressure`` found. Arrays over wafer nodes unless named after the ring.

    Attributes
    ----------
    pressure, ring_pressure
        [Pa].
    gap
        Between wafer and mean pad surface [m].
    deflection
        Of the wafer downward from its mean [m].
    approach, ring_approach
        Of the two into the pad [m].
    balance_error
        The larger of the two relative force errors.
    iterations
        Passes.
    factorizations
        Of the matrix.
    converged
        Whether the tolerance was met.
    token
        Names the matrix factors that a next solution may reuse.
    """

    pressure: Array
    ring_pressure: Array
    gap: Array
    deflection: Array
    approach: float
    ring_approach: float
    balance_error: float
    iterations: int
    factorizations: int
    converged: bool
    token: object = field(default=None, repr=False, compare=False)


def solve_pressure(
    operator: PadOperator,
    plate: PlateOperator,
    load: Array,
    ring_pressure: float = 0.0,
    *,
    asperity_length: float | Array,
    asperity_pressure: float | Array,
    asperity_offset: float | Array = 0.0,
    foundation_offset: float | Array = 0.0,
    give: float = 1.0,
    start: PressureSolution | None = None,
    tol: float = 1e-12,
) -> PressureSolution:
    """Return the contact pressure under wafer and ring.

    Parameters
    ----------
    operator, plate
        Pad stack and wafer on one grid.
    load
        Pressure [Pa] on the wafer's back at the wafer nodes; its force must be positive.
    ring_pressure
        Force on the retaining ring over the ring's area [Pa]. 0, or less than 1e-9 of
        the wafer's mean pressure, lifts it off.
    asperity_length, asperity_pressure
        lambda [m] and p0 [Pa] of p = p0 exp(-(g - offset)/lambda). A number, or an
        array over the wafer nodes (the ring then has their mean over area, the
        geometric one for p0), or over all nodes.
    asperity_offset
        How much taller [m] the summits stand; shapes as above.
    foundation_offset
        How much higher [m] the unloaded pad surface lies (bearing zones, worn pad).
    give
        By which the pad's compliance is multiplied: a pad that has softened as a whole.
    start
        A solution nearby: its pressures and matrix factors are reused.
    tol
        Largest relative error left in any node's pressure.

    Returns
    -------
    PressureSolution
        Pressures, gap and how it went.

    Raises
    ------
    ModelError
        For values that cannot be, or where no solution is found.
    """
    grid = operator.grid
    count = grid.r.size
    _check_load(load, count, ring_pressure, grid)
    with_ring = grid.has_ring and ring_pressure > _RING_OFF * float(grid.shares @ load)
    system = combine(operator, plate, with_ring, give)
    length = _per_node(asperity_length, grid, with_ring, "asperity length [m]", positive=True)
    scale = _per_node(asperity_pressure, grid, with_ring, "asperity pressure [Pa]", positive=True)
    summits = _per_node(asperity_offset, grid, with_ring, "asperity offset [m]")
    raised = summits + _per_node(foundation_offset, grid, with_ring, "foundation offset [m]")
    wanted = np.array([system.areas[:count] @ load, ring_pressure * float(grid.ring_areas.sum())])
    wanted = wanted[: system.bodies.shape[1]]
    mean = wanted[0] / system.areas[:count].sum()
    begin = np.concatenate([np.maximum(load, 0.1 * mean), np.full(grid.ring_r.size, ring_pressure)])
    begin, factors = begin[: system.areas.size], None
    if start is not None and start.pressure.size + start.ring_pressure.size == grid.all_areas.size:
        near = np.concatenate([start.pressure, start.ring_pressure])[: system.areas.size]
        held = system.bodies.T @ (system.areas * near)
        if np.all(held > 0):  # the ring may have been off
            begin = near * (system.bodies @ (wanted / held))  # the same shapes, at the forces wanted now
            factors = remembered(system, start.token)
    offset = give * (system.pad[:, :count] @ load) - raised
    problem = (system, load, offset, length, scale, wanted)
    answer = newton(*problem, begin, factors, tol)
    if not answer.converged:
        # Much softer summits are an easier problem: come down from there.
        for softer in (64.0, 16.0, 4.0, 1.0):
            if np.all(np.isfinite(answer.pressure)):
                begin = answer.pressure
            answer = newton(system, load, offset, length * softer, scale, wanted, begin, None, tol)
    if not answer.converged:
        found = f"unsolved after {answer.passes} passes"
        raise ModelError(
            refuse("pressure solve", found, "solvable", "check moduli, loads and summit numbers")
        )
    gap = summits[:count] - length[:count] * np.log(answer.pressure[:count] / scale[:count])
    return _solution(answer, system, grid, load, gap, wanted)


def _per_node(
    value: float | Array, grid: PressureGrid, with_ring: bool, name: str, *, positive: bool = False
) -> Array:
    """Return ``value`` over the nodes in play."""
    given = np.asarray(value, dtype=float)
    wafer, ring = grid.r.size, grid.ring_r.size
    if given.ndim == 0:
        full = np.full(wafer + ring, float(given))
    elif given.shape == (wafer + ring,):
        full = given
    elif given.shape == (wafer,):
        full = onto_ring(given, grid.shares, ring, geometric=positive and float(given.min()) > 0)
    else:
        raise ModelError(refuse(name, f"shape {given.shape}", f"one number, or {wafer} or {wafer + ring}"))
    # NaN and infinity go through a sum
    if not math.isfinite(full.sum()) or (positive and not float(full.min()) > 0):
        allowed = "finite and more than 0" if positive else "finite"
        raise ModelError(refuse(name, float(np.min(full)), allowed))
    return full if with_ring else full[:wafer]


def onto_ring(given: Array, share: Array, ring: int, *, geometric: bool) -> Array:
    """Return values over the wafer nodes, and their mean at each ring node.

    Parameters
    ----------
    given
        At the wafer nodes, (n_r,).
    share
        Of area, (n_r,), by which the mean is taken.
    ring
        Number of ring nodes.
    geometric
        Whether the mean is that of the logarithms.

    Returns
    -------
    Array
        (n_r + ring,).
    """
    mean = math.exp(share @ np.log(given)) if geometric else float(share @ given)
    return np.concatenate([given, np.full(ring, mean)])


def _check_load(load: Array, count: int, ring_pressure: float, grid: PressureGrid) -> None:
    if load.shape != (count,) or not math.isfinite(load.sum()):
        raise ModelError(refuse("wafer load", f"shape {load.shape}", f"{count} finite pressures, one a node"))
    if not float(grid.areas @ load) > 0:
        raise ModelError(refuse("wafer load [N]", float(grid.areas @ load), "more than 0"))
    if not (math.isfinite(ring_pressure) and ring_pressure >= 0):
        raise ModelError(refuse("ring pressure [Pa]", ring_pressure, "0 or more"))


def _solution(
    answer: Answer, system: ContactSystem, grid: PressureGrid, load: Array, gap: Array, wanted: Array
) -> PressureSolution:
    count = load.size
    p = answer.pressure
    with_ring = wanted.size == 2
    held = system.weights @ p
    return PressureSolution(
        pressure=p[:count],
        ring_pressure=p[count:] if with_ring else np.zeros(grid.ring_r.size),
        gap=gap,
        deflection=system.plate.flexibility @ (system.areas[:count] * (load - p[:count])),
        approach=float(answer.rigid[0]),
        ring_approach=float(answer.rigid[1]) if with_ring else 0.0,
        balance_error=float(np.abs(held / wanted - 1).max()),
        iterations=answer.passes,
        factorizations=answer.factored,
        converged=answer.converged,
        token=answer.factors.token if answer.factors is not None else None,
    )
