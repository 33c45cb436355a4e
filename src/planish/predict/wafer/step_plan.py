"""What a recipe step fixes, whatever the state of the pad: loads, speeds, shares of slurry, heat losses.

One wafer works it out for each of its steps; a lot does so once and keeps it for all its wafers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.physics.motion.speed import speed_moment
from planish.physics.pressure.layers import groove_share
from planish.physics.pressure.plate import bearing_lift, zone_load
from planish.physics.removal import factors
from planish.physics.removal.laws import LAWS
from planish.physics.slurry import heat
from planish.physics.slurry.gap import groove_height
from planish.predict.wafer.contact_model import ContactModel
from planish.predict.wafer.pad_surface import as_conditioned, resting_temperature

if TYPE_CHECKING:
    from planish.physics.motion.motion import Motion
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.si import Pad, Removal, Rig, Step

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Heat lost from pad to air and by evaporation 60 W/m2K, through the carrier 200 W/m2K, unless the setup says "
    "other: assumptions of our own",
)

_LOWEST_LOAD = 0.05  # of the mean: where a zone is nearly off, its summits are described at this share


class BackLoad(NamedTuple):
    """What presses the wafer on the pad, over wafer nodes (n_r,) unless said otherwise.

    Attributes
    ----------
    load
        On the wafer's back [Pa].
    about
        The pressure [Pa] about which the summits are described.
    raised
        How much [m] the bearing lifts the belt; 0 on a platen.
    ring
        Pressure on the retaining ring [Pa], one number; 0 without one.
    """

    load: Array
    about: Array
    raised: Array | float
    ring: float


@dataclass(frozen=True, slots=True)
class Passes:
    """The pad's surface in passes under the wafer, on bins finer than the rings.

    Beside the edge of the wafer's track what a place meets changes within a ring.

    Attributes
    ----------
    seen, duty
        (n_f, m) and (n_f,): as of the rings.
    rise
        Over its mean in a pass, for each of its heat (n_f,) [K m^2/W].
    conductance, sink
        What the bins lose heat to (n_f,) [W/(m^2 K)], [K].
    of_rings
        (n_f, n): takes temperatures of the rings there.
    """

    seen: Array
    duty: Array
    rise: Array
    conductance: Array
    sink: Array
    of_rings: Array


@dataclass(frozen=True, slots=True)
class StepPlan:
    """What a step fixes.

    Attributes
    ----------
    step
        The recipe's.
    speed, mean_speed
        Mean sliding speed at the wafer nodes (n_r,) and over the wafer [m/s].
    all_speed
        (m,) [m/s]: at all nodes that are pressed, those of the ring last.
    area, shares
        Of the wafer [m^2], and the share of it at each node (n_r,).
    law_speeds
        By material (n_r,) [m/s]: the mean speed that its removal law takes.
    coefficients
        By material: those of its law, checked.
    grains
        By material: what the slurry's grains do to the mechanical terms of its law.
    dissolved
        By material: what oxidiser and inhibitor do to the chemical terms of its law.
    pad_speed
        Of the pad at the carrier axis [m/s].
    dragged
        What drags liquid under the wafer: speed [m/s] and mean turning [rad/s].
    place_share
        Of the slurry dropped, what can reach the wafer from where it is dropped.
    disk_width
        Radius [m] of the disk times the share of the step in which it works; 0 if it does not.
    duty, seen
        (n,): share of time a pad ring is under the carrier; (n, m): of a pad ring's time under the carrier, the share under each node pressed.
    heat_conductance, heat_sink, heat_capacity
        Of the pad rings (n,) [W/(m^2 K)], [K], and [J/(m^2 K)].
    passes
        What the pad's surface does in passes under the wafer.
    """

    step: Step
    speed: Array
    mean_speed: float
    all_speed: Array
    area: float
    shares: Array
    law_speeds: dict[str, Array]
    coefficients: dict[str, Mapping[str, float]]
    grains: dict[str, float]
    dissolved: dict[str, float]
    pad_speed: float
    dragged: tuple[float, float]
    place_share: float
    disk_width: float
    duty: Array
    seen: Array
    heat_conductance: Array
    heat_sink: Array
    heat_capacity: float
    passes: Passes


def plan_step(
    rig: Rig, step: Step, model: ContactModel, rings: PadRings, *, conditioning: bool = True
) -> StepPlan:
    """Work out what a step fixes.

    Parameters
    ----------
    rig, step
        The setup, and which step of its recipe.
    model
        Of the contact.
    rings
        Of the pad.
    conditioning
        False keeps the disk off the pad.

    Returns
    -------
    StepPlan
        The same for every wafer.
    """
    grid, machine = model.grid, rig.polisher
    count = grid.r.size
    pressed = grid.has_ring and step.ring_pressure > 0
    drive, carrier = speeds(rig, step)
    all_speed = machine.mean_speed(
        np.concatenate([grid.r, grid.ring_r]) if pressed else grid.r, drive, carrier
    )
    speed, shares = all_speed[:count], grid.shares
    laws = rig.removal
    both = _losses(rig, step, rings.area, np.concatenate([rings.duty, rings.pass_duty]))
    conductance, sink = (each[: rings.duty.size] for each in both)
    finer = [each[rings.duty.size :] for each in both]
    return StepPlan(
        step=step,
        speed=speed,
        mean_speed=float(shares @ speed),
        all_speed=all_speed,
        area=float(grid.areas.sum()),
        shares=shares,
        law_speeds={
            material: _law_speed(law, machine, grid.r, speed, drive, carrier)
            for material, law in laws.items()
        },
        coefficients={
            material: LAWS.get(law.law).checked(law.coefficients) for material, law in laws.items()
        },
        grains={material: _grains(rig, law) for material, law in laws.items()},
        dissolved={material: _dissolved(rig, law) for material, law in laws.items()},
        pad_speed=machine.pad_speed(drive),
        dragged=machine.dragged(drive, carrier),
        place_share=machine.slurry_share(rig.wafer.radius),
        disk_width=_disk_width(rig, step) if conditioning else 0.0,
        duty=rings.duty,
        seen=rings.seen if pressed else rings.seen[:, :count],
        heat_conductance=conductance,
        heat_sink=sink,
        heat_capacity=_heat_capacity(rig),
        passes=Passes(
            seen=rings.pass_seen if pressed else rings.pass_seen[:, :count],
            duty=rings.pass_duty,
            rise=_pass_rise(rig.pad, rings, machine.turn_time(drive)),
            conductance=finer[0],
            sink=finer[1],
            of_rings=rings.to_passes,
        ),
    )


def back_load(rig: Rig, step: Step, model: ContactModel) -> BackLoad:
    """Return what presses the wafer on the pad in a step.

    Parameters
    ----------
    rig, step
        The setup, and which step of its recipe.
    model
        Of the contact.

    Returns
    -------
    BackLoad
        Over the wafer nodes.
    """
    grid, bearing = model.grid, rig.polisher.bearing
    load = zone_table(model, rig) @ step.zone_pressures
    raised: Array | float = 0.0
    if not model.base.rigid and bearing is not None:
        zones = step.bearing_pressures if step.bearing_pressures is not None else bearing.pressures
        raised = _bearing_table(model, bearing.outer_radii) @ zones
    return BackLoad(load, described_load(model, load), raised, step.ring_pressure if grid.has_ring else 0.0)


def described_load(model: ContactModel, load: Array) -> Array:
    """Return the pressure [Pa] about which summits under a load [Pa] are described, (n_r,) both.

    Parameters
    ----------
    model
        Of the contact.
    load
        On the wafer's back.
    """
    return np.maximum(load, _LOWEST_LOAD * float(model.grid.shares @ load))


def zone_table(model: ContactModel, rig: Rig) -> Array:
    """Return the load at the nodes per unit pressure in each membrane zone: the load is linear in them.

    Parameters
    ----------
    model
        Of the contact.
    rig
        The setup.

    Returns
    -------
    Array
        (n_r, zones).
    """
    radii, wall = rig.head.zone_outer_radii, rig.head.wall_width
    key = f"zones {radii.tobytes().hex()} {wall!r}"
    return _kept_table(
        model, key, lambda: [zone_load(model.grid.r, radii, unit, wall) for unit in np.eye(radii.size)]
    )


def _bearing_table(model: ContactModel, radii: Array) -> Array:
    """Lift at the nodes per unit pressure in each bearing zone (n_r, zones): linear too."""
    key = f"bearing {radii.tobytes().hex()}"
    return _kept_table(
        model,
        key,
        lambda: [bearing_lift(model.grid.r, radii, unit, model.base) for unit in np.eye(radii.size)],
    )


def _kept_table(model: ContactModel, key: str, rows: Callable[[], list[Array]]) -> Array:
    """Keep a table with the pad operator it belongs to."""
    memo = model.operator.memo
    if key not in memo:
        memo[key] = sealed(np.column_stack(rows()))
    return cast("Array", memo[key])


def speeds(rig: Rig, step: Step) -> tuple[float, float]:
    """Return the speeds in a step of what moves the pad ([rad/s], a belt [m/s]) and of the carrier [rad/s].

    Parameters
    ----------
    rig
        The setup.
    step
        Of its recipe.
    """
    return getattr(step, rig.polisher.drive.key), step.carrier_speed


def _law_speed(law: Removal, machine: Motion, r: Array, speed: Array, drive: float, carrier: float) -> Array:
    """Return the mean speed [m/s] that the law takes: for a power of the speed, the root of the mean power."""
    record = LAWS.get(law.law)
    beta = record.checked(law.coefficients)[record.speed_power] if record.speed_power else 1.0
    if beta in (0.0, 1.0):
        return speed
    amplitudes = machine.speed_amplitudes(r, drive, carrier)
    return np.asarray(speed_moment(*amplitudes, beta) ** (1.0 / beta))


def _grains(rig: Rig, law: Removal) -> float:
    """Return the factor of abrasive content and grain size; of content 1 for a law calibrated without abrasive.

    Parameters
    ----------
    rig
        The setup.
    law
        Of a material.
    """
    liquid, reference = rig.slurry, law.reference
    by_size = float(factors.size_factor(liquid.particle_size, reference.particle_size, liquid.size_power))
    if reference.abrasive_fraction <= 0:
        return by_size
    return by_size * float(
        factors.abrasive_factor(liquid.abrasive_fraction, reference.abrasive_fraction, liquid.half_content)
    )


def _dissolved(rig: Rig, law: Removal) -> float:
    """Return the factor of oxidiser and inhibitor on the chemical terms of a law; 1 where it has none.

    Parameters
    ----------
    rig
        The setup.
    law
        Of a material.
    """
    if not LAWS.get(law.law).chemical:
        return 1.0
    liquid, reference = rig.slurry, law.reference
    return factors.dissolved_factor(
        (liquid.oxidiser_fraction, reference.oxidiser_fraction, liquid.oxidiser_half),
        (liquid.inhibitor_fraction, reference.inhibitor_fraction, liquid.inhibitor_half),
    )


def _disk_width(rig: Rig, step: Step) -> float:
    disk = rig.conditioner
    if disk is None or not step.conditioning or disk.mode == "ex-situ":
        return 0.0
    return disk.disk_radius * (disk.share if disk.mode == "partial" else 1.0)


def summit_land(rig: Rig, groove_depth: float, land: float) -> float:
    """Return the share of the nominal area that summits stand on: neither hole nor groove.

    A groove that has worn shallower than the summits' tail takes part of the load at its bottom.

    Parameters
    ----------
    rig
        The setup.
    groove_depth
        Of the pad now [m].
    land
        Share that is not hole.

    Returns
    -------
    float
        [1].
    """
    tail = as_conditioned(rig).tail_length
    return land * exp(groove_height(groove_area(rig), groove_depth, tail) / tail)


def groove_area(rig: Rig) -> float:
    """Return the share of pad area that is groove.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    float
        [1].
    """
    grooves = rig.pad.grooves
    return groove_share(grooves.pattern, grooves.width, grooves.pitch)


def platen_path(rig: Rig) -> tuple[float, float]:
    """Return the path of heat through the pad.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    tuple[float, float]
        Conductance through the pad [W/(m^2 K)], and temperature of what it lies on [K].
    """
    pad = rig.pad
    through = heat.platen_conductance(
        [layer.thickness for layer in pad.layers], [pad.conductivity] * len(pad.layers)
    )
    return through, resting_temperature(rig)


def _losses(rig: Rig, step: Step, area: float, duty: Array) -> tuple[Array, Array]:
    """Return what pad rings of a duty (n,) lose heat to: conductance (n,) [W/(m^2 K)] and temperature (n,) [K]."""
    liquid, room = rig.slurry, rig.ambient
    through, base = platen_path(rig)
    washed = float(heat.slurry_conductance(step.flow, liquid.density, liquid.heat_capacity, area))
    return heat.combined_sink(
        [through, washed, room.air_loss, room.carrier_loss * duty],
        [base, liquid.temperature, room.temperature, room.temperature],
    )


def _pass_rise(pad: Pad, rings: PadRings, turn_time: float) -> Array:
    """Return how far the pad's surface rises over its mean in a pass, per heat taken up [K m^2/W], (n_f,)."""
    effusivity = heat.effusivity(pad.conductivity, pad.density, pad.heat_capacity)
    return heat.pass_rise(1.0, rings.pass_swing, turn_time, effusivity)


def _heat_capacity(rig: Rig) -> float:
    """Return the heat [J/(m^2 K)] that a pad's area stores in a minute."""
    pad = rig.pad
    depth = float(heat.thermal_depth(pad.conductivity, pad.density, pad.heat_capacity, 60.0))
    return pad.density * pad.heat_capacity * min(depth, pad.layers[0].thickness)
