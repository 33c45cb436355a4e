"""The pad as a step finds it: its summits, fresh as the setup's own disk leaves them or worn, grooves and heat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from planish.physics.surface.conditioning import load_per_diamond, roughness_ratio

if TYPE_CHECKING:
    from planish.predict.wafer.contact_model import SummitCurve
    from planish.setup.si import Bench, PadSurface

Array = NDArray[np.float64]


class Summits(Protocol):
    """The pad's summits as the wafer meets them."""

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return the exponential layer about a pressure.

        Parameters
        ----------
        pressure
            [Pa], (nodes,).

        Returns
        -------
        tuple[Array, Array, Array]
            Length [m], pressure [Pa] and offset [m].
        """

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return what summits touch with.

        Parameters
        ----------
        pressure
            [Pa], (nodes,).

        Returns
        -------
        tuple[Array, Array]
            Mean real pressure [Pa] and real contact fraction [1].
        """


@dataclass(frozen=True, slots=True)
class FreshSummits:
    """Summits as the conditioner leaves them, the same all over the pad."""

    curve: SummitCurve

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return the exponential layer about a pressure, node by node.

        Parameters
        ----------
        pressure
            [Pa], (nodes,).

        Returns
        -------
        tuple[Array, Array, Array]
            Length [m], pressure [Pa] and offset [m].
        """
        return self.curve.at(pressure, "decay_length"), pressure, self.curve.at(pressure, "separation")

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return what summits touch with.

        Parameters
        ----------
        pressure
            [Pa], (nodes,).

        Returns
        -------
        tuple[Array, Array]
            Mean real pressure [Pa] and real contact fraction [1].
        """
        return self.curve.at(pressure, "real_pressure"), self.curve.at(pressure, "area_fraction")


@dataclass(slots=True)
class PadState:
    """The pad as the step finds it.

    Attributes
    ----------
    summits
        As the wafer meets them, averaged over the rings it passes.
    groove_depth
        Mean depth under the wafer [m].
    temperatures
        Of the pad rings [K].
    height
        How much higher [m] the pad lies at each wafer node than on average (worn pads).
    """

    summits: Summits
    groove_depth: float
    temperatures: Array
    height: Array | float = 0.0


def as_conditioned(bench: Bench) -> PadSurface:
    """Return the pad's summits, scaled from the disk for which they are stated to the setup's own.

    Parameters
    ----------
    bench
        The setup.

    Returns
    -------
    PadSurface
        As its disk leaves it.

    Notes
    -----
    A stated surface belongs to the reference load on a diamond (``conditioning.REFERENCE_LOAD``); more load
    on each diamond, by force or by fewer diamonds, cuts deeper furrows. Measured heights are kept as they
    were measured, and so is the surface of a pad that has no conditioner.
    """
    disk, surface = bench.conditioner, bench.pad.surface
    if disk is None or surface.heights is not None or disk.downforce <= 0:
        return surface
    load = load_per_diamond(disk.downforce, disk.disk_radius, disk.grit_density, disk.active_fraction)
    ratio = roughness_ratio(load, bench.pad.porosity)
    if abs(ratio - 1.0) < 1e-9:
        return surface
    return replace(surface, height_sd=surface.height_sd * ratio, tail_length=surface.tail_length * ratio)
