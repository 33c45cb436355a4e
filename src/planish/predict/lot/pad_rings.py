"""The pad as rings (or belt lines): what each wafer radius meets of it, and it of the wafer.

The pad coordinate is the distance from the platen's axis, from the belt's centre line, or from
the orbiting pad's centre. Only geometry enters, so one table serves all speeds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Kept
from planish.errors import ModelError, refuse
from planish.physics.slurry.heat import pass_swing

if TYPE_CHECKING:
    from planish.physics.motion.motion import Motion
    from planish.physics.pressure.radial_grid import PressureGrid
    from planish.setup.si import Rig

Array = NDArray[np.float64]
PAD_RINGS = 40
PASS_BIN = (
    3e-3  # [m] of the bins on which passes are looked at: over less a pad's own conduction evens heat out
)
FINER = 8  # time shares are taken on bins this much finer than the rings


@dataclass(frozen=True, slots=True, repr=False)
class PadRings(Kept):
    """Pad rings and their meeting with the carrier.

    Attributes
    ----------
    edges, middles, areas
        Of the rings: (n+1,) and (n,) [m], (n,) [m^2] (both sides of a belt, once round).
    to_wafer
        (n_r, n): weights that average a quantity of the rings over the path of a wafer node, the quantity
        being read linearly between the rings' middles; rows sum to 1.
    duty
        (n,): share of time each ring is under carrier (wafer and retaining ring).
    seen
        (n, n_all): of that time, the share under each wafer node and ring node.
    area
        Pad area in all [m^2].
    pass_duty, pass_seen
        ``duty`` and ``seen`` on the finer bins of passes, (n_f,) and (n_f, n_all): beside the edge of the track they
        change within a ring.
    pass_swing
        (n_f,): what their duty makes of a pass's heat (``heat.pass_swing``).
    to_passes
        (n_f, n): reads a quantity of the rings at the middles of these bins, linearly.
    """

    edges: Array
    middles: Array
    areas: Array
    to_wafer: Array
    duty: Array
    seen: Array
    area: float
    pass_duty: Array
    pass_seen: Array
    pass_swing: Array
    to_passes: Array


def pad_rings(rig: Rig, grid: PressureGrid, rings: int = PAD_RINGS) -> PadRings:
    """Return the pad rings of a setup's machine for the nodes of a pressure grid.

    Parameters
    ----------
    rig
        The setup in SI.
    grid
        Nodes and areas of the wafer.
    rings
        How many.

    Returns
    -------
    PadRings
        The same record for the same machine, grid and count.

    Raises
    ------
    ModelError
        Where the wafer does not stay on the pad.
    """
    return _pad_rings(_Machine(rig.polisher), rings, _Grid(grid))


class _Grid:
    """A pressure grid as a cache key: grids are themselves cached, so identity is enough."""

    def __init__(self, grid: PressureGrid) -> None:
        self.grid = grid

    def __hash__(self) -> int:
        return id(self.grid)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Grid) and other.grid is self.grid


class _Machine:
    """A motion as a cache key: what its shares of time depend on is all that counts."""

    def __init__(self, motion: Motion) -> None:
        self.motion, self.key = motion, motion.geometry

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Machine) and other.key == self.key


@lru_cache(maxsize=16)
def _pad_rings(machine: _Machine, rings: int, key: _Grid) -> PadRings:
    motion, grid = machine.motion, key.grid
    carrier = grid.ring_outer if grid.has_ring else grid.wafer_radius
    outer, distance = motion.pad_edge, motion.distance + motion.swing
    reach = distance + grid.wafer_radius
    if outer < reach:
        raise ModelError(
            refuse("pad half-width or radius [m]", outer, f"at least {reach:g} to hold the wafer")
        )
    # The retaining ring may hang over the pad's edge; heat and wear are counted on a track that holds it.
    edges = np.linspace(0.0, max(outer, distance + carrier), rings + 1)
    middles = 0.5 * (edges[1:] + edges[:-1])
    fine = np.linspace(0.0, edges[-1], FINER * rings + 1)
    shares = motion.wafer_to_pad_weights(grid.r, fine)
    to_wafer = shares @ _linear(0.5 * (fine[1:] + fine[:-1]), middles)
    r_edges = grid.wafer_edges
    if grid.has_ring:
        gap = grid.ring_edges[0] > r_edges[-1]
        r_edges = np.concatenate([r_edges, grid.ring_edges if gap else grid.ring_edges[1:]])

    def meeting(bins: Array) -> tuple[Array, Array]:
        view = motion.pad_to_wafer_weights(r_edges, bins)
        if grid.has_ring and gap:  # drop the gap between wafer and ring: nothing presses there
            return view.duty, np.delete(view.weights, grid.r.size, axis=1)
        return view.duty, view.weights

    passes = np.linspace(0.0, edges[-1], int(np.ceil(edges[-1] / PASS_BIN)) + 1)
    pass_duty, pass_seen = meeting(passes)
    areas = motion.bin_areas(edges)
    return PadRings(
        edges,
        middles,
        areas,
        to_wafer,
        *meeting(edges),
        float(areas.sum()),
        pass_duty,
        pass_seen,
        pass_swing(pass_duty),
        _linear(0.5 * (passes[1:] + passes[:-1]), middles),
    )


def _linear(at: Array, nodes: Array) -> Array:
    """Return the matrix (n_at, n_nodes) of linear interpolation, constant beyond the outermost nodes."""
    index = np.clip(np.searchsorted(nodes, at) - 1, 0, nodes.size - 2)
    share = np.clip((at - nodes[index]) / (nodes[index + 1] - nodes[index]), 0.0, 1.0)
    made = np.zeros((at.size, nodes.size))
    row = np.arange(at.size)
    made[row, index] = 1.0 - share
    made[row, index + 1] = share
    return made
