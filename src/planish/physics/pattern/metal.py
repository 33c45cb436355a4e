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
