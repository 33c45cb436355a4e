"""How the contact pressure answers to what presses the wafer: derivatives of the solution, not differences of it.

At a solution of lambda ln(p/p0) + M (p - load) + give C load - raised = height of the body, with the forces given,
the change dp under a change of load, ring force and summits is linear:

    (diag(lambda) + M diag(p)) dp/p = M dload - give C dload + lambda dp0/p0 - ln(p/p0) dlambda + draised + dheight

with dheight such that the forces of wafer and ring come out. One matrix is factored for all changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.ring_influence import PadOperator
from planish.physics.pressure.solve import PressureSolution
from planish.physics.pressure.wafer_contact import combine

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
) -> tuple[Array, Array]:
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

    Returns
    -------
    tuple[Array, Array]
        Change of the pressure under wafer (n_r, k) and ring (ring nodes, k).

    Raises
    ------
    ModelError
        Where the matrix is singular.

    Notes
    -----
    Pressures under the ring follow the summits' means over the wafer, as in the solution itself.
    """
    from scipy.linalg.lapack import dgetrf, dgetrs

    grid = operator.grid
    count, rings = grid.r.size, grid.ring_r.size
    with_ring = rings > 0 and bool(np.any(solution.ring_pressure > 0))
    system = combine(operator, plate, with_ring, give)
    share = grid.areas / grid.areas.sum()
    pressure = np.concatenate([solution.pressure, solution.ring_pressure])[: system.areas.size]
    length = _and_ring(layer.length, np.exp(share @ np.log(layer.length)), rings)[: system.areas.size]
    scale = _and_ring(layer.scale, np.exp(share @ np.log(layer.scale)), rings)[: system.areas.size]
    by_length, by_scale = changes.length / layer.length[:, None], changes.scale / layer.scale[:, None]
    longer = length[:, None] * _and_ring(by_length, share @ by_length, rings)[: system.areas.size]
    stronger = _and_ring(by_scale, share @ by_scale, rings)[: system.areas.size]
    higher = _and_ring(changes.raised, share @ changes.raised, rings)[: system.areas.size]
    # pad and plate less the pad: what is left of it is the plate, whose rows at the ring are zero
    right = -longer * np.log(pressure / scale)[:, None] + length[:, None] * stronger + higher
    right[:count] += plate.flexibility @ (grid.areas[:, None] * loads)
    matrix = np.multiply(system.matrix, pressure[None, :], order="F")
    matrix.ravel(order="K")[:: pressure.size + 1] += length
    lu, pivots, info = dgetrf(matrix, overwrite_a=1)
    if info != 0:
        raise ModelError(refuse("pressure slopes", "singular matrix", "solvable", "check the moduli"))

    def answered(columns: Array) -> Array:
        """Solve one column at a time: several are handed to a second thread, at 10 ms where it is busy."""
        return np.asarray(
            pressure[:, None] * np.stack([dgetrs(lu, pivots, one)[0] for one in columns.T], axis=1)
        )

    forces = (system.bodies * system.areas[:, None]).T
    heights, made = answered(system.bodies), answered(right)
    wanted = np.stack([grid.areas @ loads, float(grid.ring_areas.sum()) * ring])[: system.bodies.shape[1]]
    change = made + heights @ np.linalg.solve(forces @ heights, wanted - forces @ made)
    under_ring = change[count:] if with_ring else np.zeros((rings, ring.size))
    return change[:count], under_ring


def _and_ring(wafer: Array, ring: Array | float, nodes: int) -> Array:
    """Return values over the wafer nodes, and one value at all ring nodes."""
    return np.concatenate([wafer, np.broadcast_to(ring, (nodes, *wafer.shape[1:]))])
