"""Checks that need more than one value of a setup: does it fit together?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from planish import units
from planish.errors import PlanishError
from planish.physics.hardness import QI_RANGE
from planish.setup.attached import film_sites, summit_heights
from planish.setup.crosscheck_recipe import check_recipe
from planish.setup.finding import Finding, missing, wrong
from planish.setup.pad import LayerSection
from planish.setup.polisher import LinearPolisher, OrbitalPolisher, RotaryPolisher
from planish.setup.removal import LAWS, SCALE, RemovalSection
from planish.setup.resolve import FILM_KEYS, STIFFNESS_KEYS, Resolved, nearest
from planish.setup.root import SetupModel
from planish.setup.vacuum import SAFETY, vacuum_hold

HAIR = 1e-9  # [m] lengths closer than this are the same


def mm(value: float) -> str:
    """Return a length in mm as text."""
    return units.show(value, "length", digits=6)


def crosscheck(model: SetupModel, resolved: Resolved, folder: Path | None) -> list[Finding]:
    """Return all that does not fit together in a setup whose single values are sound."""
    raw = resolved.tree
    found: list[Finding] = []
    for check in (
        _wafer(model, raw, folder),
        _head(model, raw),
        _polisher(model, raw),
        _pad(model, raw, folder),
    ):
        found.extend(check)
    found.extend(_conditioner(model, raw))
    found.extend(_slurry(model, raw))
    found.extend(_removal(model, raw))
    found.extend(check_recipe(model, raw))
    found.extend(_vacuum(model, raw))
    return found


def _wafer(model: SetupModel, raw: dict[str, Any], folder: Path | None) -> Iterator[Finding]:
    wafer = model.wafer
    radius = wafer.diameter / 2.0
    if wafer.edge_exclusion >= radius:
        yield wrong("wafer.edge_exclusion", raw["wafer"]["edge_exclusion"], f"below the radius, {mm(radius)}")
    names: set[str] = set()
    for index, film in enumerate(wafer.film):
        place = f"wafer.film.{index}"
        given = [key for key in FILM_KEYS if getattr(film, key) is not None]
        if len(given) != 1:
            shown = " and ".join(given) or "no thickness"
            yield wrong(place, shown, f"one of {', '.join(FILM_KEYS)}", "say the incoming thickness once")
        name = film.name or film.material
        if name in names:
            yield wrong(
                f"{place}.name", name, "a name no other film has", "give each film of a material its name"
            )
        names.add(name)
        if film.thickness == 0.0:
            yield wrong(f"{place}.thickness", raw["wafer"]["film"][index]["thickness"], "above 0 nm")
        if film.material not in model.removal:
            known = nearest(film.material, model.removal) if model.removal else "no removal law is given"
            yield wrong(
                f"{place}.material",
                film.material,
                f"a material with a [removal.{film.material}] table",
                known,
            )
        if film.profile is not None:
            radii = [r for r, _ in film.profile]
            if any(b - a <= HAIR for a, b in zip(radii, radii[1:], strict=False)):
                yield wrong(f"{place}.profile", [mm(r) for r in radii], "given at increasing radii")
            elif radii[-1] > radius + HAIR:
                yield wrong(f"{place}.profile", mm(radii[-1]), f"within the wafer radius, {mm(radius)}")
            elif radii[-1] < radius - wafer.edge_exclusion - HAIR:
                text = f"ends at {mm(radii[-1])}: taken as flat from there to the edge"
                yield Finding("note", f"{place}.profile", f"{place}.profile {text}")
        if film.sites is not None:
            yield from _sites(film.sites, folder, f"{place}.sites", radius)


def _sites(name: str, folder: Path | None, place: str, radius: float) -> Iterator[Finding]:
    try:
        x, y, _ = film_sites(name, folder, place)
    except PlanishError as error:
        text = str(error)
        yield Finding("error", place, text if text.startswith(place) else f"{place}: {text}")
        return
    far = max((math.hypot(a, b) for a, b in zip(x.tolist(), y.tolist(), strict=True)), default=0.0)
    if far > radius + 1e-4:
        yield wrong(
            place, name, f"measured within the wafer radius, {mm(radius)}", f"one site lies at {mm(far)}"
        )


def _head(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    head, radius = model.head, model.wafer.diameter / 2.0
    zones = head.zone
    inner = 0.0
    narrowest = math.inf
    for index, zone in enumerate(zones):
        place = f"head.zone.{index}.outer_radius"
        if zone.outer_radius <= inner + HAIR:
            yield wrong(
                place, raw["head"]["zone"][index]["outer_radius"], f"above {mm(inner)}, where the zone begins"
            )
            return
        narrowest = min(narrowest, zone.outer_radius - inner)
        inner = zone.outer_radius
    if abs(inner - radius) > 1e-6:
        yield wrong(
            f"head.zone.{len(zones) - 1}.outer_radius",
            raw["head"]["zone"][-1]["outer_radius"],
            f"the wafer radius, {mm(radius)}",
            "the last zone reaches the wafer edge",
        )
    names = [zone.name for zone in zones]
    for index, name in enumerate(names):
        if name in names[:index]:
            yield wrong(f"head.zone.{index}.name", name, "a name no other zone has")
    if len(zones) > 1 and head.wall_width > narrowest + HAIR:
        yield wrong(
            "head.wall_width", raw["head"]["wall_width"], f"at most the narrowest zone, {mm(narrowest)}"
        )


def outer_reach(model: SetupModel) -> float:
    """Return the radius [m] of wafer, gap and ring together."""
    ring = model.head.ring
    return model.wafer.diameter / 2.0 + (ring.gap + ring.width if ring is not None else 0.0)


def _polisher(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    polisher, table = model.polisher, raw["polisher"]
    radius, reach = model.wafer.diameter / 2.0, outer_reach(model)
    if isinstance(polisher, RotaryPolisher):
        platen = polisher.platen_diameter / 2.0
        swing = polisher.centre_offset + polisher.oscillation_amplitude
        room, place, value = platen - swing, "polisher.platen_diameter", table["platen_diameter"]
        if polisher.oscillation_amplitude > 0.0 and polisher.oscillation_frequency == 0.0:
            yield wrong("polisher.oscillation_frequency", table["oscillation_frequency"], "above 0 1/min",
                        "the carrier is said to swing")  # fmt: skip
        edge = platen
    elif isinstance(polisher, LinearPolisher):
        room, place, value = polisher.belt_width / 2.0, "polisher.belt_width", table["belt_width"]
        edge = room
        least = math.pi * polisher.roller_diameter + 4.0 * radius
        if polisher.belt_length < least - HAIR:
            yield wrong("polisher.belt_length", table["belt_length"], f"at least {mm(least)}",
                        "once round both rollers with the wafer between them")  # fmt: skip
        yield from _bearing(polisher, table, radius)
    else:
        room = polisher.pad_diameter / 2.0 - polisher.orbit_radius
        place, value, edge = "polisher.pad_diameter", table["pad_diameter"], polisher.pad_diameter / 2.0
    if room < radius - HAIR:
        yield wrong(place, value, f"larger: the wafer hangs over its edge by {mm(radius - room)}")
    elif room < reach - HAIR:
        yield wrong(place, value, f"larger: the retaining ring hangs over its edge by {mm(reach - room)}",
                    "or a narrower ring")  # fmt: skip
    if polisher.delivery == "top" and polisher.dispense_radius > edge:
        yield wrong("polisher.dispense_radius", table["dispense_radius"], f"on the pad, at most {mm(edge)}")
    if (
        polisher.delivery == "through-pad"
        and isinstance(polisher, OrbitalPolisher)
        and not polisher.hole_fraction
    ):
        yield wrong(
            "polisher.hole_fraction", table["hole_fraction"], "above 0", "slurry is fed through the pad"
        )


def _bearing(polisher: LinearPolisher, table: dict[str, Any], radius: float) -> Iterator[Finding]:
    inner = 0.0
    for index, zone in enumerate(polisher.bearing.zone):
        if zone.outer_radius <= inner + HAIR:
            value = table["bearing"]["zone"][index]["outer_radius"]
            yield wrong(f"polisher.bearing.zone.{index}.outer_radius", value, f"above {mm(inner)}")
            return
        inner = zone.outer_radius
    if inner < radius - HAIR:
        yield wrong(
            f"polisher.bearing.zone.{len(polisher.bearing.zone) - 1}.outer_radius",
            mm(inner),
            f"at least the wafer radius, {mm(radius)}",
            "the bearing carries the belt under the whole wafer",
        )


def _pad(model: SetupModel, raw: dict[str, Any], folder: Path | None) -> Iterator[Finding]:
    pad, table = model.pad, raw["pad"]
    yield from _layer(pad.top, "pad.top")
    if pad.sub is not None:
        yield from _layer(pad.sub, "pad.sub")
    grooves = pad.grooves
    if grooves is not None and grooves.pattern != "none":
        for key in ("width", "depth", "pitch"):
            if getattr(grooves, key) == 0.0:
                yield wrong(f"pad.grooves.{key}", table["grooves"][key], "above 0 mm", "or pattern = 'none'")
                return
        if grooves.depth >= pad.top.thickness:
            yield wrong("pad.grooves.depth", table["grooves"]["depth"], f"below the pad's {mm(pad.top.thickness)}",
                        "a groove leaves some of the top pad")  # fmt: skip
        if grooves.width >= grooves.pitch:
            yield wrong(
                "pad.grooves.width", table["grooves"]["width"], f"below the pitch, {mm(grooves.pitch)}"
            )
    if pad.surface.heights is not None:
        try:
            summit_heights(pad.surface.heights, folder, "pad.surface.heights")
        except PlanishError as error:
            text = str(error)
            place = "pad.surface.heights"
            yield Finding("error", place, text if text.startswith(place) else f"{place}: {text}")


def _layer(layer: LayerSection, place: str) -> Iterator[Finding]:
    given = [key for key in STIFFNESS_KEYS if getattr(layer, key) is not None]
    if len(given) != 1:
        shown = " and ".join(given) or "no stiffness"
        yield wrong(place, shown, f"one of {', '.join(STIFFNESS_KEYS)}", "say how stiff it is once")
        return
    if given[0].startswith("polymer") and layer.cells == "none" and layer.porosity > 0.0:
        yield wrong(f"{place}.cells", "none", "open or closed", "it is said to have pores")
    for key in given:
        if "shore" in key:
            low, high = QI_RANGE["D" if key.endswith("d") else "A"]
            reading = getattr(layer, key)
            if not low <= reading <= high:
                text = f"{place}.{key} {reading:g}: outside {low:g} to {high:g}, where the conversion to a modulus holds"
                yield Finding("note", f"{place}.{key}", text)


def _conditioner(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    disk = model.conditioner
    if disk is None:
        return
    table, sweep = raw["conditioner"], disk.sweep
    polisher = model.polisher
    if isinstance(polisher, RotaryPolisher):
        edge, lowest = polisher.platen_diameter / 2.0, 0.0
    elif isinstance(polisher, LinearPolisher):
        edge, lowest = polisher.belt_width / 2.0, -polisher.belt_width / 2.0
    else:
        edge, lowest = polisher.pad_diameter / 2.0, 0.0
    place = "conditioner.sweep"
    if sweep.inner >= sweep.outer:
        yield wrong(f"{place}.inner", table["sweep"]["inner"], f"below outer, {mm(sweep.outer)}")
    if sweep.outer > edge + HAIR:
        yield wrong(f"{place}.outer", table["sweep"]["outer"], f"on the pad, at most {mm(edge)}")
    if sweep.inner < lowest - HAIR:
        yield wrong(f"{place}.inner", table["sweep"]["inner"], f"on the pad, at least {mm(lowest)}")
    if disk.disk_diameter / 2.0 > edge:
        yield wrong(
            "conditioner.disk_diameter", table["disk_diameter"], f"smaller than the pad, {mm(2.0 * edge)}"
        )
    if sweep.kind == "arm":
        nearest_reach = abs(sweep.pivot_distance - sweep.arm_length)
        if sweep.inner < nearest_reach - HAIR or sweep.outer > sweep.pivot_distance + sweep.arm_length + HAIR:
            yield wrong(
                f"{place}.arm_length",
                table["sweep"].get("arm_length"),
                f"such that the arm reaches from {mm(sweep.inner)} to {mm(sweep.outer)}",
                f"with its pivot at {mm(sweep.pivot_distance)} it comes no nearer than {mm(nearest_reach)}",
            )
    yield from _dwell(model, table)
    if disk.protrusion > disk.grit_size:
        yield wrong(
            "conditioner.protrusion",
            table["protrusion"],
            "at most the grit size",
            "a diamond sits in its bond",
        )
    if disk.mode == "ex-situ" and disk.ex_situ_time == 0.0:
        yield wrong("conditioner.ex_situ_time", table["ex_situ_time"], "above 0 s", "or another mode")


def _dwell(model: SetupModel, table: dict[str, Any]) -> Iterator[Finding]:
    sweep = model.conditioner.sweep if model.conditioner is not None else None
    if sweep is None or (sweep.zone_edges is None and sweep.zone_dwell is None):
        return
    edges, dwell = sweep.zone_edges, sweep.zone_dwell
    place = "conditioner.sweep"
    if edges is None:
        yield missing(f"{place}.zone_edges", "given beside zone_dwell")
        return
    if dwell is None:
        yield missing(f"{place}.zone_dwell", "given beside zone_edges")
        return
    if len(edges) != len(dwell) + 1:
        yield wrong(
            f"{place}.zone_edges",
            table["sweep"]["zone_edges"],
            f"{len(dwell) + 1} edges for the {len(dwell)} dwells",
        )
    elif any(b - a <= HAIR for a, b in zip(edges, edges[1:], strict=False)):
        yield wrong(f"{place}.zone_edges", table["sweep"]["zone_edges"], "increasing")
    elif edges[0] < sweep.inner - HAIR or edges[-1] > sweep.outer + HAIR:
        limits = f"within inner and outer, {mm(sweep.inner)} to {mm(sweep.outer)}"
        yield wrong(f"{place}.zone_edges", table["sweep"]["zone_edges"], limits)
    if sum(dwell) <= 0.0:
        yield wrong(f"{place}.zone_dwell", table["sweep"]["zone_dwell"], "above 0 in at least one zone")


def _slurry(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    slurry, table = model.slurry, raw["slurry"]
    if slurry.friction_floor > slurry.friction_boundary:
        yield wrong("slurry.friction_floor", table["friction_floor"], "at most friction_boundary",
                    f"{slurry.friction_boundary:g}")  # fmt: skip
    if slurry.large_particle_size <= slurry.particle_size:
        yield wrong("slurry.large_particle_size", table["large_particle_size"], "above the mean particle size",
                    units.show(slurry.particle_size, "thickness"))  # fmt: skip


def _removal(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    for material, law in model.removal.items():
        yield from _law(f"removal.{material}", law, raw["removal"][material])
        reference = law.reference
        if reference.real_pressure is None:
            from planish.setup.parts import catalogue

            pads = catalogue("pad")
            if reference.pad not in pads:
                yield wrong(f"removal.{material}.reference.pad", reference.pad, "a catalogue pad",
                            nearest(str(reference.pad), pads))  # fmt: skip


def _law(place: str, law: RemovalSection, table: dict[str, Any]) -> Iterator[Finding]:
    names = LAWS[law.law]
    leading = SCALE.get(law.law)
    for name, value in law.coefficients.items():
        if name not in names:
            yield Finding("error", f"{place}.coefficients.{name}",
                          f"{place}.coefficients.{name}: unknown key for the law {law.law!r} "
                          f"({nearest(name, names)})")  # fmt: skip
            continue
        try:
            number = coefficient(names[name], value)
        except units.UnitError as error:
            yield wrong(f"{place}.coefficients.{name}", value, error.allowed, error.remedy)
            continue
        if number < 0.0 or (name == leading and number == 0.0):
            yield wrong(f"{place}.coefficients.{name}", value, "0 or more" if name != leading else "above 0")
    wanted = [name for name in names if name not in law.coefficients]
    if law.rate is not None:
        if leading is None:
            yield wrong(
                f"{place}.rate", table["rate"], f"left out for the law {law.law!r}", "give its coefficients"
            )
            return
        if leading in law.coefficients:
            yield wrong(f"{place}.rate", table["rate"], f"left out where {leading} is given", "say it once")
            return
        wanted.remove(leading)
        limit = law.coefficients.get("p_threshold")
        if law.law == "threshold" and isinstance(limit, str) and not wanted:
            try:
                too_high = coefficient("pressure", limit) >= law.reference.pressure
            except units.UnitError:
                return
            if too_high:
                yield wrong(f"{place}.coefficients.p_threshold", limit, "below the reference pressure",
                            units.show(law.reference.pressure, "pressure"))  # fmt: skip
    if wanted:
        either = f", or rate in place of {leading}" if leading in wanted else ""
        yield missing(f"{place}.coefficients", f"given with {', '.join(wanted)}{either}", f"law {law.law!r}")


def coefficient(dimension: str, value: Any) -> float:
    """Return a coefficient of a removal law in SI; bare numbers only where its unit depends on others."""
    if dimension == "number":
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise units.UnitError(value, "a bare finite number in SI")
        return float(value)
    return units.to_si(value, dimension)


def _vacuum(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    check = vacuum_hold(model)
    place, value = "head.vacuum_hold", raw["head"]["vacuum_hold"]
    if not check.holds:
        yield Finding("warning", place, f"{place} {value}: holds {check.margin:.2g} times what pulls on the wafer "
                      f"(weight {units.show(check.weight, 'pressure', 'si')}, water film "
                      f"{units.show(check.water_film, 'pressure', 'si')}, film stress "
                      f"{units.show(check.film_stress, 'pressure', 'si')}); {SAFETY:g} times is usual")  # fmt: skip
    if check.bends:
        yield Finding("warning", place, f"{place} {value}: bends the wafer by {units.show(check.sag, 'depth')} with "
                      f"{units.show(check.stress, 'stress')} across openings of "
                      f"{mm(model.head.vacuum_span)}")  # fmt: skip
