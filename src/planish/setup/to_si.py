"""The one door from a setup to SI numbers: `to_si` makes the records that the physics is fed."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Protocol

import numpy as np

from planish.physics.removal.laws import LAWS
from planish.physics.surface import hardness, softening, summit_flow
from planish.setup import paths, si
from planish.setup.attached import film_sites, summit_heights
from planish.setup.checks.recipe import LONGEST, zone_list
from planish.setup.checks.usual import outside
from planish.setup.clean import KINDS, CleanSection
from planish.setup.conditioner import ConditionerSection
from planish.setup.head import HeadSection, RingSection
from planish.setup.pad import LayerSection, PadSection
from planish.setup.part import Part
from planish.setup.part_folders import part_folders
from planish.setup.parts import catalogue
from planish.setup.recipe import StepSection
from planish.setup.removal import RemovalSection, coefficients_of, rate_at_reference
from planish.setup.slurry import SlurrySection
from planish.setup.wafer import WaferSection

if TYPE_CHECKING:
    from pathlib import Path

    from planish.setup.finding import Finding
    from planish.setup.root import SetupModel

MODEL_SOURCES = tuple(f"pad modulus: {line}" for line in (hardness.SOURCES[0], hardness.SOURCES[1]))


class Described(Protocol):
    """What a validated setup says, as much as is needed here."""

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of part values and defaults."""
        ...

    model: SetupModel
    folder: Path | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    unlikely: tuple[Finding, ...]


def to_si(setup: Described) -> si.Rig:
    """Return the SI records of a validated setup.

    Raises
    ------
    PlanishError
        If a data file that the setup names has changed for the worse since it was validated.
    """
    model = setup.model
    names = [zone.name for zone in model.head.zone]
    named = {"parts_folders": model.parts_folders} if model.parts_folders else {}
    pads = catalogue("pad", part_folders(named, setup.folder))
    return si.Rig(
        title=model.title,
        wafer=_wafer(model.wafer, setup.folder),
        polisher=model.polisher.machine(),
        head=_head(model.head),
        pad=pad_si(model.pad, setup.folder),
        conditioner=conditioner_si(model.conditioner) if model.conditioner is not None else None,
        slurry=si.Slurry(**{name: getattr(model.slurry, name) for name in si.Slurry.__dataclass_fields__}),
        removal={
            material: _removal(material, law, model.slurry, pads) for material, law in model.removal.items()
        },
        steps=tuple(_step(step, names) for step in model.recipe.step),
        ambient=si.Ambient(
            **{name: getattr(model.ambient, name) for name in si.Ambient.__dataclass_fields__}
        ),
        sources=(*setup.sources, *MODEL_SOURCES, *_law_sources(setup)),
        notes=_notes(setup),
        unlikely=tuple(f.place for f in setup.unlikely),
        die=si.Die(**{name: getattr(model.die, name) for name in si.Die.__dataclass_fields__})
        if model.die is not None
        else None,
        clean=_clean(model.clean) if model.clean is not None else None,
        prices=si.Prices(**{name: getattr(model.cost, name) for name in si.Prices.__dataclass_fields__})
        if model.cost is not None
        else None,
    )


def _clean(clean: CleanSection) -> si.Clean:
    steps = tuple(
        si.CleanStep(
            step.name or step.kind,
            step.kind,
            tuple(getattr(step, key) for key in KINDS[step.kind]),
            step.coverage,
        )
        for step in clean.step
    )
    return si.Clean(steps, clean.hamaker, clean.viscosity, clean.adhesion_spread)


def _wafer(wafer: WaferSection, folder: Path | None) -> si.Wafer:
    films = []
    named = [{"name": film.name, "material": film.material} for film in wafer.film]
    for index, film in enumerate(wafer.film):
        profile = sites = None
        thickness = film.thickness
        if film.profile is not None:
            r, t = (np.array(column, dtype=np.float64) for column in zip(*film.profile, strict=True))
            profile = (r, t)
            thickness = _disc_mean(r, t, wafer.diameter / 2.0)
        elif film.sites is not None:
            sites = film_sites(film.sites, folder, f"wafer.film.{paths.entry(named, index)}.sites")
            thickness = float(np.mean(sites[2]))
        assert thickness is not None  # validated: one of the three is given
        stress = film.stress if wafer.bow_from_stress and film.stress is not None else 0.0
        films.append(si.Film(film.name or film.material, film.material, thickness, profile, sites, stress))
    return si.Wafer(
        radius=wafer.diameter / 2.0,
        thickness=wafer.thickness,
        modulus=wafer.modulus,
        poisson=wafer.poisson,
        edge_exclusion=wafer.edge_exclusion,
        films=tuple(films),
        bow=wafer.bow,
    )


def _disc_mean(r: si.Array, t: si.Array, radius: float) -> float:
    """Return the area mean over a disc of a profile, straight between its points and flat outside them."""
    nodes = np.unique(np.concatenate(([0.0], r[r < radius], [radius])))
    values = np.interp(nodes, r, t)
    a, b = nodes[:-1], nodes[1:]
    slope = (values[1:] - values[:-1]) / (b - a)
    level = values[:-1] - slope * a
    return float(np.sum(level * (b**2 - a**2) / 2.0 + slope * (b**3 - a**3) / 3.0) * 2.0 / radius**2)


def _head(head: HeadSection) -> si.Head:
    return si.Head(
        zone_outer_radii=np.array([zone.outer_radius for zone in head.zone]),
        wall_width=head.wall_width,
        ring=_ring(head.ring) if head.ring is not None else None,
        vacuum_hold=head.vacuum_hold,
        membrane_contact_fraction=head.vacuum_contact,
        back_film=head.back_film if head.kind == "rigid" else 0.0,
        gimbal_height=head.gimbal_height if head.kind == "rigid" else 0.0,
    )


def _ring(ring: RingSection) -> si.Ring:
    return si.Ring(
        gap=ring.gap,
        width=ring.width,
        wear_rate=ring.wear_rate,
        wear_allowance=ring.wear_allowance,
        gap_wear_rate=ring.gap_wear_rate,
    )


def finished_modulus(layer: LayerSection) -> float:
    """Return the modulus [Pa] of a layer as made, from hardness, modulus, or polymer, pores and filler."""
    if layer.modulus is not None:
        return layer.modulus
    if layer.shore_d is not None:
        return hardness.shore_modulus(layer.shore_d, "D")
    if layer.shore_a is not None:
        return hardness.shore_modulus(layer.shore_a, "A")
    polymer = layer.polymer_modulus
    if polymer is None:
        assert layer.polymer_shore_d is not None  # validated: one of the five is given
        polymer = hardness.shore_modulus(layer.polymer_shore_d, "D")
    return hardness.pad_modulus(
        polymer, layer.porosity, layer.cells, layer.edge_share, layer.filler_share, layer.filler_ratio
    )


def pad_hardness(pad: PadSection) -> float:
    """Return the hardness [Pa] of the top pad to a diamond, as given or from its modulus."""
    top = pad.top
    if pad.hardness is not None:
        return pad.hardness
    return hardness.ploughing_hardness(
        hardness.solid_modulus(finished_modulus(top), top.porosity, top.cells, top.edge_share)
    )


def _layer(layer: LayerSection) -> si.Layer:
    return si.Layer(
        finished_modulus(layer), layer.poisson, layer.thickness, layer.modulus_spread, layer.softening
    )


def pad_si(pad: PadSection, folder: Path | None) -> si.Pad:
    """Return a pad in SI.

    Parameters
    ----------
    pad
        As read.
    folder
        Where its measured heights lie; a catalogue pad has none.

    Returns
    -------
    si.Pad
        Layers, grooves, summits, and what it wears by.

    Raises
    ------
    DataError
        For a file of heights that cannot be used.
    ModelError
        Where the pad's figures do not go together.
    """
    top = pad.top
    modulus = finished_modulus(top)
    surface = pad.surface
    heights = None
    if surface.heights is not None:
        heights = summit_heights(surface.heights, folder, "pad.surface.heights")
    summit = surface.modulus
    if summit is None:
        summit = hardness.solid_modulus(modulus, top.porosity, top.cells, top.edge_share)
    shore = top.shore_d if top.shore_d is not None else hardness.shore_reading(modulus, "D")
    flow = surface.flow_pressure if surface.flow_pressure is not None else pad.hardness
    grooves = pad.grooves
    bare = grooves is None or grooves.pattern == "none"
    return si.Pad(
        family=pad.family,
        layers=(_layer(top),) if pad.sub is None else (_layer(top), _layer(pad.sub)),
        grooves=si.Grooves("none", 0.0, 0.0, 0.0)
        if bare or grooves is None
        else si.Grooves(grooves.pattern, grooves.width, grooves.depth, grooves.pitch),
        surface=si.PadSurface(
            density=surface.density,
            tip_radius=surface.tip_radius,
            height_sd=surface.height_sd,
            tail_length=surface.tail_length,
            modulus=summit,
            poisson=surface.poisson if surface.poisson is not None else top.poisson,
            heights=heights,
            flow_pressure=hardness.ploughing_hardness(summit) if flow is None else flow,
            flow_spread=surface.flow_spread,
        ),
        shore_d=shore if shore > 0.0 else None,
        porosity=top.porosity,
        wear_coefficient=pad.wear_coefficient,
        polish_wear_coefficient=pad.polish_wear_coefficient,
        modulus_temperature=pad.modulus_temperature,
        hardness=pad_hardness(pad),
        density=pad.density,
        heat_capacity=pad.heat_capacity,
        conductivity=pad.conductivity,
        drainage_length=math.inf if pad.drainage_length is None else pad.drainage_length,
        film_offset=pad.film_offset or 0.0,
        thickness_variation=pad.thickness_variation,
        thickness_waves=pad.thickness_waves,
    )


def conditioner_si(disk: ConditionerSection) -> si.Conditioner:
    """Return a conditioner in SI."""
    sweep = disk.sweep
    return si.Conditioner(
        kind=disk.kind,
        disk_radius=disk.disk_diameter / 2.0,
        grit_size=disk.grit_size,
        grit_density=disk.grit_density,
        grit_share=disk.grit_share,
        grit_height_spread=disk.grit_height_spread,
        tip_radius=disk.tip_radius,
        downforce=disk.downforce,
        speed=disk.speed,
        sweep=si.Sweep(
            kind=sweep.kind,
            inner=sweep.inner,
            outer=sweep.outer,
            frequency=sweep.frequency,
            pivot_distance=sweep.pivot_distance if sweep.kind == "arm" else 0.0,
            arm_length=sweep.arm_length if sweep.kind == "arm" else 0.0,
            top_speed=sweep.top_speed,
            top_acceleration=sweep.top_acceleration,
            zone_edges=np.array(sweep.zone_edges) if sweep.zone_edges is not None else None,
            zone_dwell=np.array(sweep.zone_dwell) if sweep.zone_dwell is not None else None,
        ),
        mode=disk.mode,
        share={"in-situ": 1.0, "partial": disk.share, "ex-situ": 0.0}[disk.mode],
        ex_situ_time=disk.ex_situ_time if disk.mode == "ex-situ" else 0.0,
        halving_time=disk.halving_time,
        dulling_power=disk.dulling_power,
        cut_level=disk.cut_level,
        break_in_time=disk.break_in_time,
        shedding=disk.shedding,
    )


def reference_real_pressure(pad: Part, temperature: float | None = None) -> float:
    """Return the mean pressure [Pa] on the summits of a catalogue pad.

    That of the exponential tail, which does not depend on the load, so the
    reference pressure need not be known.

    Parameters
    ----------
    pad
        Of the catalogue.
    temperature
        Of the pad [K]; that for which its modulus is stated unless given.
    """
    return _tail_pressure(json.dumps(pad.tree()), temperature)


@lru_cache(maxsize=64)
def _tail_pressure(part: str, temperature: float | None) -> float:
    """Return that of a pad given as JSON text: a user's part may change while its name stays."""
    pad = pad_si(PadSection.model_validate(_without_none(json.loads(part))), None)
    surface, loss, stated = pad.surface, pad.layers[0].softening, pad.modulus_temperature
    left = softening.modulus_left(loss, stated if temperature is None else temperature, stated)
    return left * summit_flow.tail_pressure(
        surface.tail_length,
        tip_radius=surface.tip_radius,
        modulus=surface.modulus / (1.0 - surface.poisson**2),
        flow_pressure=surface.flow_pressure,
    )


def _notes(setup: Described) -> tuple[str, ...]:
    """Return what a result has to say of its setup: unlikely values in one line, the rest as it is."""
    odd = {f.message for f in setup.unlikely}
    told = outside(setup.unlikely)
    return (*(w for w in setup.warnings if w not in odd), *([told] if told else []), *setup.notes)


def _without_none(tree: dict[str, object]) -> dict[str, object]:
    return {
        key: None if value == "none" and key in ("sub", "grooves") else value for key, value in tree.items()
    }


def _law_sources(setup: Described) -> list[str]:
    """Return the sources of the laws in use, each once."""
    laws = dict.fromkeys(law.law for law in setup.model.removal.values())
    return list(dict.fromkeys(line for law in laws for line in LAWS.get(law).sources))


def _removal(
    material: str, law: RemovalSection, slurry: SlurrySection, pads: Mapping[str, Part]
) -> si.Removal:
    ref = law.reference
    record = LAWS.get(law.law)
    named = coefficients_of(record)
    values = {name: named[name].si(value) for name, value in law.coefficients.items()}
    if law.rate is not None:
        values[record.leading] = _leading(law, values)
    return si.Removal(
        material=material,
        law=law.law,
        coefficients=values,
        relative_spread=law.spread,
        activation_energy=law.activation_energy,
        reference=si.Reference(
            pressure=ref.pressure,
            speed=ref.speed,
            temperature=ref.temperature,
            fresh_fraction=ref.fresh_fraction,
            abrasive_fraction=ref.abrasive_fraction
            if ref.abrasive_fraction is not None
            else slurry.abrasive_fraction,
            particle_size=slurry.particle_size if ref.particle_size is None else ref.particle_size,
            real_pressure=ref.real_pressure
            if ref.real_pressure is not None
            else reference_real_pressure(pads[str(ref.pad)], ref.temperature),
            oxidiser_fraction=slurry.oxidiser_fraction
            if ref.oxidiser_fraction is None
            else ref.oxidiser_fraction,
            inhibitor_fraction=slurry.inhibitor_fraction
            if ref.inhibitor_fraction is None
            else ref.inhibitor_fraction,
        ),
    )


def _leading(law: RemovalSection, values: dict[str, float]) -> float:
    """Return the leading coefficient that gives the measured rate at the reference condition."""
    assert law.rate is not None  # only called with a rate
    none, one = (
        rate_at_reference(law.law, {**values, LAWS.get(law.law).leading: each}, law.reference)
        for each in (0.0, 1.0)
    )
    return (law.rate - none) / (one - none)


def _step(step: StepSection, names: list[str]) -> si.Step:
    if step.time is not None:
        stop, value, longest = "time", step.time, step.time
    else:
        longest = step.max_time if step.max_time is not None else LONGEST
        if step.stop_on_removed is not None:
            stop, value = "removed", step.stop_on_removed
        else:
            assert step.stop_on_remaining is not None  # validated: one of the three is given
            stop, value = "remaining", step.stop_on_remaining
    kind: si.StopKind = stop  # type: ignore[assignment]
    return si.Step(
        name=step.name,
        zone_pressures=np.array(zone_list(step, names)),
        ring_pressure=step.ring_pressure,
        platen_speed=step.platen_speed or 0.0,
        belt_speed=step.belt_speed or 0.0,
        orbit_speed=step.orbit_speed or 0.0,
        carrier_speed=step.carrier_speed,
        flow=step.flow,
        conditioning=step.conditioning,
        stop=kind,
        stop_value=value,
        max_time=longest,
        bearing_pressures=np.array(step.bearing_pressures) if step.bearing_pressures is not None else None,
    )
