"""How the contact pressure answers to what presses the wafer: derivatives of the solution, not differences of it.

At a solution of lambda ln(p/p0) + M (p - load) + give C load - raised = height of the body, with the forces given,
the change dp under a change of load, ring force and summits is linear:

    (diag(lambda) + M diag(p)) dp/p = M dload - give C dload + lambda dp0/p0 - ln(p/p0) dlambda + draised + dheight

with dheight such that the forces of wafer and ring come out. The second derivatives, how these answers bend, have the
same matrix: with y = ln p, L = ln lambda and P = ln p0, and subscripts for derivatives,

    (diag(lambda) + M diag(p)) y_kl = height_kl + raised_kl - lambda (L_kl + L_k L_l) (y - P)
        - lambda L_k (y_l - P_l) - lambda L_l (y_k - P_k) + lambda P_kl - M (p y_k y_l).

One matrix is factored for all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.ring_influence import PadOperator
from planish.physics.pressure.solve import PressureSolution
from planish.physics.pressure.wafer_contact import ContactSystem, combine

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = ("Derivatives of the contact pressure: implicit function, derived here",)


class Layer(NamedTuple):
    """Summits of a solved problem, or a change of them, over wafer nodes.

    ``length`` lambda [m], ``scale`` p0 [Pa], ``raised`` what stands higher [m] (summits and pad together): (n_r,)
    each, or (n_r, k) for k changes.
    """

    length: Array
    scale: Array
    raised: Array


class Slopes(NamedTuple):
    """Derivatives of the contact pressure: under wafer (n_r, k) and ring (ring nodes, k) by k changes.

    ``bends`` (n_r, k, k): the second ones under the wafer over the pressure; None where they were not asked for.
    """

    wafer: Array
    ring: Array
    bends: Array | None = None


def pressure_slopes(
    operator: PadOperator,
    plate: PlateOperator,
    solution: PressureSolution,
    layer: Layer,
    loads: Array,
    ring: Array,
    changes: Layer,
    *,
    give: float = 1.0,
    turned: Array | None = None,
) -> Slopes:
    """Return the derivative of the contact pressure for each of k changes.

    Parameters
    ----------
    operator, plate
        Of the solved problem.
    solution
        From :func:`~planish.physics.pressure.solve.solve_pressure`.
    layer
        The summits that it was solved with.
    loads
        Change of the load on the wafer's back, (n_r, k).
    ring
        Change of the ring pressure, (k,); without effect where the ring is off.
    changes
        Of the summits, (n_r, k) each.
    give
        As it was solved with.
    turned
        For the second derivatives: relative change of the load about which the summits are described, (n_r, k), by
        which logarithm their numbers are taken to go straight.

    Returns
    -------
    Slopes
        With ``bends`` where ``turned`` is given.

    Raises
    ------
    ModelError
        Where the matrix is singular.

    Notes
    -----
    Pressures under the ring follow the summits' means over the wafer, as in the solution itself.
    """
    grid = operator.grid
    count, rings = grid.r.size, grid.ring_r.size
    with_ring = rings > 0 and bool(np.any(solution.ring_pressure > 0))
    system = combine(operator, plate, with_ring, give)
    share = grid.shares
    size = system.areas.size
    pressure = np.concatenate([solution.pressure, solution.ring_pressure])[:size]

    def spread(wafer: Array) -> Array:
        return _and_ring(wafer, share @ wafer, rings)[:size]

    length = _and_ring(layer.length, np.exp(share @ np.log(layer.length)), rings)[:size]
    scale = _and_ring(layer.scale, np.exp(share @ np.log(layer.scale)), rings)[:size]
    longer, stronger = (
        spread(changes.length / layer.length[:, None]),
        spread(changes.scale / layer.scale[:, None]),
    )
    higher = spread(changes.raised)
    level = np.log(pressure / scale)[:, None]
    # pad and plate less the pad: what is left of it is the plate, whose rows at the ring are zero
    right = length[:, None] * (stronger - longer * level) + higher
    right[:count] += plate.flexibility @ (grid.areas[:, None] * loads)
    solved = _factored(system, length, pressure)
    wanted = np.stack([grid.areas @ loads, float(grid.ring_areas.sum()) * ring])[: system.bodies.shape[1]]
    change = pressure[:, None] * solved(right, wanted)
    under_ring = change[count:] if with_ring else np.zeros((rings, ring.size))
    if turned is None:
        return Slopes(change[:count], under_ring)
    # over the pairs of changes, one column each
    one, other = np.triu_indices(ring.size)
    rise = change / pressure[:, None]
    twice = rise[:, one] * rise[:, other]
    # numbers of the summits go straight in the logarithm of a load, which bends by minus the product of its changes
    slope = np.divide(1.0, turned, out=np.zeros_like(turned), where=turned != 0.0)
    both = turned[:, one] * turned[:, other]
    by_log = [
        spread(-(each * slope)[:, one] * both)
        for each in (
            changes.length / layer.length[:, None],
            changes.scale / layer.scale[:, None],
            changes.raised,
        )
    ]
    bent = by_log[0] + longer[:, one] * longer[:, other]
    right = by_log[2] - system.matrix @ (pressure[:, None] * twice)
    right += length[:, None] * (
        by_log[1]
        - bent * level
        - longer[:, one] * (rise[:, other] - stronger[:, other])
        - longer[:, other] * (rise[:, one] - stronger[:, one])
    )
    # the forces of p (y_kl + y_k y_l) are none
    idle = -system.weights @ (pressure[:, None] * twice)
    second = solved(right, idle)[:count] + twice[:count]
    bends = np.empty((count, ring.size, ring.size))
    bends[:, one, other] = bends[:, other, one] = second
    return Slopes(change[:count], under_ring, bends)


def _factored(system: ContactSystem, length: Array, pressure: Array) -> Callable[[Array, Array], Array]:
    """Return what solves for dp/p (n, k) by right-hand sides (n, k) and changes of the forces (bodies, k)."""
    from scipy.linalg.lapack import dgetrf, dgetrs

    matrix = np.multiply(system.matrix, pressure[None, :], order="F")
    matrix.ravel(order="K")[:: pressure.size + 1] += length
    lu, pivots, info = dgetrf(matrix, overwrite_a=1)
    if info != 0:
        raise ModelError(refuse("pressure slopes", "singular matrix", "solvable", "check the moduli"))

    def answered(columns: Array) -> Array:
        """Solve one column at a time: several are handed to a second thread, at 10 ms where it is busy."""
        return np.stack([dgetrs(lu, pivots, one)[0] for one in columns.T], axis=1)

    weights = (system.bodies * (system.areas * pressure)[:, None]).T
    heights = answered(system.bodies)
    held = np.linalg.inv(weights @ heights)

    def solved(right: Array, forces: Array) -> Array:
        made = answered(right)
        return np.asarray(made + heights @ (held @ (forces - weights @ made)))

    return solved


def _and_ring(wafer: Array, ring: Array | float, nodes: int) -> Array:
    """Return values over the wafer nodes, and one value at all ring nodes."""
    return np.concatenate([wafer, np.broadcast_to(ring, (nodes, *wafer.shape[1:]))])
