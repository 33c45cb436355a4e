"""Speeds of a sum of two velocities, one of which turns: means, moments, and turnings that repeat.

Every motion puts the same sum of two vectors under a wafer point: one of length A that is the
same everywhere on the wafer, one of length B that grows with radius, at an angle that runs through
a whole turn. Every mean below follows from that, in closed form.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Rigid-body kinematics of two turning discs, a belt and an orbit; mean speed by the complete elliptic "
    "integral of the second kind (derivation of our own, checked against quadrature)",
    "Equal platen and carrier speeds give the same speed everywhere: derived here",
)


def mean_speed(A: ArrayLike, B: ArrayLike) -> Array:
    """Mean length over a turn of the sum of two vectors of lengths A and B.

    (2/pi) (A + B) E(m) with m = 4AB/(A+B)^2 and E the complete elliptic
    integral of the second kind.

    Parameters
    ----------
    A, B
        Speeds [m/s], any broadcastable shapes; signs do not matter.

    Returns
    -------
    Mean speed [m/s], broadcast shape.
    """
    from scipy.special import ellipe  # here: a setup is read without scipy

    A, B = np.abs(np.asarray(A, dtype=np.float64)), np.abs(np.asarray(B, dtype=np.float64))
    return np.asarray((2 / np.pi) * (A + B) * ellipe(_parameter(A, B)), dtype=np.float64)


def speed_moment(A: ArrayLike, B: ArrayLike, beta: float) -> Array:
    """Mean of speed**beta over a turn, for rate laws that are powers of speed.

    max(A, B)^beta 2F1(-beta/2, -beta/2; 1; (min/max)^2), the mean of
    |1 + z exp(i phi)|^beta; beta = 1 is ``mean_speed``.

    Parameters
    ----------
    A, B
        Speeds [m/s]; signs do not matter.
    beta
        Exponent, above -1 (at -1 and below the mean is infinite where A = B).

    Returns
    -------
    Mean of speed**beta [(m/s)**beta].

    Raises
    ------
    ModelError
        If beta is not above -1.
    """
    from scipy.special import hyp2f1

    if not beta > -1:
        raise ModelError(refuse("speed exponent", beta, "above -1", "typical 0.5-1"))
    A, B = np.abs(np.asarray(A, dtype=np.float64)), np.abs(np.asarray(B, dtype=np.float64))
    large, small = np.maximum(A, B), np.minimum(A, B)
    z2 = np.divide(small, large, out=np.zeros(np.broadcast(A, B).shape), where=large > 0) ** 2
    return np.asarray(large**beta * hyp2f1(-beta / 2, -beta / 2, 1.0, z2), dtype=np.float64)


class Retrace(NamedTuple):
    """A near-closed path: after ``first_turns`` of the one, ``second_turns`` of the other.

    ``miss`` [turns]: by how much the path fails to close on itself, so that it
    takes about 1/miss closings to fill the gap between neighbouring loops.
    """

    first_turns: int
    second_turns: int
    miss: float


def retracing_ratio(
    platen_speed: float, carrier_speed: float, max_denominator: int = 8, *, tolerance: float = 1e-3
) -> Retrace | None:
    """Find whether two turnings stand in a small whole-number ratio, so that paths retrace.

    For an orbital polisher give orbit and carrier speed.

    Parameters
    ----------
    platen_speed, carrier_speed
        [rad/s]; only their ratio matters.
    max_denominator
        Largest number of turns of either within which a closing counts.
    tolerance
        Largest miss per closing [turns] that still counts as retracing.

    Returns
    -------
    The closing with fewest platen turns, or None if there is none (or either stands still).
    """
    if max_denominator < 1:
        raise ModelError(refuse("max_denominator", max_denominator, "1 or more", "typical 8"))
    if platen_speed == 0 or carrier_speed == 0:
        return None
    ratio = carrier_speed / platen_speed
    for turns in range(1, max_denominator + 1):
        others = round(turns * ratio)
        miss = abs(turns * ratio - others)
        if 0 < abs(others) <= max_denominator and miss <= tolerance:
            return Retrace(turns, others, miss)
    return None


def _parameter(A: Array | float, B: Array | float) -> Array:
    """Return m = 4AB/(A+B)^2 of the elliptic integrals, 0 where nothing moves."""
    total = np.asarray(A + B, dtype=np.float64)
    share = np.divide(A, total, out=np.zeros_like(total), where=total > 0)
    return np.asarray(4 * share * (1 - share))
