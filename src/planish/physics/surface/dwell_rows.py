"""What dwell times keep to, as rows that times on any scale keep: each row times them is 0 at most."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from planish.physics.motion.arm import Drive

Array = NDArray[np.float64]
HAIR = 5e-4
"""Of a ratio: so that rounded times keep it too; of the longest time: less is no change."""


@dataclass(frozen=True, slots=True)
class Arm:
    """The arm of a sweep: ``lengths`` of the zones along its path (zones,) [m], ``time`` of one pass [s], its ``drive``."""

    lengths: Array
    time: float
    drive: Drive


def share_rows(least: Array) -> Iterator[Array]:
    """Yield rows of least shares of the time in all zones together.

    Parameters
    ----------
    least
        Of each zone [1], (zones,).

    Yields
    ------
    Array
        (zones,).
    """
    for zone, share in enumerate(least):
        row = np.full(least.size, share)
        row[zone] -= 1.0
        yield row


def ratio_rows(zones: int, ratio: float) -> Iterator[Array]:
    """Yield rows of the ratio of neighbouring times, a hair less than it is; none where it is infinite.

    Parameters
    ----------
    zones
        How many.
    ratio
        Largest, 1 or more.

    Yields
    ------
    Array
        (zones,).
    """
    if ratio == inf:
        return
    for zone in range(zones - 1):
        for one, other in ((zone, zone + 1), (zone + 1, zone)):
            row = np.zeros(zones)
            row[one], row[other] = 1.0, -max(ratio * (1.0 - HAIR), 1.0)
            yield row


def turn_rows(zones: int, rising: bool, places: tuple[int, ...]) -> Iterator[Array]:
    """Yield rows of times that rise or fall from the inside, and turn.

    Parameters
    ----------
    zones
        How many.
    rising
        Whether they rise at first.
    places
        Numbers of the zones after which they turn.

    Yields
    ------
    Array
        (zones,).
    """
    sign = 1.0 if rising else -1.0
    for zone in range(zones - 1):
        if zone in places:
            sign = -sign
        row = np.zeros(zones)
        row[zone], row[zone + 1] = sign, -sign
        yield row


def speed_rows(times: Array, arm: Arm, share: float) -> Iterator[Array]:
    """Yield rows of the change of speed from the middle of one zone to that of the next.

    Parameters
    ----------
    times
        About which the rows are straight [s], (zones,).
    arm
        Of the sweep.
    share
        Of its top acceleration a that may be used.

    Yields
    ------
    Array
        (zones,).

    Notes
    -----
    Of g = d'/t' - d/t - a (t + t')/2, and the same the other way round, with ways d and times t.
    """
    speed, slope = arm.lengths / times, arm.lengths / times**2
    most = 0.5 * share * arm.drive.acceleration
    for zone in range(times.size - 1):
        for sign in (1.0, -1.0):
            by = np.zeros(times.size)
            by[zone] = sign * slope[zone] - most
            by[zone + 1] = -sign * slope[zone + 1] - most
            here = sign * (speed[zone + 1] - speed[zone]) - most * (times[zone] + times[zone + 1])
            row = by * arm.time + (here - by @ times)
            yield row / np.abs(row).max()
