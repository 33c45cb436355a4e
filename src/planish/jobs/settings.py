"""What can be set in a setup? Each setting with unit, sensible range, where its value comes from, its spread."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias

from planish import units
from planish.setup import paths
from planish.setup.clean import USUAL
from planish.setup.fields import KeyInfo
from planish.setup.fields import keys as known_keys
from planish.setup.resolve import Origin

if TYPE_CHECKING:
    from planish.setup.models import Setup

Keys: TypeAlias = tuple[paths.Key, ...]

WIDE = 40.0  # largest over smallest, above which a typical range is too wide for one slider
_NOT_SAID = Origin(None, "default", "what holds where the setup does not say it")
_HIDDEN = (
    "removal.*.coefficients",
    "polisher.motion",
    "wafer.film.*.profile",
    "pad.surface.heights",
    "clean.step.*.kind",
)


def describe(setup: Setup) -> list[dict[str, Any]]:
    """Return every setting that has a value or could be switched on, each with what is known about it.

    ``value`` and ``typical``, the ends of the usual range, are in SI; ``moves`` says whether any answer goes with it; ``units`` gives for the trade and for SI the unit's name with factor and offset:
    shown = (value - offset) / factor.
    """
    out: list[dict[str, Any]] = []
    tree = setup.tree
    for info in known_keys(setup.motion):
        if info.path in _HIDDEN or info.path.startswith("fitted.") or info.path.endswith(".part"):
            continue
        silent = [tuple(info.path.split("."))] if _silent(info, tree) else []
        for place in _spread_out(info.path, tree) or silent:
            field = _field(info, place, setup)
            if field is not None:
                out.append(field)
    return out


def usual_cleaning() -> list[dict[str, str]]:
    """Return the cleaning steps that a setup without any may begin with, as it would hold them."""
    return [dict(step) for step in USUAL]


def prices(setup: Setup) -> list[dict[str, Any]]:
    """Return every key of what things cost, with its meaning, and what the setup says of it; None where it says nothing.

    Parameters
    ----------
    setup
        As it is.
    """
    given = setup.tree.get("cost", {})
    return [
        {
            "path": info.path,
            "label": info.path.split(".")[1].replace("_", " "),
            "about": info.description,
            "quantity": bool(info.dimension),
            "text": given.get(info.path.split(".")[1]),
        }
        for info in known_keys(setup.motion)
        if info.path.startswith("cost.")
    ]


def _silent(info: KeyInfo, tree: Any) -> bool:
    """Return whether the table of a key that parts leave out is there, and the key is not."""
    *tables, key = info.path.split(".")
    for table in tables:
        tree = tree.get(table) if isinstance(tree, dict) else None
    return info.unsaid is not None and isinstance(tree, dict) and key not in tree


def step_paths(setup: Setup) -> list[str]:
    """Return the dotted path of each step, in order."""
    tree = setup.tree
    return [paths.show(("recipe", "step", at), tree) for at in range(len(tree["recipe"]["step"]))]


def _spread_out(pattern: str, tree: Any) -> list[Keys]:
    """Return the places of a pattern that hold a value."""
    found: list[tuple[Keys, Any]] = [((), tree)]
    for step in pattern.split("."):
        following: list[tuple[Keys, Any]] = []
        for keys, here in found:
            inside = range(len(here)) if isinstance(here, list) else here if isinstance(here, dict) else ()
            following += [((*keys, key), here[key]) for key in inside if step in ("*", key)]
        found = following
    leaves: list[Keys] = []
    for keys, value in found:
        if keys[-1] == "zone_pressures" and isinstance(value, list | dict):
            leaves += [(*keys, key) for key in (value if isinstance(value, dict) else range(len(value)))]
        elif isinstance(value, str | int | float | bool):
            leaves.append(keys)
    return leaves


def _field(info: KeyInfo, keys: Keys, setup: Setup) -> dict[str, Any] | None:
    path = paths.show(keys, setup.tree)
    silent = _silent(info, setup.tree)
    text: Any = info.unsaid if silent else setup.get(path)
    origin = _NOT_SAID if silent else _origin(keys, setup)
    name = info.path.rsplit(".", 1)[-1]
    field: dict[str, Any] = {
        "path": path,
        "part": _part_of(keys),
        "label": _label(keys, name, setup),
        "about": info.description,
        "text": text,
        "origin": origin.origin if origin else "setup",
        "source": origin.source if origin else "given in the setup",
        "spread": origin.spread if origin else "",
    }
    if isinstance(text, bool):
        return {**field, "kind": "switch"}
    if info.choices:
        return {**field, "kind": "choice", "choices": list(info.choices)}
    if not info.dimension:
        return {**field, "kind": "text"}
    value = text if isinstance(text, int | float) else units.to_si(text, info.dimension)
    low, high = _range(info, float(value))
    return {
        **field,
        "kind": "number",
        "value": value,
        "dimension": info.dimension,
        "low": low,
        "high": high,
        "usual": f"{info.usual} ({info.source})" if info.usual else "",
        "typical": info.typical,
        "moves": not info.descriptive,
        "units": {system: number_unit(info.dimension, system) for system in ("trade", "si")},
    }


def _origin(keys: Keys, setup: Setup) -> Origin | None:
    tree = setup.tree
    for depth in range(len(keys), 0, -1):
        path = paths.show(keys[:depth], tree)
        if path in setup.origins:
            return setup.origins[path]
    return None


def _part_of(keys: Keys) -> str:
    section = str(keys[0])
    if keys[:2] == ("head", "ring") or keys[-1] == "ring_pressure":
        return "ring"
    if section == "recipe":
        key = str(keys[3])
        return {"zone_pressures": "head", "flow": "slurry", "conditioning": "conditioner"}.get(key, "recipe")
    return {"removal": "slurry", "ambient": "polisher"}.get(section, section)


def _label(keys: Keys, name: str, setup: Setup) -> str:
    if "zone_pressures" in keys:
        last = keys[-1]
        if last == "zone_pressures":
            return "pressure, all zones"
        zone = setup.model.head.zone[last].name if isinstance(last, int) else last
        return f"pressure, {zone} zone"
    words = name.replace("_", " ")
    steps = [str(key + 1) if isinstance(key, int) else key for key in keys]
    if steps[0] == "pad" and steps[1] in ("top", "sub", "grooves", "surface") and len(steps) > 2:
        return {"top": "top pad: ", "sub": "sub-pad: ", "grooves": "grooves: ", "surface": "summits: "}[
            steps[1]
        ] + words
    if steps[0] == "removal":
        return f"{steps[1]}: " + " ".join(steps[2:]).replace("_", " ")
    if keys[:2] in (("wafer", "film"), ("head", "zone")):
        holder = setup.get(paths.show(keys[:3], setup.tree))
        own = holder.get("name") or holder.get("material") or steps[2]
        return f"{own}: {words}"
    if keys[:2] == ("clean", "step"):
        holder = setup.get(paths.show(keys[:3], setup.tree))
        return f"{holder.get('name') or holder['kind']}: {words}"
    if steps[:2] == ["conditioner", "sweep"]:
        return "sweep: " + words
    if "bearing" in steps:
        return "bearing: " + " ".join(step for step in steps[2:] if step != "zone").replace("_", " ")
    return words


def _range(info: KeyInfo, value: float) -> tuple[float, float]:
    """Return where a slider runs: the typical range and the value, with room on both sides; never past a limit.

    A typical range of many decades gives the ground round the value: over all of it a slider would only jump.
    """
    if info.typical is not None and value > 0 and info.typical[1] > WIDE * info.typical[0] >= 0:
        low, high = max(0.25 * value, info.typical[0]), min(3.0 * value, info.typical[1])
        low, high = min(low, value), max(high, value)
    elif info.typical is not None and info.typical[1] > info.typical[0]:
        low, high = info.typical
        reach = 0.25 * (high - low)
        low, high = min(low - reach, value), max(high + reach, value)
        if info.typical[0] >= 0 and value >= 0 and info.dimension != "temperature":
            low = max(low, 0.0)
    elif value:
        low, high = sorted((0.25 * value, 3.0 * value))
    else:
        low, high = 0.0, 1.0
    if info.low is not None and math.isfinite(info.low):
        low = max(low, info.low)
    if info.high is not None and math.isfinite(info.high):
        high = min(high, info.high)
    if low <= 0.0 < value and info.typical is not None and info.typical[0] > 0:
        low = min(0.1 * info.typical[0], value)  # a slider does not end where the value would mean nothing
    return low, max(high, low)


# SI units with the prefixes that people would pick.
_SI = {
    "length": "mm", "depth": "um", "thickness": "nm", "pressure": "kPa", "modulus": "MPa", "stress": "MPa",
    "rate": "nm/s", "flow": "ml/s", "viscosity": "mPa*s", "areal_density": "1/mm^2", "density": "kg/m^3",
    "energy_per_mol": "kJ/mol", "force_per_length": "kN/m", "stiffness_per_area": "kPa/um", "speed": "m/s",
}  # fmt: skip


def number_unit(dimension: str, system: Any) -> dict[str, Any]:
    """Return the unit that a setting is shown and written in.

    Parameters
    ----------
    dimension
        Of the setting.
    system
        "trade" or "si".

    Returns
    -------
    dict[str, Any]
        ``name`` for a reader, ``write`` for a setup file, ``factor`` and ``offset``: shown = (SI value - offset) / factor.
    """
    unit = _SI.get(dimension) if system == "si" else None
    unit = unit or units.unit_of(dimension, system)
    if dimension == "ratio":
        return {"name": "", "write": "", "factor": 1.0, "offset": 0.0}
    factor, offset = units.factor_offset(unit, dimension)
    return {"name": units.pretty(unit), "write": unit, "factor": factor, "offset": offset}
