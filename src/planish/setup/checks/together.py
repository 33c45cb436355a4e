"""Checks that need more than one value of a setup: does it fit together?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from planish import units
from planish.errors import PlanishError
from planish.setup import paths
from planish.setup.attached import film_sites
from planish.setup.checks.clean import check_clean
from planish.setup.checks.dissolved import check_dissolved
from planish.setup.checks.fitted import check_fitted
from planish.setup.checks.machine import check_conditioner, check_pad, check_polisher
from planish.setup.checks.recipe import check_recipe
from planish.setup.checks.removal import check_removal
from planish.setup.checks.vacuum import SAFETY, vacuum_hold
from planish.setup.finding import HAIR, Finding, mm, nearest, wrong
from planish.setup.processes import PROCESSES, knowing
from planish.setup.quantity import PRACTICE
from planish.setup.resolve import FILM_KEYS, Resolved
from planish.setup.root import SetupModel


def crosscheck(model: SetupModel, resolved: Resolved, folder: Path | None) -> list[Finding]:
    """Return all that does not fit together in a setup whose single values are sound.

    Parameters
    ----------
    model
        The setup as read.
    resolved
        The same with parts and defaults filled in.
    folder
        Where its files lie; None where it has no folder.

    Returns
    -------
    list[Finding]
        A finding each.
    """
    raw = resolved.tree
    found: list[Finding] = []
    found.extend(_ambient(model, raw, resolved))
    for check in (_wafer(model, raw, folder), _head(model, raw), check_polisher(model, raw)):
        found.extend(check)
    found.extend(check_pad(model, raw, folder))
    found.extend(check_conditioner(model, raw))
    found.extend(_slurry(model, raw))
    found.extend(check_dissolved(model, resolved))
    found.extend(check_removal(model, raw, resolved.catalogue["pad"]))
    found.extend(check_recipe(model, raw))
    found.extend(_vacuum(model, raw))
    found.extend(check_clean(model, raw))
    found.extend(_die(model, raw))
    found.extend(check_fitted(model, raw))
    return found


def _wafer(model: SetupModel, raw: dict[str, Any], folder: Path | None) -> Iterator[Finding]:
    wafer = model.wafer
    radius = wafer.diameter / 2.0
    if wafer.edge_exclusion >= radius:
        yield wrong("wafer.edge_exclusion", raw["wafer"]["edge_exclusion"], f"below the radius, {mm(radius)}")
    names: set[str] = set()
    for index, film in enumerate(wafer.film):
        place = paths.show(("wafer", "film", index), raw)
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
                f"a material with a [{paths.join('removal', film.material)}] table",
                known,
            )
        if film.profile is not None:
            radii = [r for r, _ in film.profile]
            if any(b - a <= HAIR for a, b in pairwise(radii)):
                yield wrong(f"{place}.profile", [mm(r) for r in radii], "given at increasing radii")
            elif radii[-1] > radius + HAIR:
                yield wrong(f"{place}.profile", mm(radii[-1]), f"within the wafer radius, {mm(radius)}")
            elif radii[-1] < radius - wafer.edge_exclusion - HAIR:
                text = f"ends at {mm(radii[-1])}: taken as flat from there to the edge"
                yield Finding("note", f"{place}.profile", f"{place}.profile {text}")
        if film.sites is not None:
            yield from _sites(film.sites, folder, f"{place}.sites", radius)

    if wafer.bow_from_stress and not any(film.stress for film in wafer.film):
        yield wrong("wafer.bow_from_stress", True, "false, or a film with a stress",
                    "say the stress of a film that bends the wafer")  # fmt: skip


def _ambient(model: SetupModel, raw: dict[str, Any], resolved: Resolved) -> Iterator[Finding]:
    place = "ambient.platen_temperature"
    given = place in resolved.origins and resolved.origins[place].origin == "setup"
    if given and not model.polisher.machine().on_platen:
        text = f"{place} {raw['ambient']['platen_temperature']}: says nothing of a belt"
        yield Finding("note", place, f"{text} (its pad comes back as warm as the room: ambient.temperature)")


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
        place = paths.show(("head", "zone", index, "outer_radius"), raw)
        if zone.outer_radius <= inner + HAIR:
            yield wrong(
                place, raw["head"]["zone"][index]["outer_radius"], f"above {mm(inner)}, where the zone begins"
            )
            return
        narrowest = min(narrowest, zone.outer_radius - inner)
        inner = zone.outer_radius
    if abs(inner - radius) > 1e-6:
        yield wrong(
            paths.show(("head", "zone", len(zones) - 1, "outer_radius"), raw),
            raw["head"]["zone"][-1]["outer_radius"],
            f"the wafer radius, {mm(radius)}",
            "the last zone reaches the wafer edge",
        )
    names = [zone.name for zone in zones]
    for index, name in enumerate(names):
        if name in names[:index]:
            yield wrong(f"head.zone.{index + 1}.name", name, "a name no other zone has")
    if head.kind == "rigid" and "back_film" not in raw["head"]:
        used = f"used {units.show(head.back_film, 'stiffness_per_area')} ({PRACTICE})"
        yield Finding("note", "head.back_film", f"head.back_film not given: {used}")
    for key in ("gimbal_height", "back_film"):
        if head.kind == "membrane" and key in raw["head"]:
            text = f"head.{key} {raw['head'][key]}: says nothing of a head with a membrane"
            yield Finding("note", f"head.{key}", f"{text} (head.kind = 'rigid' has it)")
    if len(zones) > 1 and head.wall_width > narrowest + HAIR:
        yield wrong(
            "head.wall_width", raw["head"]["wall_width"], f"at most the narrowest zone, {mm(narrowest)}"
        )


def _slurry(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    slurry, table = model.slurry, raw["slurry"]
    if slurry.large_particle_size <= slurry.particle_size:
        yield wrong("slurry.large_particle_size", table["large_particle_size"], "above the mean particle size",
                    units.show(slurry.particle_size, "thickness"))  # fmt: skip
    still = [
        material
        for material, law in model.removal.items()
        if law.reference.abrasive_fraction and slurry.abrasive_fraction == 0.0
    ]
    if still:
        yield Finding("warning", "slurry.abrasive_fraction",
                      f"slurry.abrasive_fraction {table['abrasive_fraction']}: {', '.join(still)} measured with abrasive "
                      "will not go at all without any (give the reference condition that the slurry without abrasive was "
                      "measured at)")  # fmt: skip


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


def _die(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    die = model.die
    if die is None:
        return
    given = die.given
    for key in raw["die"]:
        meant = knowing(key)
        if meant and die.process not in meant:
            yield wrong(f"die.{key}", raw["die"][key], f"left out for {die.process}",
                        f"it speaks of {' or '.join(meant)}")  # fmt: skip
    for key, name in given.items():
        if isinstance(name, str) and name not in model.removal:
            yield wrong(f"die.{key}", name, f"a material with a [removal.{name}] table",
                        nearest(name, model.removal))  # fmt: skip
    known = PROCESSES.get(die.process).level
    own = {key: value for key, value in given.items() if key in known.known_keys()}
    for key, words in known.described(own).doubts():
        if key in own:
            yield Finding("warning", f"die.{key}", f"die.{key} {raw['die'][key]}: {words}")
