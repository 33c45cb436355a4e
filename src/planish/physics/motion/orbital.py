"""A pad that runs on a small circle without turning, usually fed through holes."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import figure
from planish.physics.motion.motion import Drive, Motion, Outline, wafer_point
from planish.physics.motion.speed import mean_speed
from planish.physics.slurry.delivery import position_share_linear

Array = NDArray[np.float64]
STEADY = 0.7  # of an orbit's speed, that drags a film as the orbit does
MANY = 40  # orbits: a longer path is a blot


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Orbital(Motion):
    """A = W rho, B = w_c r, with W and rho the orbit's speed and radius; lengths [m].

    On an orbiting pad, which does not turn, a disk is taken to be carried around the pad's axis, all
    azimuths alike.
    """

    motion: ClassVar[str] = "orbital"
    drive: ClassVar[Drive] = Drive("orbit_speed", "orbit", "1/min", "per min", turns=True)
    polisher_word: ClassVar[str] = "table"
    rests_on: ClassVar[str] = "orbiting table"
    disk_meets_all: ClassVar[bool] = False

    orbit_radius: float
    pad_radius: float

    @property
    def pad_edge(self) -> float:
        """Radius of the pad [m]."""
        return self.pad_radius

    @property
    def distance(self) -> float:
        """The pad's centre from the carrier axis [m]."""
        return self.orbit_radius

    @property
    def outline(self) -> Outline:
        """A disc about the carrier axis, on its orbit."""
        return Outline(straight=False, edge=self.pad_radius, orbit=self.orbit_radius)

    @property
    def size(self) -> str:
        """Orbit and pad."""
        return f"orbit {figure(1e3 * self.orbit_radius, 'mm')}, pad {figure(2e3 * self.pad_radius, 'mm')}"

    def speed_amplitudes(self, r: ArrayLike, drive: float, carrier: float) -> tuple[float, Array]:
        """Return |W rho| and |w_c| r [m/s]; the two turnings are taken as incommensurate.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive
            W, of the orbit [rad/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        tuple[float, Array]
            A, a number, and B, shape as ``r``.
        """
        return abs(self.orbit_radius * drive), np.abs(carrier * np.asarray(r, dtype=np.float64))

    def speed_between(self, r: ArrayLike, R: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the sliding speed [m/s] where a place of the wafer is over a place of the pad.

        v^2 = W (W - w_c) rho^2 + w_c (w_c - W) r^2 + W w_c R^2.

        Parameters
        ----------
        r
            Wafer radius [m].
        R
            Pad radius [m], broadcastable with ``r``.
        drive
            W, of the orbit [rad/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """
        r, R = np.asarray(r, dtype=np.float64), np.asarray(R, dtype=np.float64)
        turning = drive - carrier
        v2 = drive * turning * self.orbit_radius**2 - carrier * turning * r**2 + drive * carrier * R**2
        return np.sqrt(np.clip(v2, 0, None))

    def dragged(self, drive: float, carrier: float) -> tuple[float, float]:
        """Return what drags liquid under the wafer.

        The direction turns with every orbit: the film answers as to a steady 0.7 of the speed (0.65 to 0.75 by our
        own solution).

        Parameters
        ----------
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        tuple[float, float]
            Of the pad at the carrier axis [m/s], and the mean of both turnings [rad/s].
        """
        return STEADY * self.pad_speed(drive), 0.5 * carrier

    def path(
        self, r0: float, phi0: float, times: ArrayLike, drive: float, carrier: float
    ) -> tuple[Array, Array]:
        """Return the path about the pad's centre.

        Parameters
        ----------
        r0, phi0
            Where the point is on the wafer at time 0 [m], [rad].
        times
            When it is looked at [s], (n,).
        drive
            Of the orbit [rad/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        tuple[Array, Array]
            x and y [m], each (n,).
        """
        t, x, y = wafer_point(r0, phi0, times, carrier)
        return x - self.orbit_radius * np.cos(drive * t), y - self.orbit_radius * np.sin(drive * t)

    def path_time(self, turns: float, drive: float, carrier: float) -> float:
        """Return the time of the carrier's turns, and of no more orbits than can be told apart.

        Parameters
        ----------
        turns
            How many turns of the carrier to show.
        drive
            Of the orbit [rad/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        float
            [s].
        """
        # Named, not bare: slots make a second class, which the bare form does not know.
        duration = super(Orbital, self).path_time(turns, drive, carrier)
        return min(duration, MANY * 2 * pi / abs(drive)) if drive else duration

    def disk_speed(self, r: Array, R: Array, c: Array, drive: float, disk: float) -> Array:
        """Return the mean speed over a turn of the disk: its place on the pad does not matter.

        Parameters
        ----------
        r
            Radius on the disk [m].
        R, c
            Pad radius and position of the disk's centre [m]: for the shape only.
        drive
            Of the orbit [rad/s].
        disk
            Of the disk [rad/s].

        Returns
        -------
        Array
            [m/s], of the common shape.
        """
        return np.asarray(mean_speed(self.orbit_radius * drive, disk * r) + 0.0 * (R + c))

    def dropped_share(self, wafer_radius: float) -> float:
        """As on a belt: the chord of the wafer where the drop lands."""
        return float(position_share_linear(self.dispense_radius, wafer_radius))
