"""A turning platen; the carrier turns beside its axis, and may swing along the line of the two."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import figure
from planish.physics.motion.motion import Drive, Motion, Outline, turned, wafer_point
from planish.physics.motion.speed import Retrace, mean_speed, retracing_ratio
from planish.physics.slurry.delivery import position_share_rotary

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Rotary(Motion):
    """A = w_p d, B = (w_p - w_c) r, with d the offset of the axes; x points from platen to carrier axis.

    Lengths [m]; a carrier that swings does so as a sine, at ``oscillation_frequency`` [Hz].
    """

    motion: ClassVar[str] = "rotary"
    drive: ClassVar[Drive] = Drive("platen_speed", "platen", "rpm", "rpm", turns=True)
    polisher_word: ClassVar[str] = "platen"
    rests_on: ClassVar[str] = "platen"

    centre_offset: float
    platen_radius: float
    oscillation_amplitude: float = 0.0
    oscillation_frequency: float = 0.0

    @property
    def pad_edge(self) -> float:
        """Radius of platen and pad [m]."""
        return self.platen_radius

    @property
    def distance(self) -> float:
        """Carrier axis to platen axis [m]."""
        return self.centre_offset

    @property
    def swing(self) -> float:
        """How far the carrier oscillates [m]."""
        return self.oscillation_amplitude

    @property
    def outline(self) -> Outline:
        """A turning disc, the carrier beside its axis."""
        return Outline(
            straight=False,
            edge=self.platen_radius,
            carrier=self.centre_offset,
            swing=self.oscillation_amplitude,
            swing_frequency=self.oscillation_frequency,
            turns=True,
        )

    @property
    def size(self) -> str:
        """Platen and offset."""
        return f"platen {figure(2e3 * self.platen_radius, 'mm')}, offset {figure(1e3 * self.centre_offset, 'mm')}"

    def speed_amplitudes(self, r: ArrayLike, drive: float, carrier: float) -> tuple[float, Array]:
        """Return |w_p d| and |w_p - w_c| r [m/s], the lengths of the two velocities under a wafer point.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive
            w_p, of the platen [rad/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        tuple[float, Array]
            A, a number, and B, shape as ``r``.
        """
        r = np.asarray(r, dtype=np.float64)
        return abs(drive * self.centre_offset), np.abs((drive - carrier) * r)

    def mean_speed(self, r: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the mean speed at a wafer radius, over a turn and over the carrier's oscillation.

        The oscillation (assumed not locked to the turning) is averaged by the trapezoid rule on the phase, which for
        a smooth periodic integrand converges faster than any power.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive
            Of the platen [rad/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        Array
            [m/s], shape as ``r``.
        """
        still, B = self.speed_amplitudes(r, drive, carrier)
        if self.oscillation_amplitude == 0:
            return mean_speed(still, B)
        phase = (np.arange(48) + 0.5) * (2 * np.pi / 48)
        d = self.centre_offset + self.oscillation_amplitude * np.sin(phase)
        d_dot = 2 * np.pi * self.oscillation_frequency * self.oscillation_amplitude * np.cos(phase)
        # The carrier's own travel is along the offset, the platen's velocity across it.
        A = np.hypot(drive * d, d_dot)
        return np.asarray(mean_speed(A, B[..., None]).mean(axis=-1), dtype=np.float64)

    def speed_between(self, r: ArrayLike, R: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the sliding speed [m/s]: meeting at (r, R) fixes the triangle of the two axes and the place.

        v^2 = w_p w_c d^2 + (w_p - w_c)(w_p R^2 - w_c r^2). A carrier oscillation enters by its mean square and its
        own travel is left out: good while both are small beside d and w_p d.

        Parameters
        ----------
        r
            Wafer radius [m].
        R
            Pad radius [m], broadcastable with ``r``.
        drive
            w_p, of the platen [rad/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """
        return _triangle(r, R, self.centre_offset**2 + self.oscillation_amplitude**2 / 2, drive, carrier)

    def disk_speed(self, r: Array, R: Array, c: Array, drive: float, disk: float) -> Array:
        """Return the sliding speed [m/s] from the same triangle, the disk in place of the wafer.

        Parameters
        ----------
        r
            Radius on the disk [m].
        R
            Pad radius [m].
        c
            Distance of the disk's centre from the platen axis [m]; the three broadcast.
        drive
            Of the platen [rad/s].
        disk
            Of the disk [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """
        return _triangle(r, R, c**2, drive, disk)

    def dragged(self, drive: float, carrier: float) -> tuple[float, float]:
        """Return what drags liquid under the wafer; the platen turns too.

        Parameters
        ----------
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        tuple[float, float]
            Of the pad at the carrier axis [m/s], and the mean of both turnings [rad/s].
        """
        return self.pad_speed(drive), 0.5 * (drive + carrier)

    def path(
        self, r0: float, phi0: float, times: ArrayLike, drive: float, carrier: float
    ) -> tuple[Array, Array]:
        """Return the path about the platen axis, turning with it.

        Parameters
        ----------
        r0, phi0
            Where the point is on the wafer at time 0 [m], [rad].
        times
            When it is looked at [s], (n,).
        drive
            Of the platen [rad/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        tuple[Array, Array]
            x and y [m], each (n,).
        """
        t, x, y = wafer_point(r0, phi0, times, carrier)
        d = self.centre_offset + self.oscillation_amplitude * np.sin(
            2 * np.pi * self.oscillation_frequency * t
        )
        return turned(x + d, y, -drive * t)

    def path_time(self, turns: float, drive: float, carrier: float) -> float:
        """Return the time of so many turns of the platen.

        Parameters
        ----------
        turns
            How many to show.
        drive
            Of the platen [rad/s].
        carrier
            Not used.

        Returns
        -------
        float
            [s]; 10 s where the platen stands still.
        """
        return turns * 2 * pi / abs(drive) if drive else 10.0

    def retrace(self, drive: float, carrier: float) -> Retrace | None:
        """Find platen and carrier in a small whole-number ratio, at which wafer points retrace their path.

        Parameters
        ----------
        drive
            Of the platen [rad/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        Retrace | None
            The ratio; None where there is none.
        """
        return retracing_ratio(drive, carrier)

    def dropped_share(self, wafer_radius: float) -> float:
        """Slurry works its way outward from where it drops."""
        return float(position_share_rotary(self.dispense_radius, self.centre_offset, wafer_radius))


def _triangle(r: ArrayLike, R: ArrayLike, d2: float | Array, drive: float, other: float) -> Array:
    r, R = np.asarray(r, dtype=np.float64), np.asarray(R, dtype=np.float64)
    v2 = drive * other * d2 + (drive - other) * (drive * R**2 - other * r**2)
    return np.sqrt(np.clip(v2, 0, None))
