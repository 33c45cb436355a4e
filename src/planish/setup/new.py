"""Writing a complete, commented setup for a chosen motion."""

from __future__ import annotations

from typing import Any

from planish.errors import SetupError
from planish.setup.fields import KeyInfo, keys
from planish.setup.parts import Part, catalogue
from planish.setup.polisher import MOTIONS
from planish.setup.removal import REFERENCE
from planish.setup.resolve import AMBIENT

_HEADER = """\
# A polishing setup for planish: {what}.
# Values are text with their unit. A line that begins with "# key = ..." shows what the part named above it
# already says: take the # away to say something else. `planish parts` lists all parts with their sources.
# The numbers are an invented scenario, not a recipe for any tool: check what you run against the limits of
# the tool maker, the safety data sheets and local codes, with qualified staff, on monitor wafers first.
"""

_WHAT = {
    "rotary": "rotary polisher (turning platen), 300 mm wafer, oxide",
    "linear": "linear polisher (belt on a fluid bearing), 300 mm wafer, oxide",
    "orbital": "orbital polisher (orbiting pad, slurry fed through it), 300 mm wafer, oxide",
}

# What differs from the disk part, which is made for a 800 mm platen. On a belt the disk goes as far as the wafer,
# on an orbiting pad as far as the wafer comes on it: its radius and that of the orbit.
_SWEEP: dict[str, dict[str, Any]] = {
    "rotary": {},
    "linear": {"sweep.kind": "slide", "sweep.inner": "-150 mm", "sweep.outer": "150 mm"},
    # The wafer covers nearly the whole pad of an orbital polisher, so its pad is conditioned between wafers.
    "orbital": {
        "sweep.kind": "slide",
        "sweep.inner": "0 mm",
        "sweep.outer": "165 mm",
        "mode": "ex-situ",
        "ex_situ_time": "20 s",
    },
}

# Our own speeds, a main one and two thirds of it for the gentle steps. Rotary: about 1.9 m/s at the carrier axis, to
# 10 rpm (90 rpm on an offset of 200 mm: 1.88 m/s); the carrier 7 rpm slower, which makes it a prime, so that a
# wafer point comes back on its path only once a minute and slides evenly within 1 %. Linear: 2 m/s, and three fifths
# of it. Orbital: 1 m/s on an orbit of 15 mm (637 orbits/min), to 10; a prime for the carrier again.
_SPEEDS: dict[str, list[dict[str, Any]]] = {
    "rotary": [
        {"platen_speed": "60 rpm", "carrier_speed": "53 rpm"},
        {"platen_speed": "90 rpm", "carrier_speed": "83 rpm"},
        {"platen_speed": "60 rpm", "carrier_speed": "53 rpm"},
    ],
    "linear": [
        {"belt_speed": "1.2 m/s", "carrier_speed": "20 rpm"},
        {"belt_speed": "2 m/s", "carrier_speed": "20 rpm"},
        {"belt_speed": "1.2 m/s", "carrier_speed": "20 rpm"},
    ],
    "orbital": [
        {"orbit_speed": "430 orbits/min", "carrier_speed": "13 rpm"},
        {"orbit_speed": "640 orbits/min", "carrier_speed": "13 rpm"},
        {"orbit_speed": "430 orbits/min", "carrier_speed": "13 rpm"},
    ],
}


_DIE = [("process", "oxide"), ("step", "800 nm"), ("thickness", "1800 nm"), ("least_left", "400 nm"),
        ("wavelength", "193 nm"), ("aperture", 0.93), ("k2", 0.5)]  # fmt: skip


def recipe(motion: str) -> list[dict[str, Any]]:
    """Return the three steps of the scenario: touch down, main, buff."""
    first, main, buff = _SPEEDS[motion]
    in_situ = motion != "orbital"
    return [
        {"name": "touch down", "zone_pressures": "1.5 psi", "ring_pressure": "2.2 psi", **first,
         "flow": "250 ml/min", "conditioning": in_situ, "time": "10 s"},
        {"name": "main", "zone_pressures": ["3 psi"] * 5, "ring_pressure": "4.2 psi", **main,
         "flow": "250 ml/min", "conditioning": in_situ, "stop_on_removed": "550 nm", "max_time": "180 s"},
        {"name": "buff", "zone_pressures": "1 psi", "ring_pressure": "1.5 psi", **buff,
         "flow": "300 ml/min", "conditioning": False, "time": "15 s"},
    ]  # fmt: skip


def new_setup(motion: str) -> str:
    """Return a complete commented setup as TOML text, which `planish.setup.load.loads` accepts.

    Raises
    ------
    SetupError
        For a motion that is not rotary, linear or orbital.
    """
    if motion not in MOTIONS:
        raise SetupError(f"motion = {motion!r}: must be one of {', '.join(MOTIONS)}")
    known = {info.path: info for info in keys(motion)}
    lines = [_HEADER.format(what=_WHAT[motion]), f'title = "{motion} demo (invented scenario)"', ""]
    lines += ["[ambient]"]
    for key, (value, source) in AMBIENT.items():
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
    lines += _part("polisher", f"{motion}-300", {}, known)
    lines += _part("head", "five-zone-300", {}, known)
    lines += _part("pad", "hard-microporous", {}, known)
    lines += ["# Leave this table out for a pad that is never conditioned."]
    lines += _part("conditioner", "electroplated-100-grit", _SWEEP[motion], known)
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


def toml_value(value: Any) -> str:
    """Return a value as TOML on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    return repr(value)
