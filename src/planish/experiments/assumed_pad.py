"""The pad that sources on dishing do not describe: tips and decay length of a measured order of size, the rest assumed."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.physics.pattern.feature_selectivity import feature_selectivity, reach_at_rest
from planish.predict.die.level import USUAL_SLIDING

Array = NDArray[np.float64]
TIP, DECAY = 30e-6, 4e-6  # [m] of the summits
MODULUS, POISSON = 285e6, 0.3  # [Pa] of a half-space, and its ratio
STEPS_SLIDING = 0.05  # the usual sliding share of oxide steps
_RIGID = 1e9  # times that: no bulk that bends


def selectivity_length(
    low: ArrayLike,
    high: ArrayLike,
    pressure: float,
    *,
    bulk: bool = True,
    sliding: float = USUAL_SLIDING,
    depth: float = 0.0,
) -> Array:
    """Return the selectivity length between areas.

    Parameters
    ----------
    low, high
        Widths of low and high areas [m].
    pressure
        Nominal [Pa].
    bulk
        Whether the bulk of the pad bends too, or summits alone count.
    sliding
        Share of the summits' reach at rest that counts while the pad slides; that of dishing unless given.
    depth
        Of the low areas [m], where it is so large that it counts.

    Returns
    -------
    Array
        [m].
    """
    spot = float(np.sqrt(TIP * DECAY))
    stiff = MODULUS / (1 - POISSON**2) * (1.0 if bulk else _RIGID)
    return feature_selectivity(
        low,
        summit_length=sliding * reach_at_rest(spot, float(np.sqrt(DECAY / (np.pi * TIP)))),
        spot_radius=spot,
        pressure=pressure,
        compliance=lambda q: np.asarray(2 / (stiff * q)),
        high_width=high,
        depth=depth,
    )
