"""The least spread that noise and delay allow: what the best forecast of the true step still leaves.

The covariance of Kalman's filter does not hang on what is measured. Run with the true spreads and the true ageing, wafer
after wafer, with the measurement of each taken in as many wafers late as it comes, it gives the variance of what no forecast
can know; that of the wafer itself comes on top. No linear control of a step so driven does better.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from planish.hold.control.belief import Array, moved
from planish.hold.control.kalman import Kalman


def least_variance(
    true: Kalman, aged: Sequence[float], changed: Sequence[tuple[str, ...]], delay: int
) -> Array:
    """Return the least variance of each wafer's output.

    Parameters
    ----------
    true
        With the true spreads.
    aged
        True ageing of each wafer's pad, (n,).
    changed
        Before each wafer, (n,).
    delay
        Wafers by which metrology is late.

    Returns
    -------
    Array
        (n,).
    """
    process, noise = true.spreads.process**2, true.spreads.noise
    learned = true.first(1)  # up to the last wafer that was measured
    found = np.empty(len(aged))
    for wafer, now in enumerate(aged):
        last = wafer - delay - 1  # the newest one that is measured by then
        if last >= 0:
            learned = true.later(learned, changed[last])
            row = true.row(aged[last])
            learned = moved(learned, true.gain(learned, row), row, np.zeros(1), noise)
        ahead = learned
        for passed in range(last + 1 if last >= 0 else 0, wafer + 1):
            ahead = true.later(ahead, changed[passed])
        row = true.row(now)
        found[wafer] = row @ ahead.spread @ row + process
    return found
