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


def heat_shares(*conductances: ArrayLike) -> tuple[Array, ...]:
    """Shares [1] of a steady heat flow among parallel conductances to one sink temperature; they sum to 1.

    Used to say how friction heat splits between pad (platen), slurry, wafer (head) and air.
    """
    parts = np.broadcast_arrays(*(np.asarray(h, dtype=np.float64) for h in conductances))
    total = np.sum(parts, axis=0)
    if np.any(total <= 0) or any(np.any(h < 0) for h in parts):
        raise ModelError(refuse("heat conductances", "0 or below", "0 or more, not all 0"))
    return tuple(np.asarray(h / total) for h in parts)


def effusivity(conductivity: float, density: float, heat_capacity: float) -> float:
    """Thermal effusivity sqrt(k rho c) [W s^0.5/(m^2 K)]."""
    return float(np.sqrt(conductivity * density * heat_capacity))


def thermal_depth(conductivity: float, density: float, heat_capacity: float, time: ArrayLike) -> Array:
    """Depth [m] whose uniform heating to the surface's rise stores what has flowed in at constant flux.

    sqrt(pi k t/(rho c))/2; times rho c it is the heat capacity per area after ``time`` [s].
    """
    diffusivity = conductivity / (density * heat_capacity)
    return np.sqrt(np.pi * diffusivity * np.asarray(time, dtype=np.float64)) / 2


def pass_temperature_rise(flux: ArrayLike, effusivity: float, pass_time: ArrayLike) -> Array:
    """Rise [K] of the pad's surface above its ring mean at the end of one pass under the wafer.

    2 q sqrt(t/pi)/e for a flux [W/m^2] into a half-space of ``effusivity`` during ``pass_time`` [s].
    """
    return np.asarray(2 * np.asarray(flux) * np.sqrt(np.asarray(pass_time) / np.pi) / effusivity)


def steady_temperature(power_density: ArrayLike, h: ArrayLike, sink: ArrayLike) -> Array:
    """Temperature [K] at which a ring gives off what it takes in; infinite where heated with h = 0."""
    q = np.asarray(power_density, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = np.where(q == 0, 0.0, q / np.asarray(h, dtype=np.float64))
    return np.asarray(np.asarray(sink) + rise)


def pad_temperature_step(
    T: ArrayLike, power_density: ArrayLike, h: ArrayLike, sink: ArrayLike, capacity: ArrayLike, dt: ArrayLike
) -> Array:
    """Ring temperatures [K] after ``dt``, exactly for constant power and sink.

    Parameters
    ----------
    T:
        Now [K].
    power_density:
        Heat taken in [W/m^2].
    h:
        Conductance to the sink [W/(m^2 K)], 0 or more.
    sink:
        Its temperature [K].
    capacity:
        Heat capacity per area [J/(m^2 K)], above 0.
    dt:
        Step [s], any length.
    """
    T, x, slope = _step_terms(T, power_density, h, sink, capacity, dt)
    return np.asarray(T + slope * _phi1(x))


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
    """Return what ``pad_temperature_step`` steps through, to be asked for many times; ``h`` must be above 0.

    Parameters as there, each (n_ring,), ``capacity`` [J/(m^2 K)] one number. Unchecked.
    """
    steady = sink + power_density / h
    return Relaxation(steady, T - steady, h / capacity)


def pad_mean_temperature(
    T: ArrayLike, power_density: ArrayLike, h: ArrayLike, sink: ArrayLike, capacity: ArrayLike, dt: ArrayLike
) -> Array:
    """Mean ring temperatures [K] during the step that ``pad_temperature_step`` takes; same parameters.

    So h (mean - sink) dt is exactly the heat given off.
    """
    T, x, slope = _step_terms(T, power_density, h, sink, capacity, dt)
    return np.asarray(T + slope * _phi2(x))


def temperature_history(
    T0: ArrayLike, power_density: ArrayLike, h: ArrayLike, sink: ArrayLike, capacity: ArrayLike, dt: ArrayLike
) -> Array:
    """Ring temperatures [K] through the steps of a recipe.

    Parameters
    ----------
    T0:
        At the start [K], (n_ring,) or a number.
    power_density, h, sink, capacity:
        As for ``pad_temperature_step``, each (n_steps, n_ring) or broadcastable to it.
    dt:
        Length of each step [s], (n_steps,).

    Returns
    -------
    (n_steps + 1, n_ring), the start first.
    """
    dt = np.asarray(dt, dtype=np.float64)
    n_ring = np.broadcast_shapes(np.shape(np.atleast_1d(T0)), np.shape(np.atleast_2d(power_density))[1:])
    shape = (dt.size, *n_ring)
    q, h, sink, capacity = (
        np.broadcast_to(np.asarray(x, dtype=np.float64), shape) for x in (power_density, h, sink, capacity)
    )
    out = np.empty((dt.size + 1, *n_ring))
    out[0] = T0
    for i in range(dt.size):
        out[i + 1] = pad_temperature_step(out[i], q[i], h[i], sink[i], capacity[i], dt[i])
    return out


def _step_terms(
    T: ArrayLike, q: ArrayLike, h: ArrayLike, sink: ArrayLike, capacity: ArrayLike, dt: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return (T, h dt/C, rise over dt if the first instant's net heat went on)."""
    T, h = np.asarray(T, dtype=np.float64), np.asarray(h, dtype=np.float64)
    capacity, dt = np.asarray(capacity, dtype=np.float64), np.asarray(dt, dtype=np.float64)
    if np.any(h < 0) or np.any(capacity <= 0) or np.any(dt < 0):
        raise ModelError(refuse("ring heat balance", "a negative value", "h >= 0, capacity > 0, dt >= 0"))
    net = np.asarray(np.asarray(q, dtype=np.float64) - h * (T - np.asarray(sink)))
    return T, np.asarray(h * dt / capacity), np.asarray(net * dt / capacity)


def _phi1(x: Array) -> Array:
    """(1 - exp(-x))/x, 1 at 0."""
    return np.asarray(np.divide(-np.expm1(-x), x, out=np.ones(np.shape(x)), where=x > 0))


def _phi2(x: Array) -> Array:
    """(x - 1 + exp(-x))/x^2, 1/2 at 0; by series where the difference would lose digits."""
    series = 0.5 - x / 6 + x**2 / 24 - x**3 / 120
    return np.divide(x + np.expm1(-x), x**2, out=np.asarray(series), where=x > 1e-3)
