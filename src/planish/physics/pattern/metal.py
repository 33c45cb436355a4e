"""The step that a metal film leaves over the lines it fills."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.pattern.areas import SOURCES as PAIR_SOURCES

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *PAIR_SOURCES,
    "Tugbawa 2002, MIT thesis: copper in bulk, barrier and overpolish stages (from memory)",
    "step over a line from conformal growth: plane geometry, derivation of our own",
    "film higher over dense fine lines, by the side walls that vanish as they fill: derivation of our own on the "
    "crowding of the accelerator on walls that close (Moffat, Wheeler, Kim & Josell, Electrochim. Acta, abstract read) "
    "and bumps that grow with pattern density (Electrochem. Solid-State Lett. 6(3), C42, 2003, abstract read)",
)


def conformal_step(width: ArrayLike, depth: float, deposited: float) -> Array:
    """Return the step that a deposited film leaves over trenches.

    Parameters
    ----------
    width
        Of the trenches [m], any shape.
    depth
        Of them [m].
    deposited
        Thickness of the film [m].

    Returns
    -------
    Array
        [m], shape as ``width``.

    Raises
    ------
    ModelError
        Where depth or thickness is not above 0.

    Notes
    -----
    The film grows by its thickness from every wall: a trench narrower than twice that closes, down to the
    cusp of two arcs, deposited - sqrt(deposited^2 - width^2/4); a wider one keeps its depth.
    """
    if not (depth > 0 and deposited > 0):
        raise ModelError(refuse("trench depth and deposited thickness [m]", (depth, deposited), "above 0"))
    half = np.asarray(width, dtype=np.float64) / 2
    closed = np.sqrt(np.maximum(deposited**2 - np.minimum(half, deposited) ** 2, 0.0))
    return np.asarray(np.minimum(depth, deposited - closed))


def overplated_share(width: ArrayLike, walls: ArrayLike, depth: float, deposited: float) -> Array:
    """Return how much of the greatest overplating stands over lines, 0 to 1.

    Parameters
    ----------
    width
        Of the trenches [m], any shape; 0 where there is none.
    walls
        Edge of the trenches per area [1/m], shape as ``width``.
    depth
        Of them [m].
    deposited
        Thickness of the film [m].

    Returns
    -------
    Array
        min(1, walls depth) times the share to which the trench has closed.

    Notes
    -----
    An accelerator that stays on the growing surface crowds where surface vanishes: as a trench closes, its side walls,
    ``walls`` times ``depth`` of the area that it opens to. As much wall as area (lines as wide as they are deep, at half
    density) counts as the most that there can be: the surface is then full of it (an assumption). A trench that stays
    open keeps its walls.
    """
    closed = 1.0 - conformal_step(width, depth, deposited) / depth
    return np.asarray(np.minimum(np.asarray(walls, dtype=np.float64) * depth, 1.0) * closed)
