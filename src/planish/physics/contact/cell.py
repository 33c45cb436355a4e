"""A layout cell under a resolved pad: how high it counts, and how fast that falls.

The contact solver sees one height and one pressure a cell; inside the cell a share phi of the area
stands ``step`` h above the rest. Under summits of exponential height the mean pressure of such a cell is

    P = p0 exp(-g/s) [phi + (1 - phi) exp(-h/l)],

g the gap over the high area, s the decay length of the layer, l the selectivity length of the cell's low
areas. So it presses like a flat cell that lies lower by -s ln D, D the bracket, and the laws of
:mod:`planish.physics.pattern.areas` hold in it with phi and P for the mean pressure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Summits of exponential height: derived here from Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300 (read "
    "as quoted in Yastrebov's Greenwood-Tripp notes)",
    "a cell of two heights as one flat cell under the layer: derivation of our own",
)


def counted_height(high: Array, step: Array, share: Array, layer: float, length: Array) -> Array:
    """Return the height at which a cell presses like a flat one.

    Parameters
    ----------
    high
        Height of the high areas [m].
    step
        Of them above the low ones [m].
    share
        phi, above 0.
    layer
        s [m].
    length
        l [m].

    Returns
    -------
    Array
        [m], of the common shape.
    """
    return np.asarray(high + layer * np.log(share + (1 - share) * np.exp(-step / length)))


def fall_rate(
    step: Array, share: Array, layer: float, length: Array, high_rate: Array | float, low_rate: float
) -> Array:
    """Return how fast the counted height falls at the pressure for which the blanket rates hold.

    Parameters
    ----------
    step
        Of the high areas above the low ones [m].
    share
        phi, above 0.
    layer
        s [m].
    length
        l [m].
    high_rate, low_rate
        Blanket rates [m/s].

    Returns
    -------
    Array
        [m/s], of the common shape.

    Notes
    -----
    -d/dt of :func:`counted_height`, with rates K_high/D and K_low exp(-h/l)/D. Cut off at 0: where a fast
    low area feeds the cell's height the march needs no damping.
    """
    low = np.exp(-step / length)
    mean = share + (1 - share) * low
    weight = (layer / length) * (1 - share) * low / mean
    fall = (high_rate * (1 - weight) + weight * low_rate * low) / mean
    return np.asarray(np.maximum(fall, 0.0))
