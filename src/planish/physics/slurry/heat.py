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

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Friction power mu p v and a lumped energy balance per pad ring (derivation of our own)",
    "Surface of a half-space under constant flux, 2 q sqrt(t/pi)/effusivity: Carslaw & Jaeger, Conduction of "
    "Heat in Solids (from memory)",
    "Temperature rises of 5-20 K: common practice, no source",
)


def friction_power_density(friction: ArrayLike, pressure: ArrayLike, speed: ArrayLike) -> Array:
    """Heat [W/m^2] made by friction: coefficient [1] x pressure [Pa] x speed [m/s]."""
    return np.asarray(
        np.asarray(friction, dtype=np.float64) * np.asarray(pressure) * np.asarray(speed), dtype=np.float64
    )


def ring_power_density(duty: ArrayLike, weights: ArrayLike, power: ArrayLike) -> Array:
    """Heat [W/m^2] of each pad ring averaged over time.

    Parameters
    ----------
    duty, weights:
        From ``motion.pad_to_wafer_weights``, (n_pad,) and (n_pad, n_r) [1].
    power:
        Heat while bin and wafer ring meet [W/m^2], (n_r,) or (n_pad, n_r).
    """
    duty, weights, power = np.asarray(duty), np.asarray(weights), np.asarray(power)
    met = weights @ power if power.ndim == 1 else (weights * power).sum(axis=-1)
    return np.asarray(duty * met)


def platen_conductance(thicknesses: ArrayLike, conductivities: ArrayLike) -> float:
    """Heat conductance [W/(m^2 K)] of a stack of layers: thicknesses [m], conductivities [W/(m K)]."""
    resistance = np.asarray(thicknesses, dtype=np.float64) / np.asarray(conductivities, dtype=np.float64)
    if np.any(resistance <= 0):
        raise ModelError(refuse("layer thickness and conductivity", "0 or below", "above 0"))
    return float(1.0 / resistance.sum())


def slurry_conductance(flow: ArrayLike, density: float, heat_capacity: float, area: float) -> Array:
    """Conductance [W/(m^2 K)] of slurry that leaves at pad temperature.

    Flow [m^3/s] x density [kg/m^3] x heat capacity [J/(kg K)] over the pad ``area`` [m^2] it wets.
    """
    if area <= 0:
        raise ModelError(refuse("wetted pad area", area, "above 0 m^2"))
    return np.asarray(np.asarray(flow, dtype=np.float64) * density * heat_capacity / area)


def combined_sink(conductances: ArrayLike, temperatures: ArrayLike) -> tuple[Array, Array]:
    """One conductance and one sink temperature for several in parallel.

    Parameters
    ----------
    conductances, temperatures:
        [W/(m^2 K)] and [K], sinks along the first axis, broadcastable.

    Returns
    -------
    (h, T_sink): their sum, and their mean temperature weighted by conductance
    (plain mean where all are 0).
    """
    h, T = np.broadcast_arrays(np.asarray(conductances, dtype=np.float64), np.asarray(temperatures))
    if np.any(h < 0):
        raise ModelError(refuse("heat conductance", "a negative value", "0 W/(m^2 K) or more"))
    total = h.sum(axis=0)
    mean = np.divide((h * T).sum(axis=0), total, out=np.array(T.mean(axis=0)), where=total > 0)
    return np.asarray(total), np.asarray(mean)


def thermal_depth(conductivity: float, density: float, heat_capacity: float, time: ArrayLike) -> Array:
    """Depth [m] whose uniform heating to the surface's rise stores what has flowed in at constant flux.

    sqrt(pi k t/(rho c))/2; times rho c it is the heat capacity per area after ``time`` [s].
    """
    diffusivity = conductivity / (density * heat_capacity)
    return np.sqrt(np.pi * diffusivity * np.asarray(time, dtype=np.float64)) / 2


@dataclass(frozen=True, slots=True)
class Relaxation:
    """Ring temperatures on their way to where heating and cooling balance: steady + excess exp(-pace t).

    ``steady``, ``excess`` [K] at the start, ``pace`` [1/s], each (n_ring,).
    """

    steady: Array
    excess: Array
    pace: Array

    def at(self, times: Array | float) -> Array:
        """Return the temperatures [K] after ``times`` [s], a number or (n_t, 1)."""
        return np.asarray(self.steady + self.excess * np.exp(-self.pace * times))


def relaxation(T: Array, power_density: Array, h: Array, sink: Array, capacity: float) -> Relaxation:
    """Return how pad rings settle under constant conditions: C dT/dt = q - h (T - sink), solved exactly.

    Parameters
    ----------
    T, power_density, h, sink:
        Temperature at the start [K], heat taken up q [W/m^2], conductance [W/(m^2 K)] above 0 and the
        temperature it leads to [K], each (n_ring,).
    capacity:
        C [J/(m^2 K)], one number. Unchecked.
    """
    steady = sink + power_density / h
    return Relaxation(steady, T - steady, h / capacity)
