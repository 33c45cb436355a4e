"""Newton's method for a plate and a ring on an elastic pad through summits, all as one matrix.

The equations lambda ln(p/p0) + M p = heights, with the forces given, are those of
the least of a convex energy. The matrix is factored anew only where the pressures
have moved far since the last time, or where progress has become slow.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.plate import PlateOperator
from planish.physics.ring_influence import PadOperator

Array = NDArray[np.float64]

_MOVED = 0.2  # change of ln p since the factors were made that calls for new ones
_SLOW = 0.15  # contraction per pass that calls for new ones
_MOST_PASSES = 60


@dataclass(slots=True)
class ContactSystem:
    """Pad and plate in one matrix: gap change at node i per unit pressure at node j."""

    plate: PlateOperator
    matrix: Array  # pad compliance, plus flexibility times area on the wafer block
    pad: Array  # pad compliance alone
    areas: Array
    bodies: Array  # (nodes, 1 or 2): which rigid height a node belongs to


@dataclass(slots=True)
class Factors:
    """LU factors of the Jacobian at ``pressure`` and what the rigid heights do through them."""

    system: ContactSystem
    lu: Array
    pivots: NDArray[np.int32]
    pressure: Array
    heights: Array  # Jacobian^-1 bodies
    forces: Array  # inverse of (area-weighted bodies)^T heights
    token: object  # names these factors; the next ones of this size in this thread overwrite them


# One buffer and the factors in it for each matrix size, in each thread: fresh memory
# for every factorization costs more than the factorization.
_kept = threading.local()


@dataclass(slots=True)
class Answer:
    """Where Newton's method ended: pressures [Pa], heights of wafer and ring [m], and how it went."""

    pressure: Array
    rigid: Array
    passes: int
    factored: int
    converged: bool
    factors: Factors | None

    def guess(self, otherwise: Array) -> Array:
        """Return the pressures reached, or ``otherwise`` where they are not numbers."""
        usable = bool(np.all(np.isfinite(self.pressure)) and np.all(self.pressure > 0))
        return self.pressure if usable else otherwise


def newton(
    system: ContactSystem,
    load: Array,
    offset: Array,
    length: Array,
    scale: Array,
    wanted: Array,
    begin: Array,
    factors: Factors | None,
    tol: float,
) -> Answer:
    """Solve lambda ln(p/p0) + matrix (p - load) + offset = height of the body, forces as wanted.

    The load is taken off before the matrix is applied: bending is stiff enough
    that each alone would bend the wafer by centimetres.
    """
    from scipy.linalg.lapack import dgetrs

    count = load.size
    weights = (system.bodies * system.areas[:, None]).T
    p = np.array(begin)
    excess = np.empty_like(p)
    rigid = np.zeros(wanted.size)
    factored, last, contraction = 0, math.inf, 0.0
    for passes in range(1, _MOST_PASSES + 1):
        np.copyto(excess, p)
        excess[:count] -= load
        displacement = system.matrix @ excess
        displacement += offset
        residual = length * np.log(p / scale)
        residual += displacement
        stale = factors is not None and (
            contraction > _SLOW or (last > 1e-3 and float(np.abs(p / factors.pressure - 1).max()) > _MOVED)
        )
        if factors is None or stale:
            factors = _factor(system, length, p)
            factored += 1
        step, _ = dgetrs(factors.lu, factors.pivots, residual)
        rigid = factors.forces @ (wanted - weights @ (p - step))
        step = factors.heights @ rigid - step
        change = step / p
        size = float(np.abs(change).max())
        if not math.isfinite(size):
            break
        if size < 0.3:
            p = p + step
        else:
            # Downward by the exponential, which keeps p positive and is exact for summits alone.
            p = p * np.where(change > 0, 1 + change, np.exp(np.minimum(change, 0.0)))
        contraction = size / last if last < 0.3 else 0.0
        last = size
        if size * min(max(contraction, 1e-3), 1.0) <= tol:
            return Answer(p, rigid, passes, factored, True, factors)
        if size < 1e-9 and contraction > 0.5:  # rounding is all that is left
            return Answer(p, rigid, passes, factored, True, factors)
    return Answer(p, rigid, _MOST_PASSES, factored, False, None)


def _factor(system: ContactSystem, length: Array, pressure: Array) -> Factors:
    """Factor matrix + diag(lambda/p) in this thread's buffer of that size."""
    from scipy.linalg.lapack import dgetrf, dgetrs

    size = pressure.size
    buffer = _buffers().get(size)
    if buffer is None:
        buffer = _buffers()[size] = np.empty((size, size), order="F")
    np.copyto(buffer, system.matrix)
    buffer.ravel(order="K")[:: size + 1] += length / pressure
    lu, pivots, info = dgetrf(buffer, overwrite_a=1)
    if info != 0:
        raise ModelError(refuse("pressure solve", "singular matrix", "solvable", "check the moduli"))
    # One right-hand side at a time: two or more are handed to a second thread, at 10 ms where it is busy.
    heights = np.stack([dgetrs(lu, pivots, body)[0] for body in system.bodies.T], axis=1)
    forces = np.linalg.inv((system.bodies * system.areas[:, None]).T @ heights)
    factors = Factors(system, lu, pivots, pressure, heights, forces, object())
    _owners()[size] = factors
    return factors


def _buffers() -> dict[int, Array]:
    if not hasattr(_kept, "buffers"):
        _kept.buffers, _kept.owners = {}, {}
    return _kept.buffers  # type: ignore[no-any-return]


def _owners() -> dict[int, Factors]:
    _buffers()
    return _kept.owners  # type: ignore[no-any-return]


def remembered(system: ContactSystem, token: object) -> Factors | None:
    """Return the factors that ``token`` names where they still stand, as none other were made since."""
    factors = _owners().get(system.areas.size)
    return factors if factors is not None and factors.token is token and factors.system is system else None


def combine(operator: PadOperator, plate: PlateOperator, with_ring: bool) -> ContactSystem:
    """Return pad and plate in one matrix, remembered on the operator for the last plate used."""
    name = "with ring" if with_ring else "wafer alone"
    known = operator.memo.get(name)
    if isinstance(known, ContactSystem) and known.plate is plate:
        return known
    grid = operator.grid
    count = grid.r.size
    if plate.areas.size != count or not np.array_equal(plate.areas, grid.areas):
        raise ModelError(refuse("plate", f"{plate.areas.size} nodes", f"on the pad's grid of {count} nodes"))
    size = operator.compliance.shape[0] if with_ring else count
    pad = np.asfortranarray(operator.compliance[:size, :size])
    matrix = np.array(pad, order="F")
    matrix[:count, :count] += plate.flexibility * plate.areas[None, :]
    bodies = np.zeros((size, 2 if with_ring else 1), order="F")
    bodies[:count, 0] = 1.0
    if with_ring:
        bodies[count:, 1] = 1.0
    system = ContactSystem(plate, matrix, pad, grid.all_areas[:size], bodies)
    operator.memo[name] = system
    return system
