"""A setup as SI numbers: what the physics is fed, after units and parts are resolved.

Frozen records without behaviour, their arrays and tables read-only. ``setup/to_si.py`` is the only place that
makes them from a setup file; ``predict`` is the only place that reads them.
Lengths [m], pressures [Pa], speeds [m/s] or [rad/s], times [s], flows [m^3/s],
temperatures [K], energies [J/mol].
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.physics.motion.motion import Motion

Array = NDArray[np.float64]
StopKind = Literal["time", "removed", "remaining"]


class SiRecord(Record):
    """Base of the records below."""

    __slots__ = ()

    def _told(self) -> str:
        from planish.setup.si_words import words

        return words(self)


@dataclass(frozen=True, slots=True, repr=False)
class Film(SiRecord):
    """One film of the stack.

    Attributes
    ----------
    name, material
        As given.
    thickness
        [m].
    profile
        (radius [m], thickness [m]), increasing in radius.
    sites
        (x [m], y [m], thickness [m]). At most one of the two is given.
    """

    name: str
    material: str
    thickness: float
    profile: tuple[Array, Array] | None = None
    sites: tuple[Array, Array, Array] | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Wafer(SiRecord):
    """The wafer: a thin elastic plate and its films, the one on top first."""

    radius: float
    thickness: float
    modulus: float
    poisson: float
    edge_exclusion: float
    films: tuple[Film, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Ring(SiRecord):
    """The retaining ring: ``gap`` from the wafer edge, radial ``width``."""

    gap: float
    width: float


@dataclass(frozen=True, slots=True, repr=False)
class Head(SiRecord):
    """The carrier: membrane zones by outer radius (increasing; the last reaches the wafer edge)."""

    zone_outer_radii: Array
    wall_width: float
    ring: Ring | None
    vacuum_hold: float  # [Pa] below ambient while carrying the wafer
    membrane_contact_fraction: float = 0.5  # share of the wafer's back the vacuum acts on


@dataclass(frozen=True, slots=True, repr=False)
class Layer(SiRecord):
    """One bonded elastic layer of the pad stack."""

    modulus: float
    poisson: float
    thickness: float
    modulus_spread: float = 0.0  # relative standard deviation


@dataclass(frozen=True, slots=True, repr=False)
class Grooves(SiRecord):
    """Grooves in the top pad. ``depth`` 0 means none."""

    pattern: Literal["none", "concentric", "grid", "spiral"]
    width: float
    depth: float
    pitch: float


@dataclass(frozen=True, slots=True, repr=False)
class PadSurface(SiRecord):
    """Summits of the top pad (Greenwood-Williamson picture).

    ``density`` [1/m^2], ``tip_radius`` [m], ``height_sd`` [m] of the Gaussian
    body as conditioned, ``tail_length`` [m] decay length of the exponential
    tail that carries the load, ``modulus`` [Pa] of the summits (plane
    modulus is modulus / (1 - poisson^2)), measured ``heights`` [m] if read in.
    """

    density: float
    tip_radius: float
    height_sd: float
    tail_length: float
    modulus: float
    poisson: float
    heights: Array | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Pad(SiRecord):
    """Pad stack, ``layers`` from the polishing surface down."""

    family: str
    layers: tuple[Layer, ...]
    grooves: Grooves
    surface: PadSurface
    shore_d: float | None
    porosity: float
    wear_coefficient: float  # [1/Pa] cut by a sharp disk: wear depth = coefficient * pressure * sliding
    polish_wear_coefficient: float  # [1/Pa] Archard wear of summits by polishing
    density: float = 800.0  # [kg/m^3]
    heat_capacity: float = 1500.0  # [J/(kg K)]
    conductivity: float = 0.2  # [W/(m K)]
    drainage_length: float = math.inf  # [m] over which open pores let fluid pressure escape


@dataclass(frozen=True, slots=True, repr=False)
class Sweep(SiRecord):
    """How the disk moves over the pad, in pad radius (or distance from the belt's centre line).

    ``kind`` "arm" (swinging, pivot at ``pivot_distance`` from the pad axis,
    ``arm_length``) or "slide" (straight). Between ``inner`` and ``outer`` the
    disk centre runs sinusoidally at ``frequency`` unless ``zone_edges`` and
    ``zone_dwell`` (relative times) are given.
    """

    kind: Literal["arm", "slide"]
    inner: float
    outer: float
    frequency: float
    pivot_distance: float = 0.0
    arm_length: float = 0.0
    zone_edges: Array | None = None
    zone_dwell: Array | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Conditioner(SiRecord):
    """The conditioning disk and its sweep."""

    kind: Literal["electroplated", "cvd-film"]
    disk_radius: float
    grit_size: float
    grit_density: float  # [1/m^2]
    active_fraction: float
    protrusion: float
    downforce: float  # [N]
    speed: float  # [rad/s]
    sweep: Sweep
    mode: Literal["in-situ", "ex-situ", "partial"]
    share: float  # of polish time (in-situ 1, partial < 1) or time between wafers [s] in ex_situ_time
    ex_situ_time: float
    dulling_time: float  # [s] of use until the cut rate fell by 1/e
    break_in_time: float  # [s]
    sharpness_floor: float  # cut rate a long-used disk keeps, share of new
    shedding: float  # relative tendency to lose grit, 0 to 1


@dataclass(frozen=True, slots=True, repr=False)
class Slurry(SiRecord):
    """The slurry as supplied."""

    name: str
    abrasive: str
    abrasive_fraction: float  # by weight
    particle_size: float  # mean diameter
    large_particle_size: float  # diameter above which a particle counts as large
    large_particle_count: float  # [1/m^3]
    viscosity: float  # [Pa s]
    density: float
    heat_capacity: float
    temperature: float
    friction_boundary: float  # coefficient of friction in boundary lubrication
    friction_floor: float  # at the Stribeck minimum


@dataclass(frozen=True, slots=True, repr=False)
class Reference(SiRecord):
    """The condition at which a removal law was calibrated; every factor is 1 there."""

    pressure: float
    speed: float
    temperature: float
    fresh_fraction: float
    abrasive_fraction: float
    real_pressure: float  # mean pressure on summits in contact


@dataclass(frozen=True, slots=True, repr=False)
class Removal(SiRecord):
    """Removal law of one material with this slurry and pad.

    ``law`` and the names of ``coefficients`` are those of a record in ``physics.removal.laws.LAWS``.
    """

    material: str
    law: str
    coefficients: Mapping[str, float]
    relative_spread: float
    activation_energy: float  # [J/mol], 0 switches the thermal factor off
    reference: Reference


@dataclass(frozen=True, slots=True, repr=False)
class Step(SiRecord):
    """One recipe step. Speeds in rad/s, except the belt's in m/s; those not of this motion are 0.

    ``stop`` "remaining": ends when `stop_value` is left, on average, of the film
    that is on top as the step begins.
    """

    name: str
    zone_pressures: Array
    ring_pressure: float
    platen_speed: float
    belt_speed: float
    orbit_speed: float
    carrier_speed: float
    flow: float
    conditioning: bool
    stop: StopKind
    stop_value: float  # [s] or [m]
    max_time: float  # [s] where stop is not "time"
    bearing_pressures: Array | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Ambient(SiRecord):
    """Room and platen."""

    temperature: float = 295.15
    platen_temperature: float = 295.15


@dataclass(frozen=True, slots=True, repr=False)
class Die(SiRecord):
    """What a setup says of the die. None: not said.

    ``given`` holds the keys of the ``process``: thicknesses, steps and limits [m], and names of materials as in
    ``Rig.removal``; the next exposure by ``wavelength`` [m], ``aperture`` and ``k2``.
    """

    process: str
    given: Mapping[str, float | str] = field(default_factory=dict)
    planarization_length: float | None = None
    wavelength: float | None = None
    aperture: float | None = None
    k2: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class Rig(SiRecord):
    """Everything above, for one setup."""

    title: str
    wafer: Wafer
    polisher: Motion
    head: Head
    pad: Pad
    conditioner: Conditioner | None
    slurry: Slurry
    removal: Mapping[str, Removal]
    steps: tuple[Step, ...]
    ambient: Ambient
    sources: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())  # defaults and clamps used, in plain words
    unlikely: tuple[str, ...] = ()  # dotted paths of the values outside the range typical of their key
    die: Die | None = None
