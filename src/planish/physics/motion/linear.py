"""An endless belt over two rollers, carried by a fluid bearing under the wafer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import figure
from planish.errors import ModelError, refuse
from planish.physics.motion.circles import segment_area
from planish.physics.motion.duty import STRIP, PadShape
from planish.physics.motion.motion import Drive, Motion, Outline, wafer_point
from planish.physics.pressure.layers import Base, belt_base, rigid_base
from planish.physics.slurry.delivery import position_share_linear

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Linear(Motion):
    """A = V, B = w_c r; x runs along the belt, the carrier stands over its centre line.

    Lengths [m]; the carrying belt under the pad by modulus [Pa], Poisson's ratio, and tension [N/m] per width.
    """

    motion: ClassVar[str] = "linear"
    drive: ClassVar[Drive] = Drive("belt_speed", "belt", "m/s", "m/s", turns=False)
    shape: ClassVar[PadShape] = STRIP
    polisher_word: ClassVar[str] = "belt and bearing"
    rests_on: ClassVar[str] = "belt on its fluid bearing"
    place_word: ClassVar[str] = "distance from the belt's centre line"
    on_platen: ClassVar[bool] = False

    belt_width: float
    belt_length: float
    roller_radius: float = 0.0
    belt_thickness: float = 0.0
    belt_modulus: float = 0.0
    belt_poisson: float = 0.3
    belt_tension: float = 0.0

    @property
    def pad_edge(self) -> float:
        """Half the belt's width [m]."""
        return self.belt_width / 2

    @property
    def distance(self) -> float:
        """The carrier stands over the centre line."""
        return 0.0

    @property
    def loop(self) -> float:
        """Once round the belt [m]."""
        return self.belt_length

    @property
    def outline(self) -> Outline:
        """A strip over two rollers."""
        return Outline(straight=True, edge=self.pad_edge, length=self.belt_length, roller=self.roller_radius)

    @property
    def size(self) -> str:
        """Width and length."""
        return f"belt {figure(self.belt_width, 'm')} wide, {figure(self.belt_length, 'm')} long"

    def speed_amplitudes(self, r: ArrayLike, drive: float, carrier: float) -> tuple[float, Array]:
        """Return |V| and |w_c| r [m/s], the lengths of the two velocities under a wafer point.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive
            V, of the belt [m/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        tuple[float, Array]
            A, a number, and B, shape as ``r``.
        """
        return abs(drive), np.abs(carrier * np.asarray(r, dtype=np.float64))

    def speed_between(self, r: ArrayLike, R: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the sliding speed [m/s], the mean of both sides: the place may be on either side of the centre line.

        v^2 = V^2 + 2 V w_c y + w_c^2 r^2 with y = R or -R.

        Parameters
        ----------
        r
            Wafer radius [m].
        R
            Distance from the centre line [m], broadcastable with ``r``.
        drive
            V, of the belt [m/s].
        carrier
            w_c, of the carrier [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """
        r, R = np.asarray(r, dtype=np.float64), np.asarray(R, dtype=np.float64)
        even, odd = drive**2 + (carrier * r) ** 2, 2 * drive * carrier * R
        return (np.sqrt(np.clip(even + odd, 0, None)) + np.sqrt(np.clip(even - odd, 0, None))) / 2

    def path(
        self, r0: float, phi0: float, times: ArrayLike, drive: float, carrier: float
    ) -> tuple[Array, Array]:
        """Return the path about the belt point that was under the carrier axis at time 0.

        Parameters
        ----------
        r0, phi0
            Where the point is on the wafer at time 0 [m], [rad].
        times
            When it is looked at [s], (n,).
        drive
            Of the belt [m/s].
        carrier
            Of the carrier [rad/s].

        Returns
        -------
        tuple[Array, Array]
            x along the belt, not wrapped at its length, and y [m], each (n,).
        """
        t, x, y = wafer_point(r0, phi0, times, carrier)
        return x - drive * t, y

    def disk_speed(self, r: Array, R: Array, c: Array, drive: float, disk: float) -> Array:
        """Return the sliding speed [m/s] at the line R on its own side, as far across as the disk's ring goes.

        Parameters
        ----------
        r
            Radius on the disk [m].
        R
            Position of the line across the belt [m].
        c
            Position of the disk's centre across the belt [m]; the three broadcast.
        drive
            Of the belt [m/s].
        disk
            Of the disk [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """
        across = np.clip(R - c, -r, r)
        squared = drive**2 + 2.0 * drive * disk * across + (disk * r) ** 2
        return np.sqrt(np.maximum(squared, 0.0))

    def disk_swept(self, edges: Array, c: Array, rings: Array, drive: float, disk: float) -> Array:
        """Return areas times speeds of both sides of the centre line together, strips of one circle.

        Parameters
        ----------
        edges
            Edges of the pad bins [m], from the centre line, (n + 1,).
        c
            Positions of the disk's centre across the belt [m], (m,).
        rings
            Edges of the disk's rings [m], (k + 1,).
        drive
            Of the belt [m/s].
        disk
            Of the disk [rad/s].

        Returns
        -------
        Array
            [m^3/s], (m, n).

        Raises
        ------
        ModelError
            Where the belt is no longer than the disk is wide.
        """
        if not self.belt_length > 2 * rings[-1]:
            raise ModelError(
                refuse("belt length less disk diameter [m]", self.belt_length - 2 * rings[-1], "above 0")
            )
        middle = 0.5 * (rings[1:] + rings[:-1])
        total = np.zeros((c.size, edges.size - 1))
        for side in (1.0, -1.0):
            y = side * edges[None, None, :] - c[:, None, None]
            area = np.abs(np.diff(np.diff(segment_area(rings[None, :, None], y), axis=1), axis=2))
            across = 0.5 * (y[:, :, 1:] + y[:, :, :-1])
            speed = self.disk_speed(middle[None, :, None], across, np.zeros(1), drive, disk)
            total += np.einsum("mrn,mrn->mn", area, speed)
        return total

    def disk_on_pad(self, edge: float, c: Array, disk_radius: float) -> Array:
        """Return the area of the disk that lies between the belt's two edges.

        Parameters
        ----------
        edge
            Half the belt's width [m].
        c
            Positions of the disk's centre across the belt [m], (m,).
        disk_radius
            Of the disk [m].

        Returns
        -------
        Array
            [m^2], (m,).
        """
        both = segment_area(np.full((c.size, 2), disk_radius), np.stack([-edge - c, edge - c], axis=1))
        return np.asarray(both[:, 1] - both[:, 0])

    def base(self) -> Base:
        """The belt on its bearing."""
        if self.bearing is None:
            return rigid_base()
        return belt_base(
            self.belt_modulus,
            self.belt_poisson,
            self.belt_thickness,
            self.belt_tension,
            self.bearing.stiffness,
        )

    def dropped_share(self, wafer_radius: float) -> float:
        """A belt carries slurry straight on."""
        return float(position_share_linear(self.dispense_radius, wafer_radius))
