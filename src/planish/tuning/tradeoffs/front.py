"""Points of which none is beaten: the front, its ends, its knee, and a few that stand for all.

Every column of a table of values is one aim, made such that lower is better.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
SOURCES = (
    "Knee as the point farthest from the plane through the ends of the front: "
    "Das 1999 (read as quoted in an overview of knee points)",
)
LEAST = 1e-9  # of a range of one: a bulge smaller than that is straight


def beats(one: Array, other: Array) -> NDArray[np.bool_]:
    """Say whether a point is as good as others in every aim and better in one.

    Parameters
    ----------
    one, other
        Values (aims,) or (n, aims); they broadcast.

    Returns
    -------
    NDArray[np.bool_]
        (n,) or a single one.
    """
    found: NDArray[np.bool_] = np.all(one <= other, axis=-1) & np.any(one < other, axis=-1)
    return found


def unbeaten(values: Array) -> NDArray[np.int64]:
    """Return the places of the points that no other beats; of equal ones the first.

    Parameters
    ----------
    values
        (n, aims), finite.

    Returns
    -------
    NDArray[np.int64]
        In order.
    """
    first = np.sort(np.unique(values, axis=0, return_index=True)[1])
    kept = [at for at in first if not np.any(beats(values[first], values[at]))]
    return np.array(kept, dtype=np.int64)


def scaled(values: Array) -> Array:
    """Return the values of a front from 0, its best in an aim, to 1, its worst; 0 where all are the same."""
    low, high = values.min(axis=0), values.max(axis=0)
    wide = np.where(high > low, high - low, 1.0)
    return np.asarray((values - low) / wide, dtype=np.float64)


def ends(values: Array) -> list[int]:
    """Return for each aim the place of its best point; of equal ones the one that is best in the others together."""
    rest = scaled(values).sum(axis=1)
    return [int(np.lexsort((rest, column))[0]) for column in values.T]


def knee(values: Array) -> int | None:
    """Return the place of the point farthest from the plane through the ends, on its better side.

    Parameters
    ----------
    values
        Of the front, (n, aims).

    Returns
    -------
    int | None
        None where no point lies on that side: the front is straight or bulges the other way, or the ends span no plane.
    """
    places = sorted(set(ends(values)))
    if len(places) < values.shape[1] or values.shape[0] <= values.shape[1]:
        return None
    unit = scaled(values)
    corners = unit[places]
    if np.linalg.matrix_rank(corners[1:] - corners[0]) < values.shape[1] - 1:
        return None
    normal = np.linalg.svd(corners[1:] - corners[0])[2][-1]
    normal = normal if normal.sum() > 0 else -normal
    before = (corners[0] - unit) @ normal
    best = int(np.argmax(before))
    return best if before[best] > LEAST else None


def spread_out(values: Array, most: int, kept: list[int]) -> list[int]:
    """Return the places of at most so many points that stand for the front: each as far from the others as can be.

    Parameters
    ----------
    values
        Of the front, (n, aims).
    most
        How many; never fewer than those kept.
    kept
        Places that are among them.

    Returns
    -------
    list[int]
        In order.
    """
    unit = scaled(values)
    chosen = sorted(set(kept))
    if len(values) <= most:
        return list(range(len(values)))
    away = np.min(np.linalg.norm(unit[:, None, :] - unit[None, chosen, :], axis=2), axis=1)
    while len(chosen) < most:
        farthest = int(np.argmax(away))
        chosen.append(farthest)
        away = np.minimum(away, np.linalg.norm(unit - unit[farthest], axis=1))
    return sorted(chosen)
