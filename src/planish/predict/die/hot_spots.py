"""The places on a die that need a look: where each figure is worst, with coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
ALIKE = 1e-9  # of the map's largest value


@dataclass(frozen=True, slots=True)
class HotSpot:
    """Where something is worst.

    Attributes
    ----------
    place
        Of the die on the wafer.
    what
        Is worst there.
    x, y
        In layout coordinates of the die [m].
    value
        [m].
    """

    place: str
    what: str
    x: float
    y: float
    value: float


def hot_spots(
    place: str,
    what: str,
    values: Array,
    origin: tuple[float, float],
    cell: float,
    *,
    apart: float,
    count: int = 3,
    lowest: bool = False,
) -> list[HotSpot]:
    """Return places at which a map is highest (or lowest).

    Parameters
    ----------
    place, what
        Of the die, and of the map.
    values
        The map, (ny, nx).
    origin
        Its lower left corner [m].
    cell
        Side of a cell [m].
    apart
        How far apart the places must lie [m].
    count
        At most so many.
    lowest
        Whether low values are the worst.

    Returns
    -------
    list[HotSpot]
        The worst first.

    Notes
    -----
    Places no worse than the map's median are not listed; NaN cells are left out. Of cells that are worst
    alike the first in the map is taken.
    """
    left = np.where(np.isnan(values), -np.inf, -values if lowest else values)
    finite = left[np.isfinite(left)]
    if finite.size == 0:
        return []
    usual = float(np.median(finite))
    alike = ALIKE * float(np.abs(finite).max())
    left = left.copy()
    reach = max(round(apart / cell), 1)
    found = []
    for _ in range(count):
        # Cells of a regular layout are alike but for rounding: the first of them, on any machine.
        j, i = np.unravel_index(int(np.argmax(left >= left.max() - alike)), left.shape)
        if not np.isfinite(left[j, i]) or left[j, i] <= usual:
            break
        x, y = origin[0] + (i + 0.5) * cell, origin[1] + (j + 0.5) * cell
        found.append(HotSpot(place, what, float(x), float(y), float(values[j, i])))
        left[max(j - reach, 0) : j + reach + 1, max(i - reach, 0) : i + reach + 1] = -np.inf
    return found
