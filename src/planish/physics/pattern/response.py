"""How a rate law answers to local pressure: the local rate over the blanket one, as a table.

Inside a cell pressures differ from the mean by more than an order of magnitude, so a law that is not proportional to
pressure removes steps and dishes otherwise: a power above one or a threshold spares what lies low.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_LEAST, _MOST, _NODES = 1e-6, 1e4, 500  # pressure over the mean, beyond the threshold
_ALIKE = 1e-9
_FAR = 0.5  # of the blanket rate: less at the mean pressure is another rate, read across a threshold


def local_response(
    rate: Callable[[Array], Array], threshold: float = 0.0, blanket: float = 0.0
) -> Array | None:
    """Return the table of local over blanket rate against local over mean pressure.

    Parameters
    ----------
    rate
        Maps pressure over the mean pressure [1] to the rate [m/s].
    threshold
        Pressure over the mean below which nothing goes [1].
    blanket
        Rate of a blanket film that the table is multiplied by [m/s]. Read between two places of which one is below the
        threshold, it may be far more than ``rate`` gives at 1, or that nothing; the table then is over it, so that what
        is removed under each pressure is what ``rate`` says.

    Returns
    -------
    Array or None
        Threshold; logarithm of the first node beyond it and step between nodes; then logarithms of the values there.
        None for a rate that is proportional to pressure.
    """
    grid = np.linspace(np.log(_LEAST), np.log(_MOST), _NODES)
    x = threshold + np.exp(grid)
    at_mean = float(np.asarray(rate(np.ones(1)))[0])
    over = blanket if at_mean < _FAR * blanket else at_mean
    values = np.asarray(rate(x), dtype=np.float64) / over
    if np.all(np.abs(values - x) <= _ALIKE * x):
        return None
    return np.concatenate([[threshold, grid[0], grid[1] - grid[0]], np.log(np.maximum(values, 1e-300))])


def proportional() -> Array:
    """Return the table of a rate that is proportional to pressure, for beside one that is not."""
    grid = np.linspace(np.log(_LEAST), np.log(_MOST), _NODES)
    return np.concatenate([[0.0, grid[0], grid[1] - grid[0]], grid])
