"""Shallow trench isolation: oxide over nitride, then nitride and trench oxide side by side.

High: active areas (nitride under oxide). Low: trenches full of oxide. Until the
oxide over the nitride is gone it is an oxide step; from then on the nitride is
the high area with its own, smaller rate, the trench oxide dishes, and what the
nitride loses is the erosion. All of it is the law of :mod:`planish.physics.pattern.area_pair`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.physics.pattern.area_pair import SOURCES as PAIR_SOURCES
from planish.physics.pattern.area_pair import HighLayer, polish_pair

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *PAIR_SOURCES,
    "Tugbawa 2002, MIT thesis: two-material polishing of patterned areas (from memory)",
)


@dataclass(frozen=True, slots=True)
class StiOutcome:
    """What is left of trench isolation; one value per cell.

    Attributes
    ----------
    clear_time
        [s], infinite where oxide is left on nitride.
    nitride_loss
        [m].
    dishing
        Trench oxide below nitride [m], 0 where not clear.
    step
        [m].
    oxide_left
        On nitride [m].
    trench_loss
        [m].
    """

    clear_time: Array
    nitride_loss: Array
    dishing: Array
    step: Array
    oxide_left: Array
    trench_loss: Array


def polish_sti(
    active_share: ArrayLike,
    *,
    nitride_share: ArrayLike | None = None,
    step: ArrayLike,
    overburden: ArrayLike,
    oxide_rates: ArrayLike,
    nitride_rates: ArrayLike,
    durations: ArrayLike,
    selectivity_length: ArrayLike,
    shares: Sequence[ArrayLike] | None = None,
) -> StiOutcome:
    """Polish STI and return what is left.

    Parameters
    ----------
    active_share
        Effective share of the surface that is high while oxide covers it.
    nitride_share
        The same once the nitride is bare (default: as before).
    step
        Oxide step over the trenches [m].
    overburden
        Oxide over nitride [m].
    oxide_rates, nitride_rates
        Blanket rates in each recipe step [m/s].
    durations
        Of the steps [s].
    selectivity_length
        [m], see area_pair.
    shares
        High share in each step, in place of the two above, where pads differ.

    Returns
    -------
    StiOutcome
        One value per cell.
    """
    share = np.asarray(active_share, dtype=np.float64)
    bare = share if nitride_share is None else np.asarray(nitride_share, dtype=np.float64)
    thick = np.broadcast_to(np.asarray(overburden, dtype=np.float64), share.shape)
    start = np.broadcast_to(np.asarray(step, dtype=np.float64), share.shape)
    state = polish_pair(
        [HighLayer(thick, oxide_rates, share), HighLayer(np.inf, nitride_rates, bare)],
        oxide_rates,
        durations,
        start,
        selectivity_length,
        shares,
    )
    clear = state.exposed > 0
    return StiOutcome(
        clear_time=state.through_time[0],
        nitride_loss=np.where(clear, np.maximum(state.high_loss - thick, 0.0), 0.0),
        dishing=np.where(clear, state.height, 0.0),
        step=state.height,
        oxide_left=np.where(clear, 0.0, thick - state.high_loss),
        trench_loss=state.low_loss,
    )
