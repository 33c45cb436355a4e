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
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.ring_influence import PadOperator

Array = NDArray[np.float64]

_MOVED = 0.2  # change of ln p since the factors were made that calls for new ones
_SLOW = 0.15  # contraction per pass that calls for new ones
_MOST_PASSES = 60
_LARGEST_FALL = 30.0  # of ln p in one pass
_LEAST = 1e-280  # of p/p0 that is told from 0


@dataclass(slots=True)
class ContactSystem:
    """Pad and plate in one matrix: gap change at node i per unit pressure at node j."""

    plate: PlateOperator
    matrix: Array  # pad compliance, plus flexibility times area on the wafer block
    pad: Array  # pad compliance alone, as stated
    areas: Array
    bodies: Array  # (nodes, 1 or 2): which rigid height a node belongs to
    weights: Array  # (1 or 2, nodes) [m^2]: take pressures to the forces on these bodies
    give: float = 1.0  # by which that compliance is multiplied in the matrix


@dataclass(slots=True)
class Factors:
    """LU factors of the Jacobian in ln p at ``pressure``, and what the rigid heights do through them."""

    system: ContactSystem
    lu: Array
    pivots: NDArray[np.int32]
    pressure: Array
    heights: Array  # pressure change per height of wafer and ring
    forces: Array  # heights per force on wafer and ring
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

    Parameters
    ----------
    system
        Pad and plate in one matrix, n nodes.
    load
        On the wafer's back [Pa], (wafer nodes,).
    offset
        [m], (n,).
    length, scale
        lambda [m] and p0 [Pa] of the summits, (n,).
    wanted
        Forces on wafer and ring [N], (1 or 2,).
    begin
        First guess of the pressures [Pa], (n,).
    factors
        Of a solution nearby, or None.
    tol
        Largest relative error left in any node's pressure.

    Returns
    -------
    Answer
        Also where it did not converge.

    Raises
    ------
    ModelError
        Where the matrix is singular.

    Notes
    -----
    The load is taken off before the matrix is applied: bending is stiff enough that each alone would bend
    the wafer by centimetres.
    """
    from scipy.linalg.lapack import dgetrs

    count = load.size
    p = np.maximum(begin, _LEAST * scale)
    level = np.log(p / scale)  # the unknown: it has no lower end, where p of a node out of reach has
    excess = np.empty_like(p)
    rigid = np.zeros(wanted.size)
    factored, last, contraction = 0, math.inf, 0.0
    for passes in range(1, _MOST_PASSES + 1):
        np.copyto(excess, p)
        excess[:count] -= load
        residual = system.matrix @ excess
        residual += offset
        residual += length * level
        stale = factors is not None and (contraction > _SLOW or (last > 1e-3 and _moved(p, factors.pressure)))
        if factors is None or stale:
            factors = _factor(system, length, p)
            factored += 1
        step, _ = dgetrs(factors.lu, factors.pivots, residual, overwrite_b=1)
        step *= factors.pressure
        rigid = factors.forces @ (wanted - system.weights @ (p - step))
        step = factors.heights @ rigid - step
        change = step / p
        size = max(float(change.max()), -float(change.min()))
        if size < 0.3:
            level += np.log1p(change)
            p = p + step
        elif math.isfinite(size):
            level += _bounded(change, length, p, system)
            p = scale * np.exp(np.maximum(level, math.log(_LEAST)))
        else:
            break
        contraction = size / last if last < 0.3 else 0.0
        last = size
        rounding = size < 1e-9 and contraction > 0.5
        if rounding or size * min(max(contraction, 1e-3), 1.0) <= tol:
            return Answer(p, rigid, passes, factored, True, factors)
    return Answer(p, rigid, _MOST_PASSES, factored, False, None)


def _moved(pressure: Array, before: Array) -> bool:
    grown = pressure / before
    return float(grown.max()) > 1.0 + _MOVED or float(grown.min()) < 1.0 - _MOVED


def _bounded(change: Array, length: Array, pressure: Array, system: ContactSystem) -> Array:
    """Return the change of ln p for a large relative change of p that Newton's method asks for.

    Where summits give way more than the pad does, ln p goes linearly and the change
    is taken as it is; where the pad does, p goes linearly. Upward the first holds
    until the pad has its share; downward it keeps p positive.
    """
    until_pad = np.log(np.maximum(length / (system.give * np.diag(system.pad) * pressure), 1.0))
    upward = np.maximum(np.log1p(np.maximum(change, 0.0)), np.minimum(change, until_pad))
    downward = np.where(until_pad > 0, change, np.maximum(change, -_LARGEST_FALL))
    return np.where(change > 0, upward, downward)


def _factor(system: ContactSystem, length: Array, pressure: Array) -> Factors:
    """Factor matrix diag(p) + diag(lambda) in this thread's buffer of that size.

    By ln p rather than by p, as lambda/p has no upper end.
    """
    from scipy.linalg.lapack import dgetrf, dgetrs

    size = pressure.size
    buffer = _buffers().get(size)
    if buffer is None:
        buffer = _buffers()[size] = np.empty((size, size), order="F")
    np.multiply(system.matrix, pressure[None, :], out=buffer)
    buffer.ravel(order="K")[:: size + 1] += length
    lu, pivots, info = dgetrf(buffer, overwrite_a=1)
    if info != 0:
        raise _singular()
    # One right-hand side at a time: two or more are handed to a second thread, at 10 ms where it is busy.
    bodies = int(system.bodies.shape[1])
    heights = np.empty((size, bodies), order="F")
    for body in range(bodies):
        heights[:, body] = pressure * dgetrs(lu, pivots, system.bodies[:, body])[0]
    try:
        forces = _inverse(system.weights @ heights)
    except ZeroDivisionError:
        raise _singular() from None
    factors = Factors(system, lu, pivots, pressure, heights, forces, object())
    _owners()[size] = factors
    return factors


def _singular() -> ModelError:
    return ModelError(refuse("pressure solve", "singular matrix", "solvable", "check the moduli"))


def _inverse(forces: Array) -> Array:
    """Return heights per force from forces per height, (1, 1) or (2, 2), by elimination: a library takes as long as a pass."""
    a = float(forces[0, 0])
    if forces.size == 1:
        return np.array([[1.0 / a]])
    b, c, d = float(forces[0, 1]), float(forces[1, 0]) / a, float(forces[1, 1])
    left = d - c * b
    return np.array([[(1.0 + b * c / left) / a, -b / (a * left)], [-c / left, 1.0 / left]])


def _buffers() -> dict[int, Array]:
    if not hasattr(_kept, "buffers"):
        _kept.buffers, _kept.owners = {}, {}
    return _kept.buffers  # type: ignore[no-any-return]


def _owners() -> dict[int, Factors]:
    _buffers()
    return _kept.owners  # type: ignore[no-any-return]


def remembered(system: ContactSystem, token: object) -> Factors | None:
    """Return factors where they still stand, as none other were made since.

    Parameters
    ----------
    system
        That they must belong to.
    token
        Names them.

    Returns
    -------
    Factors | None
        None where they have been overwritten.
    """
    factors = _owners().get(system.areas.size)
    return factors if factors is not None and factors.token is token and factors.system is system else None


def combine(operator: PadOperator, plate: PlateOperator, with_ring: bool, give: float = 1.0) -> ContactSystem:
    """Return pad and plate in one matrix, remembered on the operator for the last plate used.

    Parameters
    ----------
    operator, plate
        Pad stack and wafer on one grid.
    with_ring
        Whether the ring is down.
    give
        By which the pad's compliance is multiplied; other than 1 nothing is remembered.

    Returns
    -------
    ContactSystem
        Over wafer nodes, then ring nodes.

    Raises
    ------
    ModelError
        Where plate and pad are on different grids.
    """
    if give != 1.0:
        stated = combine(operator, plate, with_ring)
        matrix = stated.matrix + (give - 1.0) * stated.pad
        return ContactSystem(plate, matrix, stated.pad, stated.areas, stated.bodies, stated.weights, give)
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
    areas = grid.all_areas[:size]
    weights = np.ascontiguousarray((bodies * areas[:, None]).T)
    system = ContactSystem(plate, matrix, pad, areas, bodies, weights)
    operator.memo[name] = system
    return system
