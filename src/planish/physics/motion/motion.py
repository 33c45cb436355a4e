"""What every motion has in common: one record a machine, the same methods, SI floats.

Frames. The carrier axis is the origin of the wafer; the pad's axis or centre line lies at
``distance`` from it. Angles and angular speeds are counterclockwise, so parts that turn the same
way have the same sign. A velocity is that of the pad seen from the wafer.

Two speeds make a motion: ``drive``, that of what moves the pad (a platen or an orbit [rad/s], a
belt [m/s]), and ``carrier`` [rad/s]. All motions put a sum of two vectors under a wafer point,
of lengths A (the same everywhere) and B (growing with radius): see ``planish.physics.motion.speed``.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import lru_cache
from math import inf, pi
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import Record, counted, figure
from planish.errors import ModelError, refuse
from planish.physics.motion.circles import lens_area
from planish.physics.motion.duty import ROUND, PadShape, PadView, checked_edges, overlap_areas, time_shares
from planish.physics.motion.speed import Retrace, mean_speed
from planish.physics.pressure.layers import Base, rigid_base
from planish.physics.slurry.delivery import position_share_through

Array = NDArray[np.float64]
RPM = 2 * pi / 60


class Drive(NamedTuple):
    """The speed that moves the pad: its key in a recipe's step, what it moves, and how it is written."""

    key: str
    part: str
    unit: str
    said: str
    turns: bool

    def shown(self, speed: float) -> float:
        """Return a speed [rad/s] or [m/s] in ``unit``."""
        return speed / RPM if self.turns else speed

    def text(self, speed: float) -> str:
        """Return part, speed and unit: ``"platen 60 rpm"``."""
        return f"{self.part} {self.shown(speed):.{0 if self.turns else 2}f} {self.said}"


class Outline(NamedTuple):
    """What a plan of the machine shows; lengths [m].

    Attributes
    ----------
    straight
        Whether the pad is a strip along x, else a disc about the origin.
    edge
        Radius or half the width of the pad.
    carrier
        Where the carrier axis stands on x.
    swing, swing_frequency
        Of the carrier along x [m], [Hz].
    turns
        Whether the pad turns about the origin with the drive.
    orbit
        Radius of the circle on which the pad runs; 0 for none.
    length, roller
        Of a strip: once round, and the radius of its rollers.
    """

    straight: bool
    edge: float
    carrier: float = 0.0
    swing: float = 0.0
    swing_frequency: float = 0.0
    turns: bool = False
    orbit: float = 0.0
    length: float = 0.0
    roller: float = 0.0


@dataclass(frozen=True, slots=True, repr=False)
class Bearing(Record):
    """A fluid bearing under the pad: stiffness [Pa/m] and ring-shaped support zones.

    ``outer_radii`` [m] and ``pressures`` [Pa] about the carrier axis; the
    solver uses only how far each zone is above or below their load-balanced mean.
    """

    stiffness: float
    outer_radii: Array
    pressures: Array

    def _told(self) -> str:
        return f"{counted(self.pressures.size, 'zone')}, {figure(self.stiffness / 1e9, 'MPa/mm')}"


@dataclass(frozen=True, slots=True, repr=False, kw_only=True)
class Motion(Record, ABC):
    """A machine and the way its pad moves.

    A motion of its own says the names and words below, where the pad ends and how far its axis is
    from the carrier's, the two speeds, the speed where two places meet, and the path. What is here
    holds for a round pad that lies on a platen; a motion to which that does not apply says so itself.

    Attributes
    ----------
    delivery
        Of the slurry: "top" or "through-pad".
    dispense_radius
        Distance [m] of the drop point from the pad's axis or centre line.
    hole_fraction
        Share of the pad's area that is feed holes.
    bearing
        A fluid bearing in place of a platen.
    flatness, flatness_waves
        Of the platen, as rings about its axis: from trough to crest [m], the crest in the middle where it is
        above 0, and how many waves over its diameter.
    """

    motion: ClassVar[str]
    drive: ClassVar[Drive]
    shape: ClassVar[PadShape] = ROUND
    polisher_word: ClassVar[str]
    """What moves, in a word or three."""
    rests_on: ClassVar[str]
    """What the pad lies on, in words."""
    place_word: ClassVar[str] = "pad radius"
    """What the pad's coordinate is."""
    on_platen: ClassVar[bool] = True
    """Whether the pad lies on a platen that is kept at its temperature."""
    disk_meets_all: ClassVar[bool] = True
    """Whether the pad's own movement brings all its places under an arm."""

    delivery: Literal["top", "through-pad"] = "top"
    dispense_radius: float = 0.0
    hole_fraction: float = 0.0
    bearing: Bearing | None = None
    flatness: float = 0.0
    flatness_waves: float = 1.0

    @property
    @abstractmethod
    def pad_edge(self) -> float:
        """Radius of the pad, or half its width [m]."""

    @property
    @abstractmethod
    def distance(self) -> float:
        """Of the carrier axis from the pad's axis or centre line [m]."""

    @property
    def swing(self) -> float:
        """How far ``distance`` oscillates to each side [m]."""
        return 0.0

    @property
    def loop(self) -> float:
        """Length of the pad once round [m]; 0 where it is no loop."""
        return 0.0

    @property
    def room(self) -> float:
        """How far [m] from its axis a carrier finds pad under it on every side."""
        return self.pad_edge - self.distance - self.swing

    @property
    def innermost(self) -> float:
        """Least position [m] of a disk on the pad: on a strip they are counted from its centre line."""
        return -self.pad_edge if self.shape.straight else 0.0

    @property
    @abstractmethod
    def outline(self) -> Outline:
        """What a plan shows."""

    @property
    @abstractmethod
    def size(self) -> str:
        """The machine's size in words."""

    @property
    def geometry(self) -> tuple[object, ...]:
        """All that the shares of time and place depend on, as a key to keep tables by."""
        return type(self), self.pad_edge, self.distance, self.swing, self.loop

    def _told(self) -> str:
        return f"{self.motion}, {self.size}, slurry {'from above' if self.delivery == 'top' else 'through the pad'}"

    # Speeds

    @abstractmethod
    def speed_amplitudes(self, r: ArrayLike, drive: float, carrier: float) -> tuple[float, Array]:
        """Return the lengths A and B [m/s] of the two velocities under a wafer point.

        A carrier's oscillation is left out.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive
            Speed of what moves the pad: [rad/s], of a belt [m/s].
        carrier
            Speed of the carrier [rad/s].

        Returns
        -------
        tuple[float, Array]
            A, a number, and B, shape as ``r``.
        """

    @abstractmethod
    def speed_between(self, r: ArrayLike, R: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the sliding speed [m/s] where a place of the wafer is over a place of the pad.

        Parameters
        ----------
        r
            Wafer radius [m].
        R
            Pad coordinate [m], broadcastable with ``r``.
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        Array
            Of the common shape; where the two places never meet it means nothing (floored at 0).
        """

    @abstractmethod
    def path(
        self, r0: float, phi0: float, times: ArrayLike, drive: float, carrier: float
    ) -> tuple[Array, Array]:
        """Return the path of a wafer point over the pad, in the pad's frame.

        Parameters
        ----------
        r0, phi0
            Where the point is on the wafer at time 0 [m], [rad].
        times
            When it is looked at [s], (n,).
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        tuple[Array, Array]
            x and y [m], each (n,).
        """

    def mean_speed(self, r: ArrayLike, drive: float, carrier: float) -> Array:
        """Return the mean speed at a wafer radius, over a turn and over the oscillation if there is one.

        Parameters
        ----------
        r
            Wafer radius [m], any shape.
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        Array
            [m/s], shape as ``r``.
        """
        return mean_speed(*self.speed_amplitudes(r, drive, carrier))

    def pad_speed(self, drive: float) -> float:
        """Speed [m/s] of the pad at the carrier axis."""
        return self.speed_amplitudes(0.0, drive, 0.0)[0]

    def turn_time(self, drive: float) -> float:
        """Return the time from one meeting of a pad place with the carrier to the next.

        Parameters
        ----------
        drive
            Speed of what moves the pad: [rad/s], of a belt [m/s].

        Returns
        -------
        float
            [s]: of a turn, or once round a loop; infinite where the pad stands still.
        """
        round_once = 2 * pi if self.drive.turns else self.loop
        return round_once / abs(drive) if drive else inf

    def dragged(self, drive: float, carrier: float) -> tuple[float, float]:
        """Return what drags liquid under the wafer.

        Parameters
        ----------
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        tuple[float, float]
            Of the pad at the carrier axis [m/s], and the mean of both turnings [rad/s].
        """
        return self.pad_speed(drive), 0.5 * carrier

    def path_time(self, turns: float, drive: float, carrier: float) -> float:
        """Return the time of a path worth drawing.

        Parameters
        ----------
        turns
            How many turns of the carrier it shows.
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        float
            [s]; 10 s where the carrier stands still.
        """
        return turns * 2 * pi / abs(carrier) if carrier else 10.0

    def retrace(self, drive: float, carrier: float) -> Retrace | None:
        """Find turnings in a small whole-number ratio, where that makes wafer points retrace their path.

        Parameters
        ----------
        drive, carrier
            Speeds, as for ``speed_amplitudes``.

        Returns
        -------
        Retrace | None
            The ratio; None where there is none.
        """
        return None

    # Who meets whom

    def bin_areas(self, pad_edges: Array) -> Array:
        """Pad area [m^2] between edges [m] of its coordinate."""
        return self.shape.areas(pad_edges, self.loop)

    def wafer_to_pad_weights(self, r_nodes: ArrayLike, pad_edges: ArrayLike) -> Array:
        """Return the share of time that a wafer point spends over each pad bin (``duty.time_shares``).

        Parameters
        ----------
        r_nodes
            Wafer radii [m], (n_r,).
        pad_edges
            Edges of the bins of the pad coordinate [m], increasing, (n_pad + 1,).

        Returns
        -------
        Array
            (n_r, n_pad); every row sums to 1.

        Raises
        ------
        ModelError
            If the bins do not hold the whole path, edges do not increase, or the carrier swings over the pad's
            axis.
        """
        return time_shares(self.shape, r_nodes, pad_edges, self.distance, self.swing)

    def overlap_areas(self, r_edges: ArrayLike, pad_edges: ArrayLike) -> Array:
        """Return the area that wafer rings and pad bins share, averaged over time (``duty.overlap_areas``).

        Parameters
        ----------
        r_edges
            Edges of the wafer rings [m], increasing from 0 or more, (n_r + 1,).
        pad_edges
            Edges of the bins of the pad coordinate [m], increasing, (n_pad + 1,).

        Returns
        -------
        Array
            [m^2], (n_r, n_pad).

        Raises
        ------
        ModelError
            If edges do not increase, or the carrier swings over the pad's axis.
        """
        return overlap_areas(self.shape, r_edges, pad_edges, self.distance, self.swing)

    def pad_to_wafer_weights(
        self, r_edges: ArrayLike, pad_edges: ArrayLike, drive: float = 0.0, carrier: float = 0.0
    ) -> PadView:
        """Return what each pad bin sees of the wafer: duty, shares by wafer ring, sliding speeds.

        Exact areas (``overlap_areas``); speeds at the rings' and bins' middles.

        Parameters
        ----------
        r_edges
            Edges of the wafer rings [m], increasing from 0 or more, (n_r + 1,).
        pad_edges
            Edges of the bins of the pad coordinate [m], increasing, (n_pad + 1,).
        drive, carrier
            Speeds, as for ``speed_amplitudes``; they decide the sliding speeds only.

        Returns
        -------
        PadView
            A row each pad bin, a column each wafer ring.

        Raises
        ------
        ModelError
            If edges do not increase, or a belt is no longer than the wafer is wide.
        """
        r, X = checked_edges(r_edges, "ring edges"), checked_edges(pad_edges, "pad edges")
        if self.shape.straight and not self.loop > 2 * r[-1]:
            raise ModelError(refuse("belt length", self.loop, "above the wafer diameter"))
        shared = self.overlap_areas(r, X).T
        met = shared.sum(axis=1)
        weights = np.divide(shared, met[:, None], out=np.zeros_like(shared), where=met[:, None] > 0)
        speed = self.speed_between(
            (r[:-1] + r[1:])[None, :] / 2, (X[:-1] + X[1:])[:, None] / 2, drive, carrier
        )
        return PadView(met / self.bin_areas(X), weights, speed)

    # The conditioning disk: rings of it between ``rings`` [m], its centre at ``c`` [m]

    @abstractmethod
    def disk_speed(self, r: Array, R: Array, c: Array, drive: float, disk: float) -> Array:
        """Return the sliding speed [m/s] where a place of the conditioning disk meets a place of the pad.

        Parameters
        ----------
        r
            Radius on the disk [m].
        R
            Pad coordinate [m].
        c
            Position of the disk's centre [m]; the three broadcast.
        drive
            Speed of what moves the pad: [rad/s], of a belt [m/s].
        disk
            Speed of the disk [rad/s].

        Returns
        -------
        Array
            Of the common shape.
        """

    def disk_swept(self, edges: Array, c: Array, rings: Array, drive: float, disk: float) -> Array:
        """Return the sum over disk rings of the area shared with each pad bin times the speed there.

        Parameters
        ----------
        edges
            Edges of the pad bins [m], increasing, (n + 1,).
        c
            Positions of the disk's centre [m], (m,).
        rings
            Edges of the disk's rings [m], increasing, (k + 1,).
        drive, disk
            Speeds, as for ``disk_speed``.

        Returns
        -------
        Array
            [m^3/s], (m, n).
        """
        shared = disk_bins(edges, c, rings)
        middle, bins = 0.5 * (rings[1:] + rings[:-1]), 0.5 * (edges[1:] + edges[:-1])
        speed = self.disk_speed(middle[None, :, None], bins[None, None, :], c[:, None, None], drive, disk)
        return np.asarray(np.einsum("mrn,mrn->mn", shared, np.broadcast_to(speed, shared.shape)))

    def disk_on_pad(self, edge: float, c: Array, disk_radius: float) -> Array:
        """Return the area of the disk that lies on the pad.

        Parameters
        ----------
        edge
            Where the pad ends [m].
        c
            Positions of the disk's centre [m], (m,).
        disk_radius
            Of the disk [m].

        Returns
        -------
        Array
            [m^2], (m,).
        """
        return disk_bins(np.array([0.0, edge]), c, np.array([0.0, disk_radius]))[:, 0, 0]

    # What the pad rests on, and what brings the slurry

    def base(self) -> Base:
        """What the pad stack stands on."""
        return rigid_base()

    @abstractmethod
    def dropped_share(self, wafer_radius: float) -> float:
        """Share [1] of slurry dropped on the pad that can reach the wafer."""

    def slurry_share(self, wafer_radius: float) -> float:
        """Share [1] of the slurry delivered that can reach the wafer."""
        if self.delivery == "through-pad":
            return position_share_through(wafer_radius, max(self.pad_edge, wafer_radius))
        return self.dropped_share(wafer_radius)


def disk_bins(edges: Array, c: Array, rings: Array) -> Array:
    """Return the area that rings of a disk and rings of a round pad share.

    Parameters
    ----------
    edges
        Edges of the pad rings [m], increasing from 0 or more, (n + 1,).
    c
        Distances of the disk's centre from the pad's axis [m], (m,).
    rings
        Edges of the disk's rings [m], increasing from 0 or more, (k + 1,).

    Returns
    -------
    Array
        [m^2], (m, k, n).
    """
    return _shared_areas(
        *(np.ascontiguousarray(each, dtype=np.float64).tobytes() for each in (edges, c, rings))
    )


@lru_cache(maxsize=16)
def _shared_areas(edges: bytes, c: bytes, rings: bytes) -> Array:
    """Return the areas of :func:`disk_bins`, to be read only: pads and disks of one size share them at any speed."""
    R, d, r = (np.frombuffer(each) for each in (edges, c, rings))
    lenses = lens_area(r[None, :, None], R[None, None, :], d[:, None, None])
    shared = np.maximum(np.diff(np.diff(lenses, axis=1)), 0)
    shared.setflags(write=False)
    return shared


def turned(x: ArrayLike, y: ArrayLike, angle: ArrayLike) -> tuple[Array, Array]:
    """Return points turned about the origin.

    Parameters
    ----------
    x, y
        Of the points, broadcastable; any unit.
    angle
        Counterclockwise [rad], broadcastable with them.

    Returns
    -------
    tuple[Array, Array]
        x and y, of the common shape.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.asarray(x * cos - y * sin), np.asarray(x * sin + y * cos)


def wafer_point(r0: float, phi0: float, times: ArrayLike, carrier: float) -> tuple[Array, Array, Array]:
    """Return the times and where about the carrier axis a wafer point then is.

    Parameters
    ----------
    r0, phi0
        Where the point is on the wafer at time 0 [m], [rad].
    times
        When it is looked at [s], (n,).
    carrier
        Speed of the carrier [rad/s].

    Returns
    -------
    tuple[Array, Array, Array]
        Times [s], x and y [m], each (n,).
    """
    t = np.asarray(times, dtype=np.float64)
    return t, *turned(r0 * np.cos(phi0), r0 * np.sin(phi0), carrier * t)
