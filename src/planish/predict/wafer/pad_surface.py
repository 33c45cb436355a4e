"""The pad as a step finds it: its summits, fresh as the setup's own disk leaves them or worn, grooves and heat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Kept
from planish.physics.surface import asperities
from planish.predict.wafer.disk import disk_work

if TYPE_CHECKING:
    from planish.setup.si import PadSurface, Rig

Array = NDArray[np.float64]
_CURVE_POINTS = 96


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

    def flowing_share(self, pressure: Array) -> Array:
        """Return which share of the load lies on summits that flow.

        Parameters
        ----------
        pressure
            [Pa], (nodes,).

        Returns
        -------
        Array
            [1], (nodes,).
        """

    def surface(self) -> tuple[float, float]:
        """Return mean and standard deviation [m] of their heights, averaged over the wafer's track."""


@dataclass(frozen=True, slots=True, repr=False)
class SummitCurve(Kept):
    """Fresh summits' answer to pressure, tabulated once: everything against ln(pressure [Pa]).

    ``separation`` [m], ``real_pressure`` [Pa], ``area_fraction``, ``decay_length`` [m], ``flowing`` (share of the
    load on summits that flow); ``level`` and ``deviation`` [m] of the heights themselves.
    """

    log_pressure: Array
    separation: Array
    real_pressure: Array
    area_fraction: Array
    decay_length: Array
    flowing: Array
    level: float
    deviation: float

    def at(self, pressure: Array | float, what: str) -> Array:
        """Return one of the fields at ``pressure`` [Pa], interpolated in ln(pressure).

        Parameters
        ----------
        pressure
            [Pa], any shape.
        what
            Name of the field.
        """
        log = np.log(np.maximum(pressure, 1e-300))  # a lifted place: the end of the table
        return np.asarray(np.interp(log, self.log_pressure, getattr(self, what)))


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

    def flowing_share(self, pressure: Array) -> Array:
        """Return which share of the load lies on summits that flow [1], (nodes,), under ``pressure`` [Pa]."""
        return self.curve.at(pressure, "flowing")

    def surface(self) -> tuple[float, float]:
        """Return mean and standard deviation [m] of their heights."""
        return self.curve.level, self.curve.deviation


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


def resting_temperature(rig: Rig) -> float:
    """Return the temperature of what the pad lies on, which is the pad's own before it polishes.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    float
        [K]: of the platen; of the room for a pad that lies on none, such as a belt on its bearing.
    """
    room = rig.ambient
    return room.platen_temperature if rig.polisher.on_platen else room.temperature


def fresh_state(rig: Rig, summits: SummitCurve, rings: int) -> PadState:
    """Return the state of a new, conditioned pad that has not polished yet.

    Parameters
    ----------
    rig
        The setup.
    summits
        Their answer to pressure when fresh.
    rings
        Of the pad.

    Returns
    -------
    PadState
        Nothing worn yet.
    """
    return PadState(
        summits=FreshSummits(summits),
        groove_depth=rig.pad.grooves.depth,
        temperatures=np.full(rings, resting_temperature(rig)),
    )


def as_conditioned(rig: Rig) -> PadSurface:
    """Return the pad's summits, scaled from the disk for which they are stated to the setup's own.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    PadSurface
        As its disk leaves it.

    Notes
    -----
    A stated surface belongs to the reference disk and force (``grit.REFERENCE_GRIT``); deeper furrows, by more
    force, coarser or less even diamonds, leave it rougher. Measured heights are kept as they were measured, and
    so is the surface of a pad that has no conditioner. A disk that presses less and less leaves the roughness of
    the pores alone.
    """
    surface, work = rig.pad.surface, disk_work(rig)
    if work is None or surface.heights is not None or abs(work.texture - 1.0) < 1e-9:
        return surface
    return replace(
        surface,
        height_sd=surface.height_sd * work.texture,
        tail_length=surface.tail_length * work.texture,
    )


def summit_curve(surface: PadSurface) -> SummitCurve:
    """Return the fresh summits' answer to pressures from 10 Pa to 1 MPa."""
    heights = None if surface.heights is None else surface.heights.tobytes()
    numbers = (
        surface.density,
        surface.tip_radius,
        surface.height_sd,
        surface.tail_length,
        surface.modulus,
        surface.poisson,
        surface.flow_pressure,
    )
    return _summit_curve(heights, *numbers)


@lru_cache(maxsize=64)
def _summit_curve(
    heights: bytes | None,
    density: float,
    tip_radius: float,
    height_sd: float,
    tail: float,
    modulus: float,
    poisson: float,
    flow_pressure: float,
) -> SummitCurve:
    if heights is None:
        edges = asperities.height_grid(height_sd, tail)
        probability = asperities.fresh_heights(edges, height_sd, tail)
    else:
        from planish.physics.surface.summit_statistics import height_table

        edges, probability = height_table(np.frombuffer(heights))
    numbers = {
        "density": density,
        "tip_radius": tip_radius,
        "modulus": asperities.plane_modulus(modulus, poisson),
        "flow_pressure": flow_pressure,
    }
    pressure = np.geomspace(10.0, 1e6, _CURVE_POINTS)
    separation = asperities.separation_under(pressure, edges, probability, **numbers)
    state = asperities.contact(separation, edges, probability, **numbers)
    return SummitCurve(
        np.log(pressure),
        separation,
        state.real_pressure,
        state.area_fraction,
        state.decay_length,
        state.flowing,
        *(float(each) for each in asperities.level_and_deviation(asperities.bin_moments(edges), probability)),
    )
