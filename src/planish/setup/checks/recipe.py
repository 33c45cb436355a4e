"""Checks of the recipe against the machine it runs on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish import units
from planish.setup.finding import Finding, missing, nearest, wrong
from planish.setup.polisher import LinearPolisher, RotaryPolisher
from planish.setup.recipe import SPEED_OF, STOPS, StepSection
from planish.setup.root import SetupModel

LONGEST = 600.0  # [s] where a stop condition has no max_time


def check_recipe(model: SetupModel, raw: dict[str, Any]) -> list[Finding]:
    """Return what does not fit in the recipe."""
    found: list[Finding] = []
    for index, step in enumerate(model.recipe.step):
        table = raw["recipe"]["step"][index]
        place = f"recipe.step.{index}"
        found += _pressures(step, table, place, model)
        found += _speeds(step, table, place, model)
        found += _stop(step, table, place, model)
        if step.conditioning and model.conditioner is None:
            found.append(wrong(f"{place}.conditioning", True, "false", "the setup has no [conditioner]"))
    return found


def zone_list(step: StepSection, names: list[str]) -> list[float]:
    """Return one pressure [Pa] a zone; the step is known to fit the zones."""
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
                yield Finding(
                    "error", f"{where}.{name}", f"{where}.{name}: no such zone ({nearest(name, names)})"
                )
                return
        left = [name for name in names if name not in given]
        if left:
            yield missing(f"{where}.{left[0]}", "given", "each zone needs its pressure: " + ", ".join(names))
            return
    if model.head.ring is None and step.ring_pressure > 0.0:
        yield wrong(
            f"{place}.ring_pressure", table["ring_pressure"], "0 psi", "the head has no retaining ring"
        )
    pressed = max(zone_list(step, names))
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
        if not isinstance(model.polisher, LinearPolisher):
            yield wrong(f"{place}.bearing_pressures", table["bearing_pressures"], "left out",
                        f"it belongs to the linear motion, this polisher is {model.polisher.motion}")  # fmt: skip
        elif len(bearing) != len(model.polisher.bearing.zone):
            yield wrong(f"{place}.bearing_pressures", table["bearing_pressures"],
                        f"{len(model.polisher.bearing.zone)} pressures, one a bearing zone")  # fmt: skip


def _speeds(step: StepSection, table: dict[str, Any], place: str, model: SetupModel) -> Iterator[Finding]:
    motion = model.polisher.motion
    for key, owner in SPEED_OF.items():
        value = getattr(step, key)
        if owner != motion and value is not None:
            yield wrong(f"{place}.{key}", table[key], "left out",
                        f"it belongs to the {owner} motion, this polisher is {motion}")  # fmt: skip
        if owner == motion and value is None:
            yield missing(f"{place}.{key}", "given", f"the polisher is {motion}")
    if motion == "rotary" and step.platen_speed is not None:
        if step.platen_speed == step.carrier_speed and step.platen_speed != 0.0:
            text = (
                f"{place}: platen and carrier both at {units.show(step.carrier_speed, 'angular_speed')}: the speed "
                "is the same everywhere, but locked turns let wafer points retrace their path; "
                "a few rpm apart is usual"
            )
            yield Finding("note", f"{place}.carrier_speed", text)
        elif step.platen_speed * step.carrier_speed < 0.0:
            text = f"{place}: platen and carrier turn against each other: the wafer edge is much faster than its centre"
            yield Finding("note", f"{place}.carrier_speed", text)
    still = (
        motion == "rotary"
        and isinstance(model.polisher, RotaryPolisher)
        and (step.platen_speed == 0.0 or model.polisher.centre_offset == 0.0)
    )
    still = still or (motion == "linear" and step.belt_speed == 0.0)
    if still and step.carrier_speed != 0.0 and model.polisher.delivery == "top":
        text = f"{place}: the pad does not travel under the wafer: it brings no slurry and nothing is removed"
        yield Finding("warning", place, text)
    if (
        getattr(step, next(k for k, m in SPEED_OF.items() if m == motion)) == 0.0
        and step.carrier_speed == 0.0
    ):
        yield Finding("warning", place, f"{place}: nothing moves: the step removes nothing")


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
