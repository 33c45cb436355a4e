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
from math import prod

import numpy as np
from numba import njit
from numpy.typing import NDArray

from planish.engine.fixed import seal
from planish.engine.record import Record
from planish.errors import ModelError, refuse
from planish.physics.pressure.plate import PlateOperator
from planish.physics.pressure.ring_influence import PadOperator
from planish.physics.pressure.wafer_contact import combine

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = ("Newton's method with a Jacobian kept from earlier (chord method): textbook",)

TOLERANCE = 1e-10
_MOST_PASSES = 60
_FAINTEST = 1e-40  # [Pa]: what stands clear of the summits bears no less, so that it can come back to bear
_SLOW = 0.35  # contraction per pass that calls for a new inverse


@dataclass(frozen=True, slots=True, repr=False)
class WornPad(Record):
    """Pad and plate in one matrix at each worn state of the pad: ``matrices`` (k, n, n). Steps share it.

    ``pads`` (k, n, n) are those of the pad alone.
    """

    matrices: Array
    pads: Array

    def at(self, shares: Array) -> Array:
        """Return the matrix (n, n) of the worn state that ``shares`` (k,) of the given ones make up."""
        return _mixed(self.matrices, shares)

    def pad_at(self, shares: Array) -> Array:
        """Return that of the pad alone."""
        return _mixed(self.pads, shares)


@dataclass(frozen=True, slots=True, repr=False)
class SeriesStep(Record):
    """What of one recipe step stays through a series.

    ``pad_loads`` (k, n) belong to the k worn states of the pad between which is interpolated;
    ``load`` (n,) is 0 on the ring.
    """

    pad_loads: Array
    load: Array
    bodies: Array
    weights: Array
    wanted: Array


@dataclass(frozen=True, slots=True)
class Solved:
    """Where the last wafer left a step: its pressures (n,) [Pa] and the inverse that found them.

    ``heights`` and ``forces`` follow from the inverse; all three mean nothing until they are ``made``.
    """

    pressure: Array
    inverse: Array
    heights: Array
    forces: Array
    made: bool

    def __post_init__(self) -> None:
        seal(self.pressure, self.inverse, self.heights, self.forces)


def worn_pad(operators: list[PadOperator], plate: PlateOperator, with_ring: bool) -> WornPad:
    """Return pad and plate for the pad's worn states ``operators`` (k, on one grid).

    Parameters
    ----------
    operators
        Of the worn states (k,), on one grid.
    plate
        The wafer.
    with_ring
        Whether a pressed ring is there.
    """
    systems = [combine(operator, plate, with_ring) for operator in operators]
    return WornPad(
        np.stack([np.ascontiguousarray(system.matrix) for system in systems]),
        np.stack([np.ascontiguousarray(system.pad) for system in systems]),
    )


def series_step(
    operators: list[PadOperator], plate: PlateOperator, load: Array, ring_pressure: float
) -> SeriesStep:
    """Prepare one recipe step on the pad that :func:`worn_pad` makes of the same ``operators``.

    Parameters
    ----------
    operators
        Of the worn states (k,), on one grid.
    plate
        The wafer.
    load
        On the wafer's back (wafer nodes,) [Pa].
    ring_pressure
        [Pa]; 0 lifts the ring off.
    """
    grid = operators[0].grid
    with_ring = grid.has_ring and ring_pressure > 0
    systems = [combine(operator, plate, with_ring) for operator in operators]
    count, areas = grid.r.size, systems[0].areas
    if load.shape != (count,) or not float(grid.areas @ load) > 0:
        raise ModelError(
            refuse("wafer load", f"shape {load.shape}", f"{count} pressures with a positive force")
        )
    full = np.zeros(areas.size)
    full[:count] = load
    bodies = np.ascontiguousarray(systems[0].bodies)
    wanted = np.array([float(areas[:count] @ load), ring_pressure * float(grid.ring_areas.sum())])
    return SeriesStep(
        pad_loads=np.stack([system.pad[:, :count] @ load for system in systems]),
        load=full,
        bodies=bodies,
        weights=np.ascontiguousarray((bodies * areas[:, None]).T),
        wanted=wanted[: bodies.shape[1]],
    )


def begin(step: SeriesStep, pressure: Array) -> Solved:
    """Return where a series starts: at a guess of the ``pressure`` (n,) [Pa], nothing known of the inverse.

    Parameters
    ----------
    step
        The step that is polished.
    pressure
        A guess of it (n,) [Pa].
    """
    size, bodies = step.bodies.shape
    return Solved(
        pressure, np.zeros((size, size)), np.zeros((size, bodies)), np.zeros((bodies, bodies)), made=False
    )


def solve_next(
    step: SeriesStep,
    matrix: Array,
    shares: Array,
    last: Solved,
    length: Array,
    scale: Array,
    raised: Array,
    give: float = 1.0,
) -> Solved:
    """Return the pressures [Pa] at wafer nodes, then ring nodes, for the pad as it now is.

    Parameters
    ----------
    step
        The step that is polished.
    matrix
        ``WornPad.at(shares)``, (n, n), or with a pad that gives way more.
    shares
        Of the worn states (k,).
    last
        What was found for the wafer before, or where the series begins.
    length, scale, raised
        Lambda [m], p0 [Pa] and height [m] of the summit layer at every node in play (n,), as in
        ``solve_pressure`` (``asperity_offset`` plus ``foundation_offset``).
    give
        By which the pad's compliance in ``matrix`` is multiplied.

    Raises
    ------
    ModelError
        Where no solution is found.
    """
    p = last.pressure.copy()
    try:
        solved, *inverse = _chord(
            matrix,
            give * (shares @ step.pad_loads) - raised,
            step.load,
            step.bodies,
            step.weights,
            step.wanted,
            length,
            scale,
            p,
            last.inverse,
            last.heights,
            last.forces,
            last.made,
        )
    except np.linalg.LinAlgError:
        solved = False
    if not solved:
        raise ModelError(
            refuse("pressure solve", "unsolved", "solvable", "check moduli, loads and summit numbers")
        )
    return Solved(p, *inverse)


class Interpolation:
    """Shares of given states at any place between them: the polynomial through all (Lagrange)."""

    def __init__(self, states: Array) -> None:
        self.states = states
        self._rows = [
            (np.delete(states, k).tolist(), float(np.prod(states[k] - np.delete(states, k))))
            for k in range(states.size)
        ]

    def at(self, place: float) -> Array:
        """Return the shares (k,), summing to 1, at ``place`` in the unit of the states."""
        return np.array([prod(place - other for other in others) / bottom for others, bottom in self._rows])


def _mixed(matrices: Array, shares: Array) -> Array:
    mixed = np.empty(matrices.shape[1:])
    _mix(matrices, shares, mixed)
    return mixed


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _mix(matrices: Array, shares: Array, out: Array) -> None:
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            out[i, j] = shares[0] * matrices[0, i, j]
        for k in range(1, shares.size):
            for j in range(out.shape[1]):
                out[i, j] += shares[k] * matrices[k, i, j]


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
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
) -> tuple[bool, Array, Array, Array, bool]:
    """Solve in place in ``p``; returns (solved, inverse, heights, forces, whether those are good to start from).

    A new inverse goes into new arrays: the one that came in belongs to the wafer before.
    """
    last, contraction, size = np.inf, 0.0, 0.0
    for _ in range(_MOST_PASSES):
        residual = length * np.log(p / scale) + np.dot(matrix, p - load) + offset
        if not made or contraction > _SLOW or (size > 0.3 and last > 0.3):
            jacobian = matrix.copy()
            for i in range(p.size):
                jacobian[i, i] += length[i] / p[i]
            inverse = np.linalg.inv(jacobian).copy()  # type: ignore[assignment]
            heights = np.dot(inverse, bodies)
            forces = np.linalg.inv(np.dot(weights, heights)).copy()
            made = True
        move = np.dot(inverse, residual)
        rigid = np.dot(forces, wanted - np.dot(weights, p - move))
        move = np.dot(heights, rigid) - move
        size = 0.0
        for i in range(p.size):
            change = move[i] / p[i]
            if not np.isfinite(change):
                return False, inverse, heights, forces, made
            if change > 0.0 or p[i] > _FAINTEST:
                size = max(size, abs(change))
        for i in range(p.size):
            change = move[i] / p[i]
            # Far moves downward go by the exponential, which keeps the pressure positive.
            p[i] = p[i] + move[i] if size < 0.3 or change > 0 else p[i] * np.exp(change)
            p[i] = max(p[i], _FAINTEST)
        contraction = size / last if last < 0.3 else 0.0
        last = size
        if size * min(max(contraction, 1e-3), 1.0) <= TOLERANCE or (size < 1e-9 and contraction > 0.5):
            return True, inverse, heights, forces, made
    return False, inverse, heights, forces, made
