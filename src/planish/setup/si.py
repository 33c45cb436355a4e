"""A setup as SI numbers: what the physics is fed, after units and parts are resolved.

Frozen records, their arrays and tables read-only, without behaviour but for their text (what each is, with its
headline figures in the units of the trade) and a disk's diamonds. ``setup/to_si.py`` is the only place that makes them from a setup
file; ``predict`` is the only place that reads them.
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

from planish import units
from planish.engine.record import Record, counted, figure, shortened
from planish.physics.motion.motion import Motion
from planish.physics.surface.grit import Grit
from planish.setup.processes import PROCESSES
from planish.units import PSI, RPM, ZERO_CELSIUS

Array = NDArray[np.float64]
StopKind = Literal["time", "removed", "remaining"]


@dataclass(frozen=True, slots=True, repr=False)
class Film(Record):
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
    stress: float = 0.0  # [Pa], tension positive; 0 where it is not to bend the wafer

    def _told(self) -> str:
        how = " from a radial profile" if self.profile is not None else ""
        if self.sites is not None and not how:
            how = " from measured sites"
        return f"{self.name} ({self.material}), {figure(1e9 * self.thickness, 'nm')}{how}"


@dataclass(frozen=True, slots=True, repr=False)
class Wafer(Record):
    """The wafer: a thin elastic plate and its films, the one on top first.

    ``bow`` [m] of the free wafer without that of its films: the edge over a flat under its middle.
    """

    radius: float
    thickness: float
    modulus: float
    poisson: float
    edge_exclusion: float
    films: tuple[Film, ...]
    bow: float = 0.0

    def _told(self) -> str:
        return f"{self.told_films()}, edge exclusion {figure(1e3 * self.edge_exclusion, 'mm')}"

    def told_films(self) -> str:
        """Return its diameter and its films in a few words."""
        names = shortened(", ".join(film.name for film in self.films), 60)
        return f"wafer {figure(2e3 * self.radius, 'mm')} with {names}"


@dataclass(frozen=True, slots=True, repr=False)
class Ring(Record):
    """The retaining ring: ``gap`` from the wafer edge, radial ``width``.

    While it polishes its face loses ``wear_rate`` [m/s], of which ``wear_allowance`` [m] may go, and its gap
    gains ``gap_wear_rate`` [m/s].
    """

    gap: float
    width: float
    wear_rate: float = 0.0
    wear_allowance: float = math.inf
    gap_wear_rate: float = 0.0

    def _told(self) -> str:
        return f"{figure(1e3 * self.width, 'mm')} wide, {figure(1e3 * self.gap, 'mm')} from the wafer"


@dataclass(frozen=True, slots=True, repr=False)
class Head(Record):
    """The carrier: membrane zones by outer radius (increasing; the last reaches the wafer edge).

    A rigid head has a ``back_film`` [Pa/m] in place of the membrane and tilts about a point ``gimbal_height``
    [m] over the pad.
    """

    zone_outer_radii: Array
    wall_width: float
    ring: Ring | None
    vacuum_hold: float  # [Pa] below ambient while carrying the wafer
    membrane_contact_fraction: float = 0.5  # share of the wafer's back the vacuum acts on
    back_film: float = 0.0
    gimbal_height: float = 0.0

    def _told(self) -> str:
        zones = counted(self.zone_outer_radii.size, "zone")
        return f"{zones}, {'no retaining ring' if self.ring is None else f'ring {self.ring._told()}'}"


@dataclass(frozen=True, slots=True, repr=False)
class Layer(Record):
    """One bonded elastic layer of the pad stack."""

    modulus: float
    poisson: float
    thickness: float
    modulus_spread: float = 0.0  # relative standard deviation
    softening: float = 0.0  # [1/K] share of the modulus lost per kelvin

    def _told(self) -> str:
        return f"{figure(1e-6 * self.modulus, 'MPa')}, Poisson {self.poisson:.3g}, {figure(1e3 * self.thickness, 'mm')}"


@dataclass(frozen=True, slots=True, repr=False)
class Grooves(Record):
    """Grooves in the top pad. ``depth`` 0 means none."""

    pattern: Literal["none", "concentric", "grid", "spiral"]
    width: float
    depth: float
    pitch: float

    def _told(self) -> str:
        if self.pattern == "none":
            return "none"
        width, depth, pitch = (f"{1e3 * size:.3g}" for size in (self.width, self.depth, self.pitch))
        return f"{self.pattern}, {width} mm wide, {depth} mm deep, every {pitch} mm"


@dataclass(frozen=True, slots=True, repr=False)
class PadSurface(Record):
    """Summits of the top pad (Greenwood-Williamson picture).

    ``density`` [1/m^2], ``tip_radius`` [m], ``height_sd`` [m] of the Gaussian
    body as conditioned, ``tail_length`` [m] decay length of the exponential
    tail that carries the load, ``modulus`` [Pa] of the summits (plane
    modulus is modulus / (1 - poisson^2)), ``flow_pressure`` [Pa] the mean pressure
    at which they flow, measured ``heights`` [m] if read in.
    """

    density: float
    tip_radius: float
    height_sd: float
    tail_length: float
    modulus: float
    poisson: float
    heights: Array | None = None
    flow_pressure: float = math.inf
    flow_spread: float = 0.0  # relative standard deviation

    def _told(self) -> str:
        heights = "" if self.heights is None else f", {self.heights.size} measured heights"
        return (
            f"{figure(1e-6 * self.density, 'summits/mm2')}, tips {figure(1e6 * self.tip_radius, 'um')}, "
            f"heights {figure(1e6 * self.height_sd, 'um')} (sd), tail {figure(1e6 * self.tail_length, 'um')}{heights}"
        )


@dataclass(frozen=True, slots=True, repr=False)
class Pad(Record):
    """Pad stack, ``layers`` from the polishing surface down."""

    family: str
    layers: tuple[Layer, ...]
    grooves: Grooves
    surface: PadSurface
    shore_d: float | None
    porosity: float
    wear_coefficient: (
        float  # [1/Pa] cut by the reference disk when new: depth = coefficient * pressure * sliding
    )
    polish_wear_coefficient: float  # [1/Pa] Archard wear of summits by polishing
    modulus_temperature: float = 296.15  # [K] for which the moduli are stated
    hardness: float = 60e6  # [Pa] mean pressure on a diamond that ploughs it
    density: float = 800.0  # [kg/m^3]
    heat_capacity: float = 1500.0  # [J/(kg K)]
    conductivity: float = 0.2  # [W/(m K)]
    drainage_length: float = math.inf  # [m] over which open pores let fluid pressure escape
    film_offset: float = 0.0  # [m] added to the gap that the slurry finds over the pad's mean plane
    thickness_variation: float = (
        0.0  # [m] from trough to crest of straight waves, a crest in the middle above 0
    )
    thickness_waves: float = 1.0  # across the pad

    def _told(self) -> str:
        stack = " on ".join(
            f"{1e3 * layer.thickness:.3g} mm of {1e-6 * layer.modulus:.3g} MPa" for layer in self.layers
        )
        return f"{self.family}, {stack}, grooves {self.grooves._told()}"


@dataclass(frozen=True, slots=True, repr=False)
class Sweep(Record):
    """How the disk moves over the pad, in pad radius (or distance from the belt's centre line).

    ``kind`` "arm" (swinging, pivot at ``pivot_distance`` from the pad axis,
    ``arm_length``) or "slide" (straight). Between ``inner`` and ``outer`` the
    disk centre runs sinusoidally at ``frequency`` unless ``zone_edges`` and
    ``zone_dwell`` (relative times) are given. Its drive can do ``top_speed`` [m/s] and ``top_acceleration`` [m/s^2].
    """

    kind: Literal["arm", "slide"]
    inner: float
    outer: float
    frequency: float
    pivot_distance: float = 0.0
    arm_length: float = 0.0
    zone_edges: Array | None = None
    zone_dwell: Array | None = None
    top_speed: float = 0.3
    top_acceleration: float = 0.6

    def _told(self) -> str:
        table = "" if self.zone_dwell is None else f", dwell table of {counted(self.zone_dwell.size, 'zone')}"
        often = figure(60 * self.frequency, "1/min")
        return f"{self.kind}, {1e3 * self.inner:.4g} to {1e3 * self.outer:.4g} mm, {often}{table}"


@dataclass(frozen=True, slots=True, repr=False)
class Conditioner(Record):
    """The conditioning disk and its sweep."""

    kind: Literal["electroplated", "cvd-film"]
    disk_radius: float
    grit_size: float
    grit_density: float  # [1/m^2] where there is grit
    grit_share: float  # of the disk's face that carries grit
    grit_height_spread: float  # standard deviation of the tips' heights over the grit size
    tip_radius: float  # [m]
    downforce: float  # [N]
    speed: float  # [rad/s]
    sweep: Sweep
    mode: Literal["in-situ", "ex-situ", "partial"]
    share: float  # of polish time (in-situ 1, partial < 1) or time between wafers [s] in ex_situ_time
    ex_situ_time: float
    halving_time: (
        float  # [s] of use until the cut rate is half that when new, at grit.REFERENCE_SIZE and _SHARE
    )
    dulling_power: float  # by which deeper furrows dull sooner
    cut_level: float  # cut rate when new over what its grit says
    break_in_time: float  # [s]
    shedding: float  # relative tendency to lose grit, 0 to 1

    @property
    def grit(self) -> Grit:
        """Its diamonds."""
        tips = self.grit_density * self.grit_share * math.pi * self.disk_radius**2
        return Grit(self.grit_size, tips, self.grit_height_spread, self.tip_radius)

    def _told(self) -> str:
        return (
            f"{self.kind}, disk {figure(2e3 * self.disk_radius, 'mm')}, grit {figure(1e6 * self.grit_size, 'um')}, "
            f"{figure(self.downforce, 'N')}, {figure(self.speed / RPM, 'rpm')}, {self.mode}"
        )


@dataclass(frozen=True, slots=True, repr=False)
class Slurry(Record):
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
    size_power: float = 0.0  # of the grain size in the rate
    summit_power: float = 0.5  # of the pressure on summits in contact in the rate
    half_content: float = 0.05  # abrasive at which the rate is half its limit
    fresh_half: float = 0.25  # fresh share at which the rate is half its limit
    capacity: float = 1e-3  # volume of film that a volume of slurry takes up before it is spent
    natural_exchange: float = 0.2  # share of the liquid in grooves and pores that is changed without a disk
    entry_share: float = 0.25  # of what is dropped, what ring and bow wave let pass
    oxidiser_fraction: float = 0.0  # by weight
    oxidiser_half: float = 0.018  # at which the chemical step is half its limit
    inhibitor_fraction: float = 0.0  # by weight
    inhibitor_half: float = 0.0024  # at which the chemical step is half what it is without

    def _told(self) -> str:
        return (
            f"{shortened(self.name, 40)}, {self.abrasive} {figure(100 * self.abrasive_fraction, '% by weight')}, "
            f"{figure(1e9 * self.particle_size, 'nm')}, {figure(1e3 * self.viscosity, 'mPa s')}"
        )


@dataclass(frozen=True, slots=True, repr=False)
class Reference(Record):
    """The condition at which a removal law was calibrated; every factor is 1 there."""

    pressure: float
    speed: float
    temperature: float
    fresh_fraction: float
    abrasive_fraction: float
    particle_size: float
    real_pressure: float  # mean pressure on summits in contact
    oxidiser_fraction: float = 0.0
    inhibitor_fraction: float = 0.0

    def _told(self) -> str:
        warmth = figure(self.temperature - ZERO_CELSIUS, "°C")
        return f"{figure(self.pressure / PSI, 'psi')}, {figure(self.speed, 'm/s')}, {warmth}"


@dataclass(frozen=True, slots=True, repr=False)
class Removal(Record):
    """Removal law of one material with this slurry and pad.

    ``law`` and the names of ``coefficients`` are those of a record in ``physics.removal.laws.LAWS``.
    """

    material: str
    law: str
    coefficients: Mapping[str, float]
    relative_spread: float
    activation_energy: float  # [J/mol], 0 switches the thermal factor off
    reference: Reference

    def _told(self) -> str:
        numbers = ", ".join(f"{name} {value:.4g}" for name, value in self.coefficients.items())
        law = f"{self.law!r}, {shortened(numbers, 90)} (SI)"
        return f"{self.material} by the law {law}, calibrated at {self.reference._told()}"


@dataclass(frozen=True, slots=True, repr=False)
class Step(Record):
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

    def _told(self) -> str:
        low, high = float(self.zone_pressures.min()) / PSI, float(self.zone_pressures.max()) / PSI
        zones = f"{low:.3g} psi" if low == high else f"{low:.3g} to {high:.3g} psi"
        speed = next(
            (
                f"{name} {figure(value / scale, unit)}"
                for name, value, scale, unit in (
                    ("platen", self.platen_speed, RPM, "rpm"),
                    ("belt", self.belt_speed, 1.0, "m/s"),
                    ("orbit", self.orbit_speed, RPM, "rpm"),
                )
                if value
            ),
            "pad at rest",
        )
        stop = {
            "time": f"for {figure(self.stop_value, 's')}",
            "removed": f"until {figure(1e9 * self.stop_value, 'nm')} are removed",
            "remaining": f"until {figure(1e9 * self.stop_value, 'nm')} are left",
        }[self.stop]
        ring, flow = figure(self.ring_pressure / PSI, "psi"), figure(6e7 * self.flow, "ml/min")
        return f"{shortened(self.name, 40)}, {stop}, {zones}, ring {ring}, {speed}, {flow}"


@dataclass(frozen=True, slots=True, repr=False)
class Ambient(Record):
    """Room and platen, and what the pad loses to air and carrier [W/(m^2 K)]."""

    temperature: float = 295.15
    platen_temperature: float = 295.15
    air_loss: float = 60.0
    carrier_loss: float = 200.0

    def _told(self) -> str:
        room, platen = self.temperature - ZERO_CELSIUS, self.platen_temperature - ZERO_CELSIUS
        return f"room {room:.4g} °C, platen {platen:.4g} °C"


@dataclass(frozen=True, slots=True, repr=False)
class CleanStep(Record):
    """One step of the cleaning: ``values`` as ``setup.clean.KINDS`` names them for its ``kind``, share of the wafer."""

    name: str
    kind: str
    values: tuple[float, ...]
    coverage: float

    def _told(self) -> str:
        return f"{shortened(self.name, 40)}, {self.kind} on {figure(100 * self.coverage, '% of the wafer')}"


@dataclass(frozen=True, slots=True, repr=False)
class Clean(Record):
    """The cleaning after polishing.

    ``hamaker`` [J] of particle, liquid and film, ``viscosity`` [Pa s] of the liquid, ``adhesion_spread`` the standard
    deviation of the logarithm of how firmly particles of one size hold.
    """

    steps: tuple[CleanStep, ...]
    hamaker: float
    viscosity: float
    adhesion_spread: float

    def _told(self) -> str:
        return shortened(", ".join(step.name for step in self.steps), 80)


@dataclass(frozen=True, slots=True, repr=False)
class Die(Record):
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

    def _told(self) -> str:
        known = PROCESSES.get(self.process).level.known_keys()
        given = [
            f"{name.replace('_', ' ')} {units.show(value, what.dimension)}"
            for name, value in self.given.items()
            if (what := known[name].quantity) is not None and isinstance(value, float)
        ]
        return shortened(", ".join([self.process, *given]), 120)


@dataclass(frozen=True, slots=True, repr=False)
class Prices(Record):
    """What things cost: prices in ``currency`` (of a litre for slurry and water), lives in wafers, times [s], flow [m^3/s].

    None: not said.
    """

    currency: str = ""
    pad_price: float | None = None
    disk_price: float | None = None
    ring_price: float | None = None
    membrane_price: float | None = None
    slurry_price: float | None = None
    hour_price: float | None = None
    monitor_price: float | None = None
    pad_wafers: int | None = None
    disk_wafers: int | None = None
    ring_wafers: int | None = None
    membrane_wafers: int | None = None
    monitors: int | None = None
    between: float | None = None
    pad_change: float | None = None
    disk_change: float | None = None
    head_change: float | None = None
    platens: int | None = None
    visits: int | None = None
    load: float | None = None
    rinse: float | None = None
    clean: float | None = None
    measure: float | None = None
    measured: float | None = None
    failure_every: float | None = None
    repair: float | None = None
    engineering: float | None = None
    idle: float | None = None
    machine_price: float | None = None
    machine_years: float | None = None
    upkeep_price: float | None = None
    labour_price: float | None = None
    water_price: float | None = None
    water_flow: float | None = None
    wafer_price: float | None = None
    scrapped: float | None = None

    def _told(self) -> str:
        priced = sum(name.endswith("_price") and getattr(self, name) is not None for name in self.__slots__)
        return f"{counted(priced, 'price')} in {self.currency or 'money that is not named'}"


@dataclass(frozen=True, slots=True, repr=False)
class Rig(Record):
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
    clean: Clean | None = None
    prices: Prices | None = None

    def _told(self) -> str:
        return (
            f"{shortened(self.title, 60)!r}, {self.polisher.motion}, {self.wafer.told_films()}, pad {self.pad.family}, "
            f"slurry {shortened(self.slurry.name, 30)}, {counted(len(self.steps), 'step')}"
        )
