"""How worn summits answer a pressure on them, about the separation at which they carry it: compiled, for lots.

The moments of z - d above a flat at d (``summit_balance.contact_rings``) say how the contact goes on from there: the
gap falls as a logarithm of the pressure, and so does the mean real pressure.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

LENGTH, LEVEL, REAL_LEVEL, REAL_SLOPE, FLOWING, EXCESS, REAL = range(7)  # rows of the answer


@njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def summit_answers(
    pressure: Array, separation: Array, moments: Array, density: float, tip_radius: float, depth: float
) -> Array:
    """Return how the summits of pad rings answer pressures p near those that they carry.

    Parameters
    ----------
    pressure
        About which it is asked [Pa], (rings,), above 0.
    separation
        d under it [m], (rings,).
    moments
        There, (rings, 6), as from ``contact_rings``.
    density, tip_radius
        n [1/m^2] and R [m].
    depth
        At which a summit begins to flow [m].

    Returns
    -------
    Array
        (7, rings): s [m] and level [m] of d = level - s ln p; level [Pa] and slope [Pa] of the mean real pressure
        p_r = level + slope ln p; share of the load on summits that flow [1]; mean excess height of those in contact [m]; p_r where
        it was asked [Pa].

    Notes
    -----
    With M_k the moments and O_k those of what flows, s = M_(3/2)/(3/2 M_(1/2)); p_r = p/(pi R n A), A = M_1 + O_1, for
    what flows has its area twice; d p_r/d ln p = p_r (1 - s (M_0 + O_0)/A).
    """
    made = np.empty((7, pressure.size))
    for r in range(pressure.size):
        half, one, threehalf, count, over_one, over_count = moments[r]
        area, log_pressure = one + over_one, np.log(pressure[r])
        length = threehalf / (1.5 * half)
        real = pressure[r] / (pi * tip_radius * density * area)
        slope = real * (1.0 - length * (count + over_count) / area)
        made[LENGTH, r], made[LEVEL, r] = length, separation[r] + length * log_pressure
        made[REAL_LEVEL, r], made[REAL_SLOPE, r] = real - slope * log_pressure, slope
        made[FLOWING, r] = 0.0
        if over_count > 0.0:
            made[FLOWING, r] = np.sqrt(depth) * (2.0 * over_one + depth * over_count) / threehalf
        made[REAL, r] = real
        made[EXCESS, r] = one / count if count > 0.0 else 0.0
    return made
