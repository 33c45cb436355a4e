"""One sample of a trace taken into what is known: an extended Kalman filter, compiled.

State: thickness d [m], rate v [m/s], offset b and gain a of the sensor, signal = b + a R(d). Between samples d falls by
v dt, and v, b and a wander (random walks of the powers ``wander``).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def take_in(
    state: Array,
    spread: Array,
    step_time: float,
    wander: Array,
    sample: Array,
    noise: float,
    step: float,
    values: Array,
    slopes: Array,
) -> float:
    """Take one sample in: ``state`` and ``spread`` are changed in place.

    Parameters
    ----------
    state, spread
        (4,) d, v, b, a; and their covariance (4, 4).
    step_time
        Since the last sample [s].
    wander
        (3,) variances that v, b and a gain in a second.
    sample
        (colours,).
    noise
        Standard deviation of a sample.
    step, values, slopes
        Table of the reflected share (:class:`~planish.hold.endpoint.view.SeenTable`).

    Returns
    -------
    float
        Mean over the colours of squared surprise, 1 where the model holds.
    """
    dt = step_time
    state[0] -= dt * state[1]
    # P <- F P F' with F = 1 but for F[d, v] = -dt
    for j in range(4):
        spread[0, j] -= dt * spread[1, j]
    for i in range(4):
        spread[i, 0] -= dt * spread[i, 1]
    spread[0, 0] += wander[0] * dt**3 / 3.0
    spread[0, 1] -= wander[0] * dt**2 / 2.0
    spread[1, 0] -= wander[0] * dt**2 / 2.0
    spread[1, 1] += wander[0] * dt
    spread[2, 2] += wander[1] * dt
    spread[3, 3] += wander[2] * dt
    surprise = 0.0
    h, gain = np.empty(4), np.empty(4)
    for k in range(sample.size):
        y = sample[k]
        place = min(max(state[0] / step, 0.0), values.shape[0] - 1.000001)
        at = int(place)
        x = place - at
        v0, v1 = values[at, k], values[at + 1, k]
        s0, s1 = step * slopes[at, k], step * slopes[at + 1, k]
        c2, c3 = 3.0 * (v1 - v0) - 2.0 * s0 - s1, 2.0 * (v0 - v1) + s0 + s1
        value = v0 + x * (s0 + x * (c2 + x * c3))
        slope = (s0 + x * (2.0 * c2 + 3.0 * x * c3)) / step
        h[0], h[1], h[2], h[3] = state[3] * slope, 0.0, 1.0, value
        total = noise * noise
        for i in range(4):
            gain[i] = 0.0
            for j in range(4):
                gain[i] += spread[i, j] * h[j]
        for i in range(4):
            total += h[i] * gain[i]
        off = y - state[2] - state[3] * value
        surprise += off * off / total
        for i in range(4):
            state[i] += gain[i] * off / total
        for i in range(4):
            for j in range(i, 4):
                new = spread[i, j] - gain[i] * gain[j] / total
                spread[i, j], spread[j, i] = new, new
    return surprise / sample.size
