"""How an arm runs a dwell table: its speed at every moment of a pass, within what its drive can do.

A pass leads from the one end of the sweep to the other; at both ends the arm turns round, so it stands still there. In
between its speed is a broken line in time, which stays within a top speed and, by its slope, within a top acceleration.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Motion within a top speed and a top acceleration: elementary kinematics",
    "Quadratic programs by an interior-point method for conic programs (library clarabel)",
)
SLOTS = 12  # of a zone, in time: between two of its nodes the speed is straight
_HINT = 1e-6  # weight of smoothness beside the peak acceleration: it tells apart what peaks alike


class Drive(NamedTuple):
    """What the drive of an arm can do: top ``speed`` [m/s] and top ``acceleration`` [m/s^2] of the disk's centre."""

    speed: float
    acceleration: float


class ArmRun(NamedTuple):
    """One pass. At n+1 moments: ``time`` [s], ``speed`` [m/s] and ``place`` along the path [m]; the peak ``acceleration`` [m/s^2]."""

    time: Array
    speed: Array
    place: Array
    acceleration: float


def shortest_pass(length: float, drive: Drive) -> float:
    """Return the least time of a pass from rest to rest.

    Parameters
    ----------
    length
        Of its way [m].
    drive
        Of the arm.

    Returns
    -------
    float
        [s].
    """
    ramp = drive.speed**2 / drive.acceleration  # both ramps together take up so much of the way
    if length >= ramp:
        return length / drive.speed + drive.speed / drive.acceleration
    return 2.0 * sqrt(length / drive.acceleration)


def least_times(lengths: ArrayLike, drive: Drive) -> Array:
    """Return the least time that each zone takes, the first and the last one from or to rest.

    Parameters
    ----------
    lengths
        Of the zones along the path, (zones,) [m].
    drive
        Of the arm.

    Returns
    -------
    Array
        [s], (zones,): each alone; all at once may be out of reach.
    """
    way = np.asarray(lengths, dtype=np.float64)
    least = way / drive.speed
    ramp = 0.5 * drive.speed**2 / drive.acceleration
    for end in {0, way.size - 1}:
        if way[end] >= ramp:
            least[end] = way[end] / drive.speed + 0.5 * drive.speed / drive.acceleration
        else:
            least[end] = sqrt(2.0 * way[end] / drive.acceleration)
    return least


def arm_run(lengths: ArrayLike, times: ArrayLike, drive: Drive) -> ArmRun | None:
    """Return the smoothest pass that spends given times in given zones.

    Parameters
    ----------
    lengths, times
        Of the zones along the path, (zones,) [m] and [s], above 0.
    drive
        Of the arm.

    Returns
    -------
    ArmRun | None
        None where there is no such pass within the drive's limits.

    Raises
    ------
    ModelError
        For lengths, times or a drive that cannot be.

    Notes
    -----
    Least integral of the square of the acceleration: a convex program, so None says that no broken line of ``SLOTS``
    pieces a zone will do.
    """
    way, stay = _checked(lengths, times, drive)
    answer = _solved(way, stay, drive, free=False)
    if answer is None:
        return None
    return _told(answer, stay)


def needed_acceleration(lengths: ArrayLike, times: ArrayLike, drive: Drive) -> float:
    """Return the least top acceleration with which an arm of a top speed spends given times in given zones.

    Parameters
    ----------
    lengths, times, drive
        As for :func:`arm_run`; its acceleration is not used.

    Returns
    -------
    float
        [m/s^2], infinite where the top speed alone forbids it.
    """
    way, stay = np.asarray(lengths, dtype=np.float64), np.asarray(times, dtype=np.float64)
    if np.any(stay <= 0):
        return inf
    way, stay = _checked(way, stay, drive)
    answer = _solved(way, stay, drive, free=True)
    return inf if answer is None else _told(answer, stay).acceleration


def _checked(lengths: ArrayLike, times: ArrayLike, drive: Drive) -> tuple[Array, Array]:
    way, stay = np.asarray(lengths, dtype=np.float64), np.asarray(times, dtype=np.float64)
    if way.ndim != 1 or way.shape != stay.shape or way.size < 1:
        raise ModelError(refuse("arm's zones", (way.shape, stay.shape), "as many times as lengths"))
    for values, name in ((way, "arm's zone length [m]"), (stay, "arm's time in a zone [s]")):
        if np.any(~(values > 0)) or not np.all(np.isfinite(values)):
            raise ModelError(refuse(name, float(values.min()), "finite and more than 0"))
    for value, name in ((drive.speed, "speed [m/s]"), (drive.acceleration, "acceleration [m/s^2]")):
        if not (np.isfinite(value) and value > 0):
            raise ModelError(refuse(f"arm's top {name}", value, "finite and more than 0"))
    return way, stay


def _told(speed: Array, stay: Array) -> ArmRun:
    slot = np.repeat(stay / SLOTS, SLOTS)
    steps = 0.5 * (speed[1:] + speed[:-1]) * slot
    return ArmRun(
        np.concatenate([[0.0], np.cumsum(slot)]),
        speed,
        np.concatenate([[0.0], np.cumsum(steps)]),
        float(np.abs(np.diff(speed) / slot).max()),
    )


def _solved(way: Array, stay: Array, drive: Drive, *, free: bool) -> Array | None:
    """Return the speed at every node [m/s]; with ``free`` that of the least peak acceleration, which is then not bound."""
    import clarabel
    from scipy import sparse

    zones, top, unit = way.size, drive.speed, float(stay.sum())
    count = SLOTS * zones  # of slots; unknown are the speeds at the nodes between them over the top speed
    slot = np.repeat(stay / SLOTS, SLOTS) / unit
    inner = sparse.eye(count - 1, format="csc")
    none = sparse.csc_matrix((1, count - 1))
    ends, begins = sparse.vstack([inner, none]), sparse.vstack([none, inner])
    rate = sparse.diags(1.0 / slot) @ (ends - begins)
    zone_mean = sparse.kron(sparse.eye(zones), np.full((1, SLOTS), 0.5 / SLOTS)) @ (ends + begins)
    # and, if free, the peak acceleration itself
    peak = sparse.csc_matrix(np.ones((count, 1)) if free else np.zeros((count, 0)))
    most = np.full(count, 0.0 if free else drive.acceleration * unit / top)
    wide = peak.shape[1]
    blank = [sparse.csc_matrix((rows, wide)) for rows in (zones, count - 1)]
    matrix = sparse.bmat(
        [[zone_mean, blank[0]], [rate, -peak], [-rate, -peak], [inner, blank[1]], [-inner, blank[1]]],
        format="csc",
    )
    bounds = np.concatenate([way / stay / top, most, most, np.ones(count - 1), np.zeros(count - 1)])
    smooth = (_HINT if free else 1.0) * (rate.T @ sparse.diags(slot) @ rate)
    square = sparse.block_diag([smooth, sparse.csc_matrix((wide, wide))], format="csc")
    linear = np.concatenate([np.zeros(count - 1), np.ones(wide)])
    cones: list[Any] = [clarabel.ZeroConeT(zones), clarabel.NonnegativeConeT(bounds.size - zones)]
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    answer = clarabel.DefaultSolver(
        sparse.triu(square, format="csc"), linear, matrix, bounds, cones, settings
    ).solve()
    if str(answer.status) not in ("Solved", "AlmostSolved"):
        return None
    found = np.asarray(answer.x)[: count - 1]
    return np.concatenate([[0.0], top * np.clip(found, 0.0, 1.0), [0.0]])
