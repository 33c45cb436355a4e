"""The conditioning disk on the pad: how fast it cuts where.

Cut by Archard: depth = coefficient * pressure * sliding distance, averaged
over the sweep. The disk is a plane of diamonds under an even load, so a pad
bin is cut in proportion to the area that it shares with each ring of the disk
times the sliding speed where they meet. Areas are exact lenses of two circles
(strips of one circle on a belt); speeds are taken at the middles. The sweep's own
speed (about 0.1 m/s) is left out beside the platen's.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.checks import above_zero
from planish.physics.motion.motion import Motion

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Archard 1953, J. Appl. Phys. 24, 981: wear proportional to load and sliding (read as quoted in NPTEL lecture "
    "7.5)",
    "Share of a turn under a disk, arccos((r^2+c^2-a^2)/(2rc))/pi; areas of lenses: elementary geometry",
    "3-9 lbf, 60-120 rpm, 10-60 um/h of pad cut: common practice, no source",
)


def cut_matrix(
    machine: Motion,
    pad_edges: ArrayLike,
    positions: ArrayLike,
    *,
    disk_radius: float,
    downforce: float,
    coefficient: float,
    disk_speed: float,
    drive: float = 0.0,
    disk_rings: int = 12,
) -> Array:
    """Mean pad cut rate [m/s] of every pad bin (n,) with the disk held at each position (m,): shape (n, m).

    Parameters
    ----------
    machine
        Whose pad it is.
    pad_edges
        Bin edges (n+1,) of the pad's coordinate [m]: its radius, or the distance from a belt's centre line (both
        sides).
    positions
        Of the disk's centre (m,) [m]; on a belt signed.
    disk_radius, downforce
        [m], [N]. A disk that overhangs the pad's edge presses on the rest of its area.
    coefficient
        Cut depth per pressure and sliding distance [1/Pa], as sharp as the disk now is.
    disk_speed, drive
        Of the disk [rad/s], and of what moves the pad.
    disk_rings
        Rings of the disk between which the speed is taken as constant.

    Raises
    ------
    ModelError
        Where the disk's centre leaves the pad, or a size makes no sense.
    """
    edges = np.asarray(pad_edges, dtype=np.float64)
    c = np.atleast_1d(np.asarray(positions, dtype=np.float64))
    if edges.ndim != 1 or edges.size < 2 or np.any(~(np.diff(edges) > 0)) or edges[0] < 0:
        raise ModelError(refuse("pad bin edges [m]", edges.tolist(), "increasing from 0 or more"))
    above_zero("disk radius [m]", disk_radius)
    for value, name in ((downforce, "disk downforce [N]"), (coefficient, "pad cut coefficient [1/Pa]")):
        if not (np.isfinite(value) and value >= 0):
            raise ModelError(refuse(name, value, "0 or more"))
    if np.any(~(np.abs(c) <= edges[-1] * (1 + 1e-12))) or (not machine.shape.straight and np.any(c < 0)):
        raise ModelError(
            refuse(
                "disk position [m]",
                float(c[np.argmax(np.abs(c))]),
                f"within the pad, 0 to {edges[-1]:g} m",
                "correct the sweep or its dwell table",
            )
        )
    swept = machine.disk_swept(edges, c, np.linspace(0.0, disk_radius, disk_rings + 1), drive, disk_speed)
    on_pad = machine.disk_on_pad(float(edges[-1]), c, disk_radius)
    return np.asarray((coefficient * downforce / on_pad[:, None] * swept / machine.bin_areas(edges)).T)


def cut_profile(matrix: ArrayLike, shares: ArrayLike) -> Array:
    """Return the cut rate (n,) [m/s] averaged over a sweep: ``cut_matrix`` (n, m) times time shares (m,).

    Parameters
    ----------
    matrix
        From :func:`cut_matrix` (n, m) [m/s].
    shares
        Of the time at each position (m,).
    """
    return np.asarray(np.asarray(matrix, dtype=np.float64) @ np.asarray(shares, dtype=np.float64))
