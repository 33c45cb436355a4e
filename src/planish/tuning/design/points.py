"""Points of the classical plans, in coded numbers: -1 at the low end of a factor's range, +1 at the high one."""

from __future__ import annotations

from itertools import combinations
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.tuning.design.fraction import corners, fraction

Array = NDArray[np.float64]
Star = Literal["circumscribed", "inscribed", "faced"]
SOURCES = (
    "Central composite and Box-Behnken plans, their stars, numbers of runs and centre runs: NIST/SEMATECH e-Handbook, "
    "5.3.3.6 (read as quoted in pyDOE's theory pages)",
)
MOST_COMPOSITE = 8
HALVED = 5  # factors from which half of the corners is enough: a fraction of resolution 5 or more
BOX_BEHNKEN = (3, 7)


def composite(factors: int, star: Star = "circumscribed") -> tuple[Array, Array]:
    """Return corners and star points of a central composite plan, without its centre.

    Parameters
    ----------
    factors
        How many, 2 to 8; from 5 on half of the corners is taken.
    star
        Where the star points stand: "circumscribed" outside the range, at alpha = (corners)^(1/4), so that the plan can be
        turned; "inscribed" at its ends, the corners drawn in by alpha; "faced" at its ends, the corners at its corners.

    Returns
    -------
    tuple[Array, Array]
        Corners (runs, factors) and star points (2 factors, factors).

    Raises
    ------
    DataError
        For a number of factors or a star that there is not.
    """
    if not 2 <= factors <= MOST_COMPOSITE:
        raise DataError(refuse("factors of a composite plan", factors, f"2 to {MOST_COMPOSITE}"))
    if star not in get_args(Star):
        raise DataError(refuse("star", star, f"one of {', '.join(get_args(Star))}"))
    cube = corners(factors) if factors < HALVED else fraction(factors, 2 ** (factors - 1)).points()
    alpha = len(cube) ** 0.25
    axes = np.repeat(np.eye(factors), 2, axis=0)
    axes[::2] *= -1.0
    if star == "circumscribed":
        return cube, alpha * axes
    return (cube / alpha, axes) if star == "inscribed" else (cube, axes)


def box_behnken(factors: int) -> Array:
    """Return the edge points of a Box-Behnken plan, without its centre.

    Two factors at a time go through their corners while the others stay in the middle, every pair in turn; for 6 and 7
    factors three at a time: the places {0, 1, 3} moved round, which hold every pair (derived here).

    Parameters
    ----------
    factors
        How many, 3 to 7.

    Returns
    -------
    Array
        (runs, factors).

    Raises
    ------
    DataError
        For another number of factors.
    """
    least, most = BOX_BEHNKEN
    if not least <= factors <= most:
        raise DataError(refuse("factors of a Box-Behnken plan", factors, f"{least} to {most}"))
    blocks: list[tuple[int, ...]]
    if factors < 6:
        blocks = list(combinations(range(factors), 2))
    else:
        blocks = [tuple((start + step) % factors for step in (0, 1, 3)) for start in range(factors)]
    found = []
    for block in blocks:
        some = np.zeros((2 ** len(block), factors))
        some[:, block] = corners(len(block))
        found.append(some)
    return np.vstack(found)


def usual_centre(plan: str, factors: int) -> int:
    """Return how many centre runs a plan takes unless told: as the handbook's tables have them, 3 for corners.

    Parameters
    ----------
    plan
        "full", "fraction", "composite", "box-behnken" or "optimal".
    factors
        How many.

    Returns
    -------
    int
        At each pair of texts, where factors have texts.
    """
    if plan == "composite":
        return 5 if factors == 2 else 6
    if plan == "box-behnken":
        return 3 if factors < 5 else 6
    return 0 if plan == "optimal" else 3
