"""Writing a complete, commented setup for a chosen motion."""

from __future__ import annotations

from typing import Any

from planish.setup.changes import toml_value
from planish.setup.fields import KeyInfo, keys
from planish.setup.motions.known import MOTIONS
from planish.setup.part import Part
from planish.setup.parts import catalogue
from planish.setup.polisher import MotionKind
from planish.setup.removal import REFERENCE
from planish.setup.resolve import AMBIENT, SCHEMA

_HEADER = """\
# A polishing setup for planish: {what}.
# Values are text with their unit. A line that begins with "# key = ..." shows what the part named above it
# already says: take the # away to say something else. `planish parts` lists all parts with their sources.
# The numbers are an invented scenario, not a recipe for any tool: check what you run against the limits of
# the tool maker, the safety data sheets and local codes, with qualified staff, on monitor wafers first.
"""

_DIE = [("process", "oxide"), ("step", "800 nm"), ("thickness", "1800 nm"), ("least_left", "400 nm"),
        ("wavelength", "193 nm"), ("aperture", 0.93), ("k2", 0.5)]  # fmt: skip


def recipe(motion: str) -> list[dict[str, Any]]:
    """Return the three steps of the scenario: touch down, main, buff."""
    kind = MOTIONS.get(motion)
    in_situ = kind.disk.get("mode") != "ex-situ"
    return [
        {"name": "touch down", "zone_pressures": "1.5 psi", "ring_pressure": "2.2 psi", **kind.gentle,
         "flow": "250 ml/min", "conditioning": in_situ, "time": "10 s"},
        {"name": "main", "zone_pressures": ["3 psi"] * 5, "ring_pressure": "4.2 psi", **kind.main,
         "flow": "250 ml/min", "conditioning": in_situ, "stop_on_removed": "550 nm", "max_time": "180 s"},
        {"name": "buff", "zone_pressures": "1 psi", "ring_pressure": "1.5 psi", **kind.gentle,
         "flow": "300 ml/min", "conditioning": False, "time": "15 s"},
    ]  # fmt: skip


def new_setup(motion: str) -> str:
    """Return a complete commented setup as TOML text, which `planish.setup.load.loads` accepts.

    Raises
    ------
    SetupError
        For a motion that is not registered.
    """
    kind = MOTIONS.get(motion)
    known = {info.path: info for info in keys(motion)}
    lines = [
        _HEADER.format(what=f"{kind.what}, 300 mm wafer, oxide"),
        f"schema = {SCHEMA}  # version of this file's keys",
        f'title = "{motion} demo (invented scenario)"',
        "",
    ]
    lines += ["[ambient]"]
    for key, (value, source) in AMBIENT.items():
        if key == "platen_temperature" and not kind.machine.on_platen:
            continue  # a belt has no platen
        lines += [_line(key, value, known[f"ambient.{key}"]) + f"; {source}"]
    lines += [""]
    lines += _part("wafer", "silicon-300", {}, known)
    film = [("name", "field oxide"), ("material", "oxide"), ("thickness", "1000 nm")]
    lines += ["[[wafer.film]]  # the film on top first; repeat the table for those below"]
    lines += [_line(key, value, known[f"wafer.film.*.{key}"]) for key, value in film]
    lines += [
        '# profile = [["0 mm", "1010 nm"], ["150 mm", "990 nm"]]  # in place of thickness: over radius',
        '# sites = "incoming.csv"  # in place of thickness: a measured site file beside this one',
        "",
    ]
    lines += _polisher(kind, known)
    lines += _part("head", "five-zone-300", {}, known)
    lines += _part("pad", "hard-microporous", {}, known)
    lines += ["# Leave this table out for a pad that is never conditioned."]
    lines += _part("conditioner", "electroplated-100-grit", dict(kind.disk), known)
    lines += _part("slurry", "fumed-silica-oxide", {}, known)
    lines += _removal(known)
    told: set[str] = set()  # each key is explained once
    for index, step in enumerate(recipe(motion)):
        lines += [f"[[recipe.step]]  # step {index + 1}"]
        for key, value in step.items():
            lines += [_line(key, value, known[f"recipe.step.*.{key}"], brief=key in told)]
        lines += [""]
        told |= set(step)
    lines += [
        "[die]  # what stands on the die before polishing, for `planish die`; options there override it"
    ]
    lines += [_line(key, value, known[f"die.{key}"]) for key, value in _DIE]
    lines += [
        '# A measured planarization length takes the place of the pad\'s own: planarization_length = "4 mm"',
        "",
    ]
    return "\n".join(lines)


def _polisher(kind: MotionKind, known: dict[str, KeyInfo]) -> list[str]:
    """Return the machine: a catalogue part by name, any other with its values."""
    part = kind.part(0.3)
    if part.name in catalogue("polisher"):
        return _part("polisher", part.name, {}, known)
    lines = [f"[polisher]  # {part.summary}", f'motion = "{kind.name}"']
    for key, entry in part.values.items():
        if key != "motion":
            lines.append(_line(key, entry.value, known[f"polisher.{key}"]) + f"; {entry.source}")
    return [*lines, ""]


def _part(section: str, name: str, own: dict[str, Any], known: dict[str, KeyInfo]) -> list[str]:
    part = catalogue(section)[name]
    lines = [f"[{section}]  # {part.summary}"]
    others = ", ".join(n for n in known[f"{section}.part"].parts if n != name)
    lines += [f'part = "{name}"' + (f"  # or {others}" if others else "")]
    for key, value in own.items():
        lines.append(_line(key, value, known[f"{section}.{key}"]))
    for key, entry in part.values.items():
        if key in own or key.startswith("removal.") or key == "motion":
            continue
        info = known.get(f"{section}.{key}", KeyInfo(key, _LISTS.get(f"{section}.{key}", "")))
        spread = f"; spread {entry.spread}" if entry.spread else ""
        lines.append("# " + _line(key, entry.value, info) + f"{spread}; {entry.source}")
    return [*lines, ""]


_LISTS = {
    "head.zone": "membrane zones from the centre outwards",
    "polisher.bearing.zone": "support zones of the fluid bearing, inside out",
}


def _removal(known: dict[str, KeyInfo]) -> list[str]:
    part: Part = catalogue("slurry")["fumed-silica-oxide"]
    lines = ["# How fast the films go. The slurry part says it for its films; say your own here."]
    lines += ["# [removal.oxide]"]
    for key in ("law", "rate", "spread", "activation_energy"):
        entry = part.values[f"removal.oxide.{key}"]
        lines.append("# " + _line(key, entry.value, known[f"removal.*.{key}"]) + f"; {entry.source}")
    lines += ["# [removal.oxide.reference]"]
    for key, (value, source) in REFERENCE.items():
        lines.append("# " + _line(key, value, known[f"removal.*.reference.{key}"]) + f"; {source}")
    return [*lines, ""]


def _line(key: str, value: Any, info: KeyInfo, brief: bool = False) -> str:
    """Return one line of TOML with what the key means, its unit's typical range and its choices."""
    line = f"{key} = {toml_value(value)}"
    if brief:
        return line
    words = [info.description, info.usual]
    if info.choices:
        words.append("one of " + ", ".join(info.choices))
    return line + "  # " + "; ".join(word for word in words if word)
