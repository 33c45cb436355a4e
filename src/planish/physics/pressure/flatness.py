"""A platen or a pad that is not flat: the gap that turns past the wafer, and what of it reaches the pressure.

Under a turning wafer such a gap has a mean over a turn, a profile that presses like a worn pad,
and a variance about it. A pressure that swings evenly about its mean does not move the mean, but
for the summits: they answer a gap by an exponential, so a gap that swings lets them carry more at
the same mean gap.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.physics.checks import above_zero

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Mean and variance of a gap that turns past the wafer, and what wafer, pad and summits pass of it: "
    "derivation of our own",
    "Friction tilt 4 mu h/a of a rigid head on a gimbal: balance of moments, derivation of our own",
)

_SWINGS = 8
_LEAST_ANGLES = 48


class Waves(NamedTuple):
    """Waves of height on a platen or pad, a crest (or, where ``height`` is negative, a trough) at its middle.

    Attributes
    ----------
    height
        From trough to crest [m].
    number
        2 pi over the wave length [1/m].
    straight
        Lines across a pad that turns under the wafer, else rings about its axis.
    strip
        Lines along a belt, whatever ``straight`` says.
    """

    height: float
    number: float
    straight: bool = False
    strip: bool = False


class TurningGap(NamedTuple):
    """What a wafer radius meets in a turn: ``mean`` height [m] of the pad, and its ``variance`` [m^2], (n_r,)."""

    mean: Array
    variance: Array


def turning_gap(r: Array, areas: Array, waves: Waves, distance: float, swing: float = 0.0) -> TurningGap:
    """Return the mean and the variance, over turns of wafer and pad, of the height under each wafer radius.

    Parameters
    ----------
    r, areas
        Of the wafer's nodes, (n_r,) [m], [m^2].
    waves
        Of the pad's or the platen's height.
    distance, swing
        Of the wafer's axis from that of the pad, and how far it swings to each side [m].

    Returns
    -------
    TurningGap
        Counted from the plane that lies best under the wafer at each moment, as the head follows height and
        tilt.

    Notes
    -----
    All turns are taken at even weight: the wafer's past the pad, the pad's own under it (straight waves
    only; rings look the same after any turn) and the swing's.
    """
    count = max(_LEAST_ANGLES, math.ceil(2.0 * waves.number * float(r[-1])))
    angle = (np.arange(count) + 0.5) * (math.pi / count)
    swings = np.cos((np.arange(_SWINGS) + 0.5) * (math.pi / _SWINGS)) if swing else np.zeros(1)
    axis = distance + swing * swings
    half, along = 0.5 * waves.height, r[:, None] * np.cos(angle)
    if waves.strip:
        fields = [half * np.cos(waves.number * (place + along)) for place in axis]
    elif waves.straight:
        turns = max(_LEAST_ANGLES, math.ceil(2.0 * waves.number * float(axis.max())))
        turned = np.cos((np.arange(turns) + 0.5) * (math.pi / turns))
        fields = [half * np.cos(waves.number * (place * turn + along)) for place in axis for turn in turned]
    else:
        across = r[:, None] * np.sin(angle)
        fields = [half * np.cos(waves.number * np.hypot(place + along, across)) for place in axis]
    share = areas[:, None] / (areas.sum() * count)
    steep = float((share * along**2).sum())
    mean, square = np.zeros(r.size), np.zeros(r.size)
    for field in fields:
        seen = field - (share * field).sum() - along * ((share * field * along).sum() / steep)
        mean += seen.mean(axis=1) / len(fields)
        square += (seen * seen).mean(axis=1) / len(fields)
    return TurningGap(mean, np.maximum(square - mean**2, 0.0))


def passed(
    number: float, compliance: float, rigidity: float, backing: float, length: Array, pressure: Array
) -> Array:
    """Return the relative change of pressure per height of a wave that turns past the wafer.

    Parameters
    ----------
    number
        Wave number x [1/m].
    compliance
        Of the pad stack at it, C(x) [m/Pa].
    rigidity, backing
        Of the wafer, D [N m], and of the film behind it [Pa/m], 0 for a membrane.
    length, pressure
        Decay length of the summits [m] and mean pressure [Pa], (n_r,).

    Returns
    -------
    Array
        1/(lambda + p (C(x) + 1/(D x^4 + k))) [1/m], (n_r,): summits, pad and wafer give way one after another.

    Raises
    ------
    ModelError
        Where wave number or rigidity is not above 0.
    """
    above_zero("wave number", number)
    above_zero("rigidity", rigidity)
    return np.asarray(1.0 / (length + pressure * (compliance + 1.0 / (rigidity * number**4 + backing))))


def raised_by_swing(length: Array, swing: Array) -> Array:
    """Return how much taller summits seem where the pressure on them swings.

    Parameters
    ----------
    length
        Of the summits' exponential, lambda [m], (n_r,).
    swing
        Variance of pressure over its mean, (n_r,).

    Returns
    -------
    Array
        lambda swing/2 [m], (n_r,).

    Notes
    -----
    With p = P (1 + d), the mean of lambda ln(p/p0) is lambda ln(P/p0) - lambda <d^2>/2 to second order. For
    swings up to about a half; beyond it places lift off.
    """
    return np.asarray(0.5 * length * swing)


def friction_tilt(friction: float, gimbal_height: float, radius: float) -> float:
    """Return by how much of its mean the pressure rises at the leading edge under a rigid head.

    Parameters
    ----------
    friction
        Coefficient mu.
    gimbal_height
        Of the point about which the head tilts, above the pad's face, h [m].
    radius
        Of the wafer, a [m].

    Returns
    -------
    float
        4 mu h/a.

    Raises
    ------
    ModelError
        Where the radius is not above 0.

    Notes
    -----
    Friction on the face turns the head about its gimbal by mu p pi a^2 h; a pressure p (1 + e x/a) turns it
    back by e p pi a^3/4.
    """
    above_zero("radius", radius)
    return 4.0 * friction * gimbal_height / radius
