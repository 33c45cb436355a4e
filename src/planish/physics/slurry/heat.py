"""Friction heat: how warm pad, slurry and wafer run.

Each pad ring (a ring turns under the wafer many times a minute, so one
temperature will do) takes in the friction heat of its time under the wafer and
gives heat to slurry, platen, air and wafer through one conductance each:

    C dT/dt = q - h (T - T_sink)

which is stepped exactly, so that it is stable at any step. Conduction between
rings is left out: over 10 mm of polyurethane it takes some ten minutes. Slurry
that carries heat outward is not followed either: it takes its share where it is.
The Arrhenius factor that turns temperature into rate is ``removal.thermal_factor``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Friction power mu p v and a lumped energy balance per pad ring (derivation of our own)",
    "Surface of a half-space under constant flux, 2 q sqrt(t/pi)/effusivity (read as quoted in a heat-conduction "
    "solver); under a flux that comes and goes: superposition (derivation of our own)",
    "Temperature rises of 5-20 K: common practice, no source",
)


def friction_power_density(
    friction: ArrayLike, pressure: ArrayLike, speed: ArrayLike, drag: ArrayLike = 0.0
) -> Array:
    """Return the heat made by friction: (coefficient x pressure + drag x speed) x speed.

    Parameters
    ----------
    friction
        Coefficient of what rubs [1].
    pressure
        On it [Pa].
    speed
        Of sliding [m/s].
    drag
        Of the liquid beside it: viscosity over gap [Pa s/m].

    Returns
    -------
    Array
        [W/m^2], of the common shape.
    """
    v = np.asarray(speed, dtype=np.float64)
    return np.asarray((np.asarray(friction) * np.asarray(pressure) + np.asarray(drag) * v) * v)


def ring_power_density(duty: ArrayLike, weights: ArrayLike, power: ArrayLike) -> Array:
    """Return the heat of each pad ring averaged over time.

    Parameters
    ----------
    duty, weights
        From ``motion.pad_to_wafer_weights``, (n_pad,) and (n_pad, n_r) [1].
    power
        Heat while bin and wafer ring meet [W/m^2], (n_r,) or (n_pad, n_r).

    Returns
    -------
    Array
        [W/m^2], (n_pad,).
    """
    duty, weights, power = np.asarray(duty), np.asarray(weights), np.asarray(power)
    met = weights @ power if power.ndim == 1 else (weights * power).sum(axis=-1)
    return np.asarray(duty * met)


def platen_conductance(thicknesses: ArrayLike, conductivities: ArrayLike) -> float:
    """Return the heat conductance of a stack of layers.

    Parameters
    ----------
    thicknesses, conductivities
        Of the layers [m], [W/(m K)], (layers,).

    Returns
    -------
    float
        [W/(m^2 K)].

    Raises
    ------
    ModelError
        Where one of them is not above 0.
    """
    resistance = np.asarray(thicknesses, dtype=np.float64) / np.asarray(conductivities, dtype=np.float64)
    if np.any(resistance <= 0):
        raise ModelError(refuse("layer thickness and conductivity", "0 or below", "above 0"))
    return float(1.0 / resistance.sum())


def slurry_conductance(flow: ArrayLike, density: float, heat_capacity: float, area: float) -> Array:
    """Return the conductance of slurry that leaves at pad temperature.

    Parameters
    ----------
    flow
        [m^3/s].
    density, heat_capacity
        Of the slurry [kg/m^3], [J/(kg K)].
    area
        Of the pad that it wets [m^2].

    Returns
    -------
    Array
        [W/(m^2 K)], shape as ``flow``.

    Raises
    ------
    ModelError
        Where the area is not above 0.

    Notes
    -----
    Flow x density x heat capacity over area.
    """
    if area <= 0:
        raise ModelError(refuse("wetted pad area", area, "above 0 m^2"))
    return np.asarray(np.asarray(flow, dtype=np.float64) * density * heat_capacity / area)


def combined_sink(
    conductances: Sequence[ArrayLike], temperatures: Sequence[ArrayLike]
) -> tuple[Array, Array]:
    """Return one conductance and one sink temperature for several in parallel.

    Parameters
    ----------
    conductances, temperatures
        Of each sink [W/(m^2 K)] and [K], numbers or arrays that broadcast.

    Returns
    -------
    h
        Their sum [W/(m^2 K)].
    T_sink
        Their mean temperature weighted by conductance (plain mean where all are 0) [K].

    Raises
    ------
    ModelError
        Where a conductance is below 0.
    """
    total, warmth, plain = np.zeros(()), np.zeros(()), np.zeros(())
    for h, T in zip(conductances, temperatures, strict=True):
        each = np.asarray(h, dtype=np.float64)
        if each.min() < 0:
            raise ModelError(refuse("heat conductance", "a negative value", "0 W/(m^2 K) or more"))
        total, warmth, plain = total + each, warmth + each * np.asarray(T), plain + np.asarray(T)
    if total.min() > 0:
        return np.asarray(total), np.asarray(warmth / total)
    out = np.broadcast_to(plain / len(temperatures), np.broadcast(warmth, total).shape).copy()
    return np.asarray(total), np.asarray(np.divide(warmth, total, out=out, where=total > 0))


def thermal_depth(conductivity: float, density: float, heat_capacity: float, time: ArrayLike) -> Array:
    """Return the depth that, as warm as the surface, holds what has flowed in at constant flux.

    Parameters
    ----------
    conductivity, density, heat_capacity
        k [W/(m K)], rho [kg/m^3], c [J/(kg K)].
    time
        t [s], any shape.

    Returns
    -------
    Array
        [m], shape as ``time``.

    Notes
    -----
    sqrt(pi k t/(rho c))/2; times rho c it is the heat capacity per area after that time.
    """
    diffusivity = conductivity / (density * heat_capacity)
    return np.sqrt(np.pi * diffusivity * np.asarray(time, dtype=np.float64)) / 2


def effusivity(conductivity: float, density: float, heat_capacity: float) -> float:
    """Return the effusivity of a material.

    Parameters
    ----------
    conductivity, density, heat_capacity
        k [W/(m K)], rho [kg/m^3], c [J/(kg K)].

    Returns
    -------
    float
        sqrt(k rho c) [J/(m^2 K s^(1/2))].
    """
    return float(np.sqrt(conductivity * density * heat_capacity))


def pass_rise(power_density: ArrayLike, swing: ArrayLike, turn_time: float, effusivity: float) -> Array:
    """Return how far the pad's surface at the end of a pass under the wafer is above the mean of its ring.

    Parameters
    ----------
    power_density
        Heat taken up, averaged over time q D [W/m^2], (n,).
    swing
        From :func:`pass_swing` of the share of time under the wafer D [1], (n,).
    turn_time
        From one pass to the next P [s]; infinite where the pad stands still.
    effusivity
        Of the pad e [J/(m^2 K s^(1/2))].

    Returns
    -------
    Array
        [K], (n,); 0 for a place that always or never is under the wafer, and for a pad that stands still.

    Notes
    -----
    A half-space whose surface takes in q for D P out of every P, q D on average, swings about its mean; at the end of
    a pass it stands 2 q sqrt(P/pi)/e (zeta(-1/2, D) - zeta(-1/2)) above it, zeta the Hurwitz and the Riemann zeta
    function. For a short pass that is the 2 q sqrt(D P/pi)/e of a single one.
    """
    turning = 2 * np.sqrt(turn_time / np.pi) / effusivity if np.isfinite(turn_time) else 0.0
    return np.asarray(turning * np.asarray(power_density, dtype=np.float64) * np.asarray(swing))


def pass_swing(duty: ArrayLike) -> Array:
    """Return what a share of time under the wafer makes of a pass's heat.

    Parameters
    ----------
    duty
        D [1], (n,).

    Returns
    -------
    Array
        (zeta(-1/2, D) - zeta(-1/2))/D, by Euler and Maclaurin, good to 1e-9; 0 where D is 0, (n,).
    """
    share = np.asarray(duty, dtype=np.float64)
    n = np.arange(_SUMMED)
    near = (np.sqrt(n + share[..., None]) - np.sqrt(n)).sum(axis=-1)
    swing = near + _tail(_SUMMED + share) - _tail(np.float64(_SUMMED))
    return np.asarray(np.divide(swing, share, out=np.zeros_like(share), where=(share > 0) & (share < 1)))


_SUMMED = 8  # terms of the zeta functions that are summed as they are


def _tail(a: Array | np.float64) -> Array:
    """Return the rest of sum sqrt(a + n), n from 0, as analytic continuation has it."""
    return np.asarray(-2 / 3 * a**1.5 + 0.5 * a**0.5 - a**-0.5 / 24 + a**-2.5 / 1920 - a**-4.5 / 9216)


@dataclass(frozen=True, slots=True)
class Relaxation:
    """Ring temperatures on their way to where heating and cooling balance: steady + excess exp(-pace t).

    Attributes
    ----------
    steady
        [K], (n_ring,).
    excess
        At the start [K], (n_ring,).
    pace
        [1/s], (n_ring,).
    """

    steady: Array
    excess: Array
    pace: Array

    def at(self, times: Array | float) -> Array:
        """Return the temperatures after some time.

        Parameters
        ----------
        times
            [s], a number or (n_t, 1).

        Returns
        -------
        Array
            [K], (n_ring,) or (n_t, n_ring).
        """
        return np.asarray(self.steady + self.excess * np.exp(-self.pace * times))


def relaxation(T: Array, power_density: Array, h: Array, sink: Array, capacity: float) -> Relaxation:
    """Return how pad rings settle under constant conditions, solved exactly.

    Parameters
    ----------
    T
        Temperature at the start [K], (n_ring,).
    power_density
        Heat taken up q [W/m^2], (n_ring,).
    h, sink
        Conductance [W/(m^2 K)] above 0 and the temperature it leads to [K], (n_ring,).
    capacity
        C [J/(m^2 K)], one number. Unchecked.

    Returns
    -------
    Relaxation
        Temperatures at any time.

    Notes
    -----
    C dT/dt = q - h (T - sink).
    """
    steady = sink + power_density / h
    return Relaxation(steady, T - steady, h / capacity)
