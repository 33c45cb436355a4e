"""Checks of the recipe against the machine it runs on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish import units
from planish.setup import paths
from planish.setup.finding import Finding, missing, nearest, wrong
from planish.setup.motions.known import MOTIONS
from planish.setup.recipe import SPEEDS, STOPS, StepSection
from planish.setup.root import SetupModel

LONGEST = 600.0  # [s] where a stop condition has no max_time


def check_recipe(model: SetupModel, raw: dict[str, Any]) -> list[Finding]:
    """Return what does not fit in the recipe.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.

    Returns
    -------
    list[Finding]
        A finding each.
    """
    found: list[Finding] = []
    for index, step in enumerate(model.recipe.step):
        table = raw["recipe"]["step"][index]
        place = paths.show(("recipe", "step", index), raw)
        found += _pressures(step, table, place, model)
        found += _speeds(step, table, place, model)
        found += _stop(step, table, place, model)
        if step.conditioning and model.conditioner is None:
            found.append(wrong(f"{place}.conditioning", True, "false", "the setup has no [conditioner]"))
    return found


def zone_list(step: StepSection, names: list[str]) -> list[float]:
    """Return one pressure a zone; the step is known to fit the zones.

    Parameters
    ----------
    step
        Of the recipe.
    names
        Of the zones, in the head's order.

    Returns
    -------
    list[float]
        [Pa], in that order.
    """
    given = step.zone_pressures
    if isinstance(given, dict):
        return [given[name] for name in names]
    if isinstance(given, tuple):
        return list(given)
    return [given] * len(names)


def _pressures(step: StepSection, table: dict[str, Any], place: str, model: SetupModel) -> Iterator[Finding]:
    names = [zone.name for zone in model.head.zone]
    given = step.zone_pressures
    where = f"{place}.zone_pressures"
    if isinstance(given, tuple) and len(given) != len(names):
        yield wrong(where, table["zone_pressures"], f"{len(names)} pressures, one a zone", ", ".join(names))
        return
    if isinstance(given, dict):
        for name in given:
            if name not in names:
                at = paths.join(where, name)
                yield Finding("error", at, f"{at}: no such zone ({nearest(name, names)})")
                return
        left = [name for name in names if name not in given]
        if left:
            yield missing(
                paths.join(where, left[0]), "given", "each zone needs its pressure: " + ", ".join(names)
            )
            return
    if model.head.ring is None and step.ring_pressure > 0.0:
        yield wrong(
            f"{place}.ring_pressure", table["ring_pressure"], "0 psi", "the head has no retaining ring"
        )
    pressed = max(zone_list(step, names))
    if model.head.kind == "rigid" and min(zone_list(step, names)) < pressed:
        yield wrong(where, table["zone_pressures"], "one pressure", "a rigid head presses everywhere alike")
    if model.head.ring is not None and step.ring_pressure == 0.0 and pressed > 0.0:
        text = f"{place}.ring_pressure is 0: the wafer can slip out under a ring that does not press"
        yield Finding("warning", f"{place}.ring_pressure", text)
    if pressed == 0.0:
        yield wrong(
            where,
            table["zone_pressures"],
            "above 0 psi in at least one zone",
            "leave out a step that does not press",
        )
    elif step.flow == 0.0:
        yield Finding("warning", f"{place}.flow", f"{place}.flow is 0: the wafer runs dry under pressure")
    bearing = step.bearing_pressures
    if bearing is not None:
        under = model.polisher.machine().bearing
        if under is None:
            owners = [kind.name for kind in MOTIONS if "bearing" in kind.model.model_fields]
            yield wrong(f"{place}.bearing_pressures", table["bearing_pressures"], "left out",
                        f"it belongs to the {_listed(owners)} motion, this polisher is {model.polisher.motion}")  # fmt: skip
        elif len(bearing) != under.pressures.size:
            yield wrong(f"{place}.bearing_pressures", table["bearing_pressures"],
                        f"{under.pressures.size} pressures, one a bearing zone")  # fmt: skip


def _speeds(step: StepSection, table: dict[str, Any], place: str, model: SetupModel) -> Iterator[Finding]:
    machine = model.polisher.machine()
    for key in SPEEDS:
        value = getattr(step, key)
        if key != machine.drive.key and value is not None:
            owners = [kind.name for kind in MOTIONS if kind.machine.drive.key == key]
            yield wrong(f"{place}.{key}", table[key], "left out",
                        f"it belongs to the {_listed(owners)} motion, this polisher is {machine.motion}")  # fmt: skip
        if key == machine.drive.key and value is None:
            yield missing(f"{place}.{key}", "given", f"the polisher is {machine.motion}")
    yield from model.polisher.step_notes(step, place)
    drive = getattr(step, machine.drive.key)
    if drive is None:
        return
    if machine.pad_speed(drive) == 0.0 and step.carrier_speed != 0.0 and machine.delivery == "top":
        text = f"{place}: the pad does not travel under the wafer: it brings no slurry and nothing is removed"
        yield Finding("warning", place, text)
    if drive == 0.0 and step.carrier_speed == 0.0:
        yield Finding("warning", place, f"{place}: nothing moves: the step removes nothing")


def _listed(owners: list[str]) -> str:
    return " and the ".join(owners)


def _stop(step: StepSection, table: dict[str, Any], place: str, model: SetupModel) -> Iterator[Finding]:
    given = [key for key in STOPS if getattr(step, key) is not None]
    if not given:
        yield missing(
            f"{place}.time", "given, or one of stop_on_removed, stop_on_remaining", "what ends the step?"
        )
        return
    if len(given) > 1:
        if given[0] == "time" and len(given) == 2:
            remedy = "for the longest time beside a stop condition write max_time"
        else:
            remedy = "say once what ends the step"
        yield wrong(place, " and ".join(given), f"one of {', '.join(STOPS)}", remedy)
        return
    if given == ["time"] and step.max_time is not None:
        yield wrong(f"{place}.max_time", table["max_time"], "left out beside time", "time ends the step")
    if given != ["time"] and step.max_time is None:
        yield Finding("note", f"{place}.max_time",
                      f"{place}.max_time not given: used {LONGEST:g} s (common practice, no source)")  # fmt: skip
    top = model.wafer.film[0].thickness
    removed = step.stop_on_removed
    if removed == 0.0:
        yield wrong(f"{place}.stop_on_removed", table["stop_on_removed"], "above 0 nm")
    total = sum(film.thickness or 0.0 for film in model.wafer.film)
    flat = all(film.thickness is not None for film in model.wafer.film)
    if flat and removed is not None and removed > total:
        yield wrong(f"{place}.stop_on_removed", table["stop_on_removed"], "at most what the films hold",
                    units.show(total, "thickness"))  # fmt: skip
    remaining = step.stop_on_remaining
    if remaining is not None and top is not None and remaining >= top:
        yield wrong(f"{place}.stop_on_remaining", table["stop_on_remaining"], "below the incoming thickness of the top film",
                    units.show(top, "thickness"))  # fmt: skip
