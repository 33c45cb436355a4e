"""Metal lines in a dielectric (copper, tungsten): bulk metal, landing on the barrier, barrier, overpolish.

High: the dielectric between the lines, under barrier and metal overburden. Low:
the lines, all metal. The recipe's steps give the bulk, soft-landing and barrier
stages their own rates; the films of the high area follow one another, each
cell in its own time. Dishing is metal below dielectric, erosion is dielectric
lost. All of it is the law of :mod:`planish.physics.pattern.area_pair`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.pattern.area_pair import SOURCES as PAIR_SOURCES
from planish.physics.pattern.area_pair import HighLayer, polish_pair

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *PAIR_SOURCES,
    "Tugbawa 2002, MIT thesis: copper in bulk, barrier and overpolish stages (from memory)",
    "step over a line from conformal growth: plane geometry, derivation of our own",
)


@dataclass(frozen=True, slots=True)
class MetalOutcome:
    """What is left of metal lines; one value per cell.

    Attributes
    ----------
    metal_clear_time, clear_time
        Of the metal, and of the barrier too [s], infinite where not.
    dishing
        Metal below its surroundings [m], negative if it stands out; 0 where metal covers the field.
    erosion
        Dielectric lost [m].
    metal_left, barrier_left
        Over the dielectric [m].
    line_loss
        [m].
    step
        Of the field above the lines [m].
    """

    metal_clear_time: Array
    clear_time: Array
    dishing: Array
    erosion: Array
    metal_left: Array
    barrier_left: Array
    line_loss: Array
    step: Array


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


def polish_metal(
    metal_share: ArrayLike,
    *,
    step: ArrayLike,
    overburden: ArrayLike,
    barrier: float,
    metal_rates: ArrayLike,
    barrier_rates: ArrayLike,
    dielectric_rates: ArrayLike,
    durations: ArrayLike,
    selectivity_length: ArrayLike,
    shares: Sequence[ArrayLike] | None = None,
) -> MetalOutcome:
    """Polish metal lines through all recipe steps and return what is left.

    Parameters
    ----------
    metal_share
        Effective share of the surface that is line, per cell.
    step
        Metal step over the lines before polishing [m].
    overburden, barrier
        Metal and barrier over the dielectric [m].
    metal_rates, barrier_rates, dielectric_rates
        Blanket rates in each recipe step [m/s].
    durations
        Of the steps [s].
    selectivity_length
        [m], see area_pair.
    shares
        Share that is not line in each step, in place of ``metal_share``, where pads differ.

    Returns
    -------
    MetalOutcome
        One value per cell.
    """
    share = 1 - np.asarray(metal_share, dtype=np.float64)
    metal = np.broadcast_to(np.asarray(overburden, dtype=np.float64), share.shape)
    state = polish_pair(
        [
            HighLayer(metal, metal_rates, share),
            HighLayer(barrier, barrier_rates, share),
            HighLayer(np.inf, dielectric_rates, share),
        ],
        metal_rates,
        durations,
        np.broadcast_to(np.asarray(step, dtype=np.float64), share.shape),
        selectivity_length,
        shares,
    )
    lost = state.high_loss
    return MetalOutcome(
        metal_clear_time=state.through_time[0],
        clear_time=state.through_time[1],
        dishing=np.where(state.exposed > 0, state.height, 0.0),
        erosion=np.where(state.exposed > 1, np.maximum(lost - metal - barrier, 0.0), 0.0),
        metal_left=np.where(state.exposed > 0, 0.0, metal - lost),
        barrier_left=np.clip(metal + barrier - lost, 0.0, barrier),
        line_loss=state.low_loss,
        step=state.height,
    )
