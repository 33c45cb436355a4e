"""How pad and wafer slide on one another: rotary, linear and orbital polishers.

Frames. The carrier axis is the origin of the wafer. On a rotary polisher the
platen axis lies at distance ``offset`` from it, and x points from the platen
axis to the carrier axis; on a linear one x runs along the belt; on an orbital
one the pad's centre circles the carrier axis at ``orbit_radius``. Angles and
angular speeds are counterclockwise, so platen and carrier that turn the same
way have the same sign. A velocity is that of the pad seen from the wafer.

All three motions put the same sum of two vectors under a wafer point: one of
length A that is the same everywhere on the wafer, one of length B that grows
with radius, at an angle that runs through a whole turn:

    rotary   A = |w_p| d       B = |w_p - w_c| r
    linear   A = |V|           B = |w_c| r
    orbital  A = |W| rho       B = |w_c| r

Every mean below follows from that, in closed form. Means are over a turn of
that angle (and over the carrier's oscillation where there is one): what a wafer
that turns many times sees. Shares of time between wafer and pad coordinates
are in ``planish.physics.motion.duty`` and reachable from here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, hyp2f1

from planish.errors import ModelError, refuse
from planish.physics.motion.duty import (
    MotionKind,
    PadView,
    overlap_areas,
    pad_to_wafer_weights,
    speed_between,
    wafer_to_pad_weights,
)

__all__ = [
    "SOURCES",
    "MotionKind",
    "PadView",
    "Retrace",
    "linear_mean_speed",
    "mean_speed",
    "mean_speed_at",
    "orbital_mean_speed",
    "overlap_areas",
    "pad_to_wafer_weights",
    "retracing_ratio",
    "rotary_mean_speed",
    "speed_amplitudes",
    "speed_between",
    "speed_moment",
    "wafer_path_on_pad",
    "wafer_to_pad_weights",
]

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Rigid-body kinematics of two turning discs, a belt and an orbit; mean speed by the complete elliptic "
    "integral of the second kind (derivation of our own, checked against quadrature)",
    "Equal platen and carrier speeds give the same speed everywhere: Patrick et al. 1991, "
    "J. Electrochem. Soc. 138, 1778; Hocheng, Tsai & Su 2000, J. Electrochem. Soc. 147 (from memory)",
)


def mean_speed(A: ArrayLike, B: ArrayLike) -> Array:
    """Mean length over a turn of the sum of two vectors of lengths A and B.

    (2/pi) (A + B) E(m) with m = 4AB/(A+B)^2 and E the complete elliptic
    integral of the second kind.

    Parameters
    ----------
    A, B:
        Speeds [m/s], any broadcastable shapes; signs do not matter.

    Returns
    -------
    Mean speed [m/s], broadcast shape.
    """
    A, B = np.abs(np.asarray(A, dtype=np.float64)), np.abs(np.asarray(B, dtype=np.float64))
    return np.asarray((2 / np.pi) * (A + B) * ellipe(_parameter(A, B)), dtype=np.float64)


def speed_moment(A: ArrayLike, B: ArrayLike, beta: float) -> Array:
    """Mean of speed**beta over a turn, for rate laws that are powers of speed.

    max(A, B)^beta 2F1(-beta/2, -beta/2; 1; (min/max)^2), the mean of
    |1 + z exp(i phi)|^beta; beta = 1 is ``mean_speed``.

    Parameters
    ----------
    A, B:
        Speeds [m/s]; signs do not matter.
    beta:
        Exponent, above -1 (at -1 and below the mean is infinite where A = B).

    Returns
    -------
    Mean of speed**beta [(m/s)**beta].

    Raises
    ------
    ModelError
        If beta is not above -1.
    """
    if not beta > -1:
        raise ModelError(refuse("speed exponent", beta, "above -1", "typical 0.5-1"))
    A, B = np.abs(np.asarray(A, dtype=np.float64)), np.abs(np.asarray(B, dtype=np.float64))
    large, small = np.maximum(A, B), np.minimum(A, B)
    z2 = np.divide(small, large, out=np.zeros(np.broadcast(A, B).shape), where=large > 0) ** 2
    return np.asarray(large**beta * hyp2f1(-beta / 2, -beta / 2, 1.0, z2), dtype=np.float64)


def rotary_mean_speed(
    r: ArrayLike,
    offset: float,
    platen_speed: ArrayLike,
    carrier_speed: ArrayLike,
    *,
    oscillation_amplitude: float = 0.0,
    oscillation_frequency: float = 0.0,
) -> Array:
    """Mean speed at wafer radius ``r`` on a rotary polisher.

    Parameters
    ----------
    r:
        Wafer radius [m].
    offset:
        Carrier axis to platen axis [m]; the mean one if the carrier oscillates.
    platen_speed, carrier_speed:
        [rad/s], same sign when turning the same way.
    oscillation_amplitude, oscillation_frequency:
        Of a sinusoidal carrier movement along the offset [m], [Hz]. The mean is
        then also over the oscillation (assumed not locked to the turning), by
        the trapezoid rule on the phase, which for a smooth periodic
        integrand converges faster than any power.

    Returns
    -------
    Mean speed [m/s], broadcast shape.
    """
    r, platen_speed = np.asarray(r, dtype=np.float64), np.asarray(platen_speed, dtype=np.float64)
    B = (platen_speed - np.asarray(carrier_speed, dtype=np.float64)) * r
    if oscillation_amplitude == 0:
        return mean_speed(platen_speed * offset, B)
    phase = (np.arange(48) + 0.5) * (2 * np.pi / 48)
    d = offset + oscillation_amplitude * np.sin(phase)
    d_dot = 2 * np.pi * oscillation_frequency * oscillation_amplitude * np.cos(phase)
    # The carrier's own travel is along the offset, the platen's velocity across it.
    A = np.hypot(platen_speed[..., None] * d, d_dot)
    return np.asarray(mean_speed(A, np.asarray(B)[..., None]).mean(axis=-1), dtype=np.float64)


def linear_mean_speed(r: ArrayLike, belt_speed: ArrayLike, carrier_speed: ArrayLike) -> Array:
    """Mean speed [m/s] at wafer radius ``r`` [m] under a belt at ``belt_speed`` [m/s], carrier [rad/s]."""
    return mean_speed(belt_speed, np.asarray(carrier_speed) * np.asarray(r, dtype=np.float64))


def orbital_mean_speed(
    r: ArrayLike, orbit_radius: float, orbit_speed: ArrayLike, carrier_speed: ArrayLike
) -> Array:
    """Mean speed [m/s] at wafer radius ``r`` [m] on an orbiting pad.

    ``orbit_radius`` [m], ``orbit_speed`` and ``carrier_speed`` [rad/s]; the two
    turnings are taken as incommensurate.
    """
    return mean_speed(
        orbit_radius * np.asarray(orbit_speed, dtype=np.float64),
        np.asarray(carrier_speed) * np.asarray(r, dtype=np.float64),
    )


def speed_amplitudes(
    motion: MotionKind,
    r: ArrayLike,
    *,
    offset: float = 0.0,
    platen_speed: float = 0.0,
    carrier_speed: float = 0.0,
    belt_speed: float = 0.0,
    orbit_radius: float = 0.0,
    orbit_speed: float = 0.0,
) -> tuple[float, Array]:
    """Lengths (A, B) [m/s] of the two velocity vectors of the module's head, A a number, B like ``r``."""
    r = np.asarray(r, dtype=np.float64)
    if motion == "rotary":
        return abs(platen_speed * offset), np.abs((platen_speed - carrier_speed) * r)
    A = belt_speed if motion == "linear" else orbit_radius * orbit_speed
    _check_motion(motion)
    return abs(A), np.abs(carrier_speed * r)


def mean_speed_at(
    motion: MotionKind,
    r: ArrayLike,
    *,
    offset: float = 0.0,
    platen_speed: float = 0.0,
    carrier_speed: float = 0.0,
    belt_speed: float = 0.0,
    orbit_radius: float = 0.0,
    orbit_speed: float = 0.0,
    oscillation_amplitude: float = 0.0,
    oscillation_frequency: float = 0.0,
) -> Array:
    """Mean speed [m/s] at wafer radius ``r`` [m] for any of the three motions.

    Keywords that do not belong to the motion are not used. Units as in
    ``rotary_mean_speed``, ``linear_mean_speed`` and ``orbital_mean_speed``.
    """
    if motion == "rotary":
        return rotary_mean_speed(
            r,
            offset,
            platen_speed,
            carrier_speed,
            oscillation_amplitude=oscillation_amplitude,
            oscillation_frequency=oscillation_frequency,
        )
    if motion == "linear":
        return linear_mean_speed(r, belt_speed, carrier_speed)
    _check_motion(motion)
    return orbital_mean_speed(r, orbit_radius, orbit_speed, carrier_speed)


def wafer_path_on_pad(
    motion: MotionKind,
    r0: float,
    phi0: float,
    times: ArrayLike,
    *,
    offset: float = 0.0,
    platen_speed: float = 0.0,
    carrier_speed: float = 0.0,
    belt_speed: float = 0.0,
    orbit_radius: float = 0.0,
    orbit_speed: float = 0.0,
    oscillation_amplitude: float = 0.0,
    oscillation_frequency: float = 0.0,
) -> tuple[Array, Array]:
    """Path (x, y) [m] of one wafer point over the pad, in the pad's own frame.

    The point starts at polar ``r0`` [m], ``phi0`` [rad] on the wafer. The pad
    frame's origin is the platen axis (rotary), the belt point that was under
    the carrier axis at t = 0 (linear; x is not wrapped at the belt's length),
    or the pad's centre (orbital).
    """
    t = np.asarray(times, dtype=np.float64)
    px, py = _turned(r0 * np.cos(phi0), r0 * np.sin(phi0), carrier_speed * t)
    if motion == "rotary":
        d, _ = _oscillating(offset, oscillation_amplitude, oscillation_frequency, t)
        return _turned(px + d, py, -platen_speed * t)
    if motion == "linear":
        return px - belt_speed * t, py
    _check_motion(motion)
    return px - orbit_radius * np.cos(orbit_speed * t), py - orbit_radius * np.sin(orbit_speed * t)


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
    platen_speed, carrier_speed:
        [rad/s]; only their ratio matters.
    max_denominator:
        Largest number of turns of either within which a closing counts.
    tolerance:
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


def _turned(x: ArrayLike, y: ArrayLike, angle: ArrayLike) -> tuple[Array, Array]:
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.asarray(x * cos - y * sin), np.asarray(x * sin + y * cos)


def _oscillating(offset: float, amplitude: float, frequency: float, t: ArrayLike) -> tuple[Array, Array]:
    phase = 2 * np.pi * frequency * np.asarray(t, dtype=np.float64)
    return offset + amplitude * np.sin(phase), 2 * np.pi * frequency * amplitude * np.cos(phase)


def _check_motion(motion: str) -> None:
    if motion not in ("rotary", "linear", "orbital"):
        raise ModelError(refuse("motion", motion, "rotary, linear or orbital"))
