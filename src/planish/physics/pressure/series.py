"""The contact of ``pressure.solve_pressure`` again and again, while the pad changes a little each time.

Same equations, same answer, another way there: an explicit inverse of the
Jacobian is kept for each recipe step and used as long as it makes good
progress, so that a wafer costs a few products of matrix and vector. What
changes from wafer to wafer - summits, pad height, elastic compliance, loads -
enters the residual exactly; only the search direction is old. The loop of
``wafer_contact.newton`` stands here a second time, for speed: compiled, and with its factors kept
for many wafers; tests/unit/test_lot_contact_series.py holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.ring_influence import PadOperator
from planish.physics.pressure.wafer_contact import combine

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = ("Newton's method with a Jacobian kept from earlier (chord method): textbook",)

TOLERANCE = 1e-10
_MOST_PASSES = 60
_FAINTEST = 1e-300  # [Pa]: below it the arithmetic ends, far below any pressure
_SLOW = 0.35  # contraction per pass that calls for a new inverse


@dataclass(slots=True)
class WornPad:
    """Pad and plate in one matrix, between worn states; steps share it.

    Attributes
    ----------
    matrices
        Of the worn states, (k, n, n).
    matrix
        Of the present one, (n, n).
    """

    matrices: Array
    matrix: Array


@dataclass(slots=True)
class SeriesStep:
    """One recipe step in a series: what stays, and where the last wafer left off.

    Attributes
    ----------
    pad
        Pad and plate, shared with the other steps.
    pad_loads
        (k, n), of the k worn states of the pad between which is interpolated.
    pad_load
        (n,), of the pad's present state.
    load
        (n,), 0 on the ring [Pa].
    bodies
        (n, 1 or 2): which rigid height a node belongs to.
    weights
        (1 or 2, n): its area [m^2].
    wanted
        Forces on wafer and ring [N].
    wafer_nodes
        How many of the n nodes are the wafer's.
    pressure
        Last solution [Pa], (n,).
    inverse, heights, forces
        What the last factors leave for the next wafer.
    made
        Whether there are such factors.
    """

    pad: WornPad
    pad_loads: Array
    pad_load: Array
    load: Array
    bodies: Array
    weights: Array
    wanted: Array
    wafer_nodes: int
    pressure: Array
    inverse: Array
    heights: Array
    forces: Array
    made: bool = False


def worn_pad(operators: list[PadOperator], plate: PlateOperator, with_ring: bool) -> WornPad:
    """Return pad and plate for the pad's worn states, standing at the first.

    Parameters
    ----------
    operators
        Of the worn states (k), on one grid.
    plate
        The wafer's bending on it.
    with_ring
        Whether the ring is down.

    Returns
    -------
    WornPad
        Shared by the steps of a recipe.
    """
    systems = [combine(operator, plate, with_ring) for operator in operators]
    matrices = np.stack([np.ascontiguousarray(system.matrix) for system in systems])
    return WornPad(matrices, matrices[0].copy())


def series_step(
    pad: WornPad, operators: list[PadOperator], plate: PlateOperator, load: Array, ring_pressure: float
) -> SeriesStep:
    """Prepare one recipe step.

    Parameters
    ----------
    pad
        From :func:`worn_pad`.
    operators, plate
        The same that ``pad`` is made of.
    load
        On the wafer's back [Pa], (wafer nodes,).
    ring_pressure
        [Pa]; 0 lifts the ring off.

    Returns
    -------
    SeriesStep
        Ready for :func:`solve_next`.

    Raises
    ------
    ModelError
        Where the load has another shape than the grid, or no positive force.
    """
    grid = operators[0].grid
    with_ring = grid.has_ring and ring_pressure > 0
    systems = [combine(operator, plate, with_ring) for operator in operators]
    count, size = grid.r.size, systems[0].areas.size
    if load.shape != (count,) or not float(grid.areas @ load) > 0:
        raise ModelError(
            refuse("wafer load", f"shape {load.shape}", f"{count} pressures with a positive force")
        )
    full = np.zeros(size)
    full[:count] = load
    bodies = np.ascontiguousarray(systems[0].bodies)
    areas = systems[0].areas
    wanted = np.array([float(areas[:count] @ load), ring_pressure * float(grid.ring_areas.sum())])
    begin = np.full(size, ring_pressure)
    begin[:count] = np.maximum(load, 0.1 * wanted[0] / areas[:count].sum())
    pad_loads = np.stack([system.pad[:, :count] @ load for system in systems])
    return SeriesStep(
        pad=pad,
        pad_loads=pad_loads,
        pad_load=pad_loads[0].copy(),
        load=full,
        bodies=bodies,
        weights=np.ascontiguousarray((bodies * areas[:, None]).T),
        wanted=wanted[: bodies.shape[1]],
        wafer_nodes=count,
        pressure=begin,
        inverse=np.zeros((size, size)),
        heights=np.zeros((size, bodies.shape[1])),
        forces=np.zeros((bodies.shape[1], bodies.shape[1])),
    )


def wear_to(pads: list[WornPad], steps: list[SeriesStep], shares: Array) -> None:
    """Move all to the worn state that shares of the given states make up (:class:`Interpolation`).

    Parameters
    ----------
    pads, steps
        Changed in place.
    shares
        Of the worn states, (k,).
    """
    for pad in pads:
        _mix(pad.matrices, shares, pad.matrix)
    for step in steps:
        step.pad_load = shares @ step.pad_loads


def solve_next(step: SeriesStep, length: Array, scale: Array, raised: Array) -> Array:
    """Return the pressures for the pad as it now is.

    Parameters
    ----------
    step
        Whose last solution is the start; changed in place.
    length, scale, raised
        lambda [m], p0 [Pa] and height [m] of the summit layer at every node in play, as in
        ``solve_pressure`` (``asperity_offset`` plus ``foundation_offset``).

    Returns
    -------
    Array
        [Pa], wafer nodes, then ring nodes.

    Raises
    ------
    ModelError
        Where no solution is found.
    """
    p = step.pressure.copy()
    try:
        solved, step.made = _chord(
            step.pad.matrix,
            step.pad_load - raised,
            step.load,
            step.bodies,
            step.weights,
            step.wanted,
            length,
            scale,
            p,
            step.inverse,
            step.heights,
            step.forces,
            step.made,
        )
    except np.linalg.LinAlgError:
        solved = False
    if not solved:
        raise ModelError(
            refuse("pressure solve", "unsolved", "solvable", "check moduli, loads and summit numbers")
        )
    step.pressure = p
    return p


class Interpolation:
    """Shares of given states at any place between them: the polynomial through all (Lagrange)."""

    def __init__(self, states: Array) -> None:
        self.states = states
        self._rows = [
            (np.delete(states, k), float(np.prod(states[k] - np.delete(states, k))))
            for k in range(states.size)
        ]

    def at(self, place: float) -> Array:
        """Return the shares of the states.

        Parameters
        ----------
        place
            In the unit of the states.

        Returns
        -------
        Array
            (k,), summing to 1.
        """
        return np.array([float(np.prod(place - others)) / bottom for others, bottom in self._rows])


@njit(cache=True)  # type: ignore[untyped-decorator]
def _mix(matrices: Array, shares: Array, out: Array) -> None:
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            total = 0.0
            for k in range(shares.size):
                total += shares[k] * matrices[k, i, j]
            out[i, j] = total


@njit(cache=True)  # type: ignore[untyped-decorator]
def _chord(
    matrix: Array,
    offset: Array,
    load: Array,
    bodies: Array,
    weights: Array,
    wanted: Array,
    length: Array,
    scale: Array,
    p: Array,
    inverse: Array,
    heights: Array,
    forces: Array,
    made: bool,
) -> tuple[bool, bool]:
    """Solve in place in ``p``; returns (solved, whether the inverse is now good to start from)."""
    last, contraction, size = np.inf, 0.0, 0.0
    for _ in range(_MOST_PASSES):
        residual = length * np.log(p / scale) + np.dot(matrix, p - load) + offset
        if not made or contraction > _SLOW or (size > 0.3 and last > 0.3):
            jacobian = matrix.copy()
            for i in range(p.size):
                jacobian[i, i] += length[i] / p[i]
            inverse[:, :] = np.linalg.inv(jacobian)
            heights[:, :] = np.dot(inverse, bodies)
            forces[:, :] = np.linalg.inv(np.dot(weights, heights))
            made = True
        move = np.dot(inverse, residual)
        rigid = np.dot(forces, wanted - np.dot(weights, p - move))
        move = np.dot(heights, rigid) - move
        size = 0.0
        for i in range(p.size):
            change = move[i] / p[i]
            size = max(size, abs(change))
            if not np.isfinite(change):
                return False, False
        for i in range(p.size):
            change = move[i] / p[i]
            # Far moves downward go by the exponential, which keeps the pressure positive.
            p[i] = p[i] + move[i] if size < 0.3 or change > 0 else p[i] * np.exp(change)
            if not p[i] >= _FAINTEST:
                return False, False
        contraction = size / last if last < 0.3 else 0.0
        last = size
        if size * min(max(contraction, 1e-3), 1.0) <= TOLERANCE or (size < 1e-9 and contraction > 0.5):
            return True, True
    return False, False
