"""Usual plans of sites on a wafer."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Site plans of 9, 49 (1+8+16+24) and 121 sites on a line: common practice, no source",
)


def site_plan(
    kind: Literal["9", "49", "121-line"], radius: float, edge_exclusion: float
) -> tuple[Array, Array]:
    """Return a usual site plan on a wafer.

    Parameters
    ----------
    kind
        "9": centre, four at half and four at the full usable radius. "49": 1 + 8 + 16 + 24 sites on rings
        at 1/3, 2/3 and 3/3 of it. "121-line": a line of 121 sites across the wafer.
    radius
        Of the wafer [m].
    edge_exclusion
        [m]; the usable radius is ``radius`` minus it.

    Returns
    -------
    tuple[Array, Array]
        (x, y) [m].

    Raises
    ------
    DataError
        If the plan is unknown or no usable radius is left.
    """
    reach = radius - edge_exclusion
    if not (np.isfinite(reach) and reach > 0 and edge_exclusion >= 0):
        raise DataError(
            refuse(
                "edge exclusion [m]", edge_exclusion, f"0 or more and less than the wafer radius {radius} m"
            )
        )
    if kind == "121-line":
        return np.linspace(-reach, reach, 121), np.zeros(121)
    rings = {"9": ((0.5, 4), (1.0, 4)), "49": ((1 / 3, 8), (2 / 3, 16), (1.0, 24))}.get(kind)
    if rings is None:
        raise DataError(refuse("site plan", kind, "9, 49 or 121-line"))
    radii = np.concatenate([[0.0], *(np.full(n, f * reach) for f, n in rings)])
    angles = np.concatenate([[0.0], *(2 * np.pi * np.arange(n) / n for _, n in rings)])
    return radii * np.cos(angles), radii * np.sin(angles)
