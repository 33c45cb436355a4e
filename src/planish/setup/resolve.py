"""From the document as written to one in which every value stands: parts and defaults filled in.

Each value filled in is remembered with where it came from, so that results can
list the sources they rest on, and each default used is a note.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from planish import units
from planish.errors import PlanishError
from planish.physics.removal.laws import LAWS
from planish.setup import paths
from planish.setup.finding import nearest
from planish.setup.motions.known import MOTIONS
from planish.setup.part import KINDS, Part, PartValue
from planish.setup.part_folders import part_folders
from planish.setup.parts import PART_KINDS, catalogue
from planish.setup.quantity import PRACTICE
from planish.setup.removal import REFERENCE, REFERENCE_CONTENTS

STIFFNESS_KEYS = ("shore_d", "shore_a", "modulus", "polymer_modulus", "polymer_shore_d")
FILM_KEYS = ("thickness", "profile", "sites")
OPTIONAL_TABLES = (("head", "ring"), ("pad", "sub"), ("pad", "grooves"))
TOP_KEYS = (
    "schema",
    "title",
    "parts_folders",
    "ambient",
    "wafer",
    "polisher",
    "head",
    "pad",
    "conditioner",
    "slurry",
    "removal",
    "recipe",
    "clean",
    "cost",
    "die",
    "fitted",
)
# Version of the setup file's keys and what they mean; a file without the key is of the oldest.
SCHEMA = OLDEST_SCHEMA = 1
YOURS = "given in the setup"
FITTED = "fitted to measurements"

AMBIENT = {"temperature": ("22 degC", PRACTICE), "platen_temperature": ("22 degC", PRACTICE)}


class MisfitError(PlanishError):
    """A place in the document that cannot be resolved; `place` is its dotted path."""

    def __init__(self, place: str, message: str) -> None:
        self.place = place
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one value came from: "setup", "part NAME" or "default", with source and spread."""

    value: Any
    origin: str
    source: str
    spread: str = ""


@dataclass(slots=True)
class Resolved:
    """The filled-in document, the origin of each value by dotted path, and notes on defaults."""

    tree: dict[str, Any] = field(default_factory=dict)
    origins: dict[str, Origin] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    parts: dict[str, str] = field(default_factory=dict)
    catalogue: dict[str, Mapping[str, Part]] = field(default_factory=dict)


def resolve(document: dict[str, Any], folder: Path | None = None) -> Resolved:
    """Return a document with parts and defaults filled in.

    Parameters
    ----------
    document
        Tables as written.
    folder
        To which the folders it names are relative; None where it has none.

    Returns
    -------
    Resolved
        With notes on what was filled in, and from where.

    Raises
    ------
    MisfitError
        For an unknown section or part, a section that is no table, a missing motion.
    """
    out = Resolved()
    for key in document:
        if key not in TOP_KEYS:
            raise MisfitError(key, f"{key}: unknown key ({nearest(key, TOP_KEYS)})")
    _schema(document)
    if "title" in document:
        out.tree["title"] = document["title"]
    if "parts_folders" in document:
        out.tree["parts_folders"] = deepcopy(document["parts_folders"])
    out.catalogue = _catalogue(document, folder)
    _ambient(document, out)
    slurry_part: Part | None = None
    for section in KINDS:
        part = _section(section, document, out)
        if section == "slurry":
            slurry_part = part
    _no_platen(out)
    for section, key in OPTIONAL_TABLES:
        table = out.tree.get(section)
        if isinstance(table, dict) and table.get(key) == "none":
            table[key] = None
    _removal(document, out, slurry_part)
    for section in ("recipe", "clean", "cost", "die", "fitted"):
        if section in document:
            out.tree[section] = deepcopy(document[section])
            _remember_own(section, document[section], out)
    _fitted(out)
    return out


def fitted_value(key: str, tree: Mapping[str, Any]) -> Any:
    """Return what a filled-in document says of a key that was fitted; None where it says nothing.

    Parameters
    ----------
    key
        Its dotted path.
    tree
        The document.

    Raises
    ------
    SetupError
        For a path that leads nowhere.
    """
    here: Any = tree
    for step in paths.resolve(key, tree, grow=True):
        here = paths.step_into(here, step)
    return here


def _fitted(out: Resolved) -> None:
    """Take the spread of each value that still is as it was fitted; what is wrong with the table, others say."""
    table = out.tree.get("fitted")
    if not isinstance(table, dict) or not isinstance(table.get("value"), list):
        return
    for row in table["value"]:
        if not isinstance(row, dict) or not isinstance(row.get("spread"), str):
            continue
        try:
            place = paths.show(paths.resolve(row.get("key", ""), out.tree, grow=True), out.tree)
            now = fitted_value(row["key"], out.tree)
        except (PlanishError, KeyError):
            continue
        if now is not None and now == row.get("value"):
            out.origins[place] = Origin(now, "setup", f"{FITTED}, {table.get('date')}", row["spread"])


def _schema(document: dict[str, Any]) -> None:
    """Refuse a setup of a newer schema than this planish knows; without the key it is of the oldest."""
    schema = document.get("schema", OLDEST_SCHEMA)
    if isinstance(schema, bool) or not isinstance(schema, int) or schema < OLDEST_SCHEMA:
        allowed = f"a whole number from {OLDEST_SCHEMA} to {SCHEMA}"
        raise MisfitError("schema", f"schema = {_short(schema)}: must be {allowed}")
    if schema > SCHEMA:
        raise MisfitError(
            "schema",
            f"schema = {schema}: must be at most {SCHEMA} here: written for a newer planish (install a newer planish)",
        )


def _catalogue(document: dict[str, Any], folder: Path | None) -> dict[str, Mapping[str, Part]]:
    """Return the parts that the setup may name, kind by kind."""
    try:
        folders = part_folders(document, folder)
    except PlanishError as error:
        raise MisfitError("parts_folders", str(error)) from error
    try:
        return {kind: catalogue(kind, folders) for kind in PART_KINDS}
    except PlanishError as error:
        raise MisfitError("", str(error)) from error


def _table(document: dict[str, Any], section: str) -> dict[str, Any] | None:
    value = document.get(section)
    if value is None or isinstance(value, dict):
        return value
    raise MisfitError(section, f"{section} = {_short(value)}: must be a table, written [{section}]")


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _ambient(document: dict[str, Any], out: Resolved) -> None:
    own = _table(document, "ambient") or {}
    merged = dict(own)
    _remember_own("ambient", own, out)
    for key, (value, source) in AMBIENT.items():
        if key not in own:
            merged[key] = value
            _remember_default(f"ambient.{key}", value, source, "", out)
    out.tree["ambient"] = merged


def _no_platen(out: Resolved) -> None:
    """Take back the note on the platen's temperature for a machine that has none: nothing there uses it."""
    motion = out.tree["polisher"].get("motion")
    if isinstance(motion, str) and motion in MOTIONS and not MOTIONS.get(motion).machine.on_platen:
        out.notes = [
            note for note in out.notes if not note.startswith("ambient.platen_temperature not given")
        ]


def _section(section: str, document: dict[str, Any], out: Resolved) -> Part | None:
    """Fill in one section; return the part whose removal laws may be used."""
    if section == "conditioner" and document.get(section) in (None, "none"):
        out.tree[section] = None
        return None
    own = _table(document, section)
    parts = out.catalogue[section]
    named = own.get("part") if own is not None else None
    if named is not None:
        if not isinstance(named, str) or named not in parts:
            raise MisfitError(
                f"{section}.part",
                f"{section}.part = {_short(named)}: must be a catalogue part ({nearest(str(named), parts)})",
            )
        part = parts[named]
    else:
        part = (
            _default_polisher(own, _diameter(document, out.catalogue["wafer"]))
            if section == "polisher"
            else parts[_default_part(section, _diameter(document, out.catalogue["wafer"]))]
        )
    out.parts[section] = part.name if named is not None or own is None else ""
    if own is None:
        out.notes.append(f"{section} not given: used the part {part.name!r}")
    mine = {k: v for k, v in (own or {}).items() if k != "part"}
    if section == "polisher":
        _same_motion(mine, part, named)
    origin = f"part {part.name}" if named is not None or own is None else "default"
    out.tree[section] = _merge(section, part, mine, origin, out)
    return part if named is not None or own is None else None


def _default_polisher(own: dict[str, Any] | None, diameter: float) -> Part:
    """Return the part whose values stand in for what is not given, of the motion that is."""
    motion = (own or {}).get("motion")
    if not isinstance(motion, str) or motion not in MOTIONS:
        shown = "not given" if motion is None else f"= {_short(motion)}"
        raise MisfitError(
            "polisher.motion", f"polisher.motion {shown}: must be one of {', '.join(MOTIONS.names())}"
        )
    return MOTIONS.get(motion).part(diameter)


def _default_part(section: str, diameter: float) -> str:
    """Return the name of the part whose values stand in for what is not given."""
    if section == "wafer":
        return _closest({"silicon-150": 0.15, "silicon-200": 0.2, "silicon-300": 0.3}, diameter)
    if section == "head":
        return _closest({"one-zone-150": 0.15, "three-zone-200": 0.2, "five-zone-300": 0.3}, diameter)
    return {
        "pad": "hard-microporous",
        "conditioner": "electroplated-100-grit",
        "slurry": "fumed-silica-oxide",
    }[section]


def _diameter(document: dict[str, Any], wafers: Mapping[str, Part]) -> float:
    """Return the wafer diameter [m] if it can be read, else 0.3; only to choose defaults by."""
    wafer = document.get("wafer")
    if not isinstance(wafer, dict):
        return 0.3
    part = wafers.get(wafer.get("part", "")) if isinstance(wafer.get("part", ""), str) else None
    text = wafer.get("diameter", part.values["diameter"].value if part else "300 mm")
    try:
        return units.to_si(text, "length")
    except PlanishError:
        return 0.3


def _closest(sizes: dict[str, float], diameter: float) -> str:
    return min(sizes, key=lambda name: abs(sizes[name] - diameter))


def _same_motion(mine: dict[str, Any], part: Part, named: str | None) -> None:
    motion = part.values["motion"].value
    if named is not None and mine.get("motion", motion) != motion:
        raise MisfitError(
            "polisher.motion",
            f"polisher.motion = {_short(mine['motion'])}: must be {motion!r}, as the part {named!r} says "
            "(take another part, or none)",
        )


def _merge(section: str, part: Part, mine: dict[str, Any], origin: str, out: Resolved) -> dict[str, Any]:
    """Lay the user's keys over the part's and remember where each came from."""
    tree: dict[str, Any] = {}
    fallback = origin == "default"
    left: list[str] = []
    for key, entry in part.values.items():
        if key.startswith("removal."):
            continue
        path = key.split(".")
        if fallback and path[0] == "sub":
            continue  # a pad described without a sub-pad has none
        if _given(mine, path) or _rival_given(section, mine, path):
            continue
        table = tree
        for step in path[:-1]:
            table = table.setdefault(step, {})
        table[path[-1]] = deepcopy(entry.value)
        full = f"{section}.{key}"
        out.origins[full] = Origin(entry.value, origin, entry.source, entry.spread)
        if fallback:
            left.append(key)
    if left:
        out.notes.append(f"{section}: {', '.join(left)} not given: used those of the part {part.name!r}")
    _overlay(tree, mine)
    _remember_own(section, mine, out)
    return tree


def _given(mine: dict[str, Any], path: list[str]) -> bool:
    """Return whether the user gave this key, or something other than a table on the way to it."""
    here: Any = mine
    for step in path:
        if not isinstance(here, dict):
            return True
        if step not in here:
            return False
        here = here[step]
    return True


def _rival_given(section: str, mine: dict[str, Any], path: list[str]) -> bool:
    """Return whether the user said the same thing in another way (a modulus instead of a hardness)."""
    if section != "pad" or len(path) != 2 or path[1] not in STIFFNESS_KEYS:
        return False
    table = mine.get(path[0])
    return isinstance(table, dict) and any(key in table for key in STIFFNESS_KEYS)


def _overlay(tree: dict[str, Any], mine: dict[str, Any]) -> None:
    for key, value in mine.items():
        if isinstance(value, dict) and isinstance(tree.get(key), dict):
            _overlay(tree[key], value)
        else:
            tree[key] = deepcopy(value)


def _remember_own(path: str, value: Any, out: Resolved) -> None:
    if isinstance(value, dict):
        for key, item in value.items():
            _remember_own(paths.join(path, key), item, out)
    elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        for index, item in enumerate(value):
            _remember_own(f"{path}.{paths.entry(value, index)}", item, out)
    else:
        out.origins[path] = Origin(value, "setup", YOURS)


def _remember_default(path: str, value: Any, source: str, spread: str, out: Resolved) -> None:
    out.origins[path] = Origin(value, "default", source, spread)
    shown = value if not isinstance(value, list) else f"{len(value)} entries"
    out.notes.append(f"{path} not given: used {shown} ({source})")


def _removal(document: dict[str, Any], out: Resolved, slurry: Part | None) -> None:
    """Fill in removal laws: those of the slurry part, the user's keys over them, then the reference."""
    own = _table(document, "removal") or {}
    offered: dict[str, Any] = slurry.tree().get("removal", {}) if slurry is not None else {}
    tree: dict[str, Any] = {}
    for material in [*offered, *(m for m in own if m not in offered)]:
        mine = own.get(material, {})
        place = paths.join("removal", material)
        if not isinstance(mine, dict):
            raise MisfitError(place, f"{place} = {_short(mine)}: must be a table, written [{place}]")
        film = _film(mine, place, out)
        if film is not None:
            mine = {key: value for key, value in mine.items() if key != "part"}
        giver, lead = (film, "") if film is not None else (slurry, f"{place}.")
        base = offered.get(material, {}) if film is None else film.tree()
        _drop_rivals(base, mine)
        if giver is not None:
            _drop_energy(base, mine, place, giver, out)
        kept = list(_leaves(base))  # in order: the list of sources must not change from run to run
        _overlay(base, mine)
        for key in kept:
            if giver is not None and not _given(mine, key.split(".")):
                entry = giver.values[f"{lead}{key}"]
                out.origins[f"{place}.{key}"] = Origin(
                    entry.value, f"part {giver.name}", entry.source, entry.spread
                )
        _remember_own(place, mine, out)
        reference = base.setdefault("reference", {})
        if isinstance(reference, dict):
            if film is None and slurry is not None and material in offered:
                if {"rate", "coefficients"} & set(mine):
                    _own_contents(document, slurry, place, reference, out)
                else:
                    _reference_contents(document, slurry, place, reference, out)
            for key, (value, source) in REFERENCE.items():
                if key in reference or (key == "pad" and "real_pressure" in reference):
                    continue
                reference[key] = value
                out.origins[f"{place}.reference.{key}"] = Origin(value, "default", source)
                if material in own:
                    out.notes.append(f"{place}.reference.{key} not given: used {value} ({source})")
        tree[material] = base
    out.tree["removal"] = tree


def _film(mine: dict[str, Any], place: str, out: Resolved) -> Part | None:
    """Return the film of the catalogue that a removal table names, if it names one."""
    if "part" not in mine:
        return None
    named, films = mine["part"], out.catalogue["film"]
    if not isinstance(named, str) or named not in films:
        known = nearest(str(named), films) if films else "no package or folder brings films here"
        raise MisfitError(
            f"{place}.part", f"{place}.part = {_short(named)}: must be a film of the catalogue ({known})"
        )
    return films[named]


def _reference_contents(
    document: dict[str, Any], slurry: Part, place: str, reference: dict[str, Any], out: Resolved
) -> None:
    """A part's rates were measured with the part's slurry: keep its contents where the setup says others."""
    for key, entry, _ in _other_contents(document, slurry, reference):
        reference[key] = entry.value
        out.origins[f"{place}.reference.{key}"] = Origin(
            entry.value, f"part {slurry.name}", entry.source, entry.spread
        )


def _own_contents(
    document: dict[str, Any], slurry: Part, place: str, reference: dict[str, Any], out: Resolved
) -> None:
    """Say that a rate of one's own is taken as measured with one's own contents, not with those of the part."""
    for key, entry, own in _other_contents(document, slurry, reference):
        out.notes.append(
            f"{place}: its own rate is taken as measured with the slurry's {key} here, {own}, not with {entry.value} "
            f"as in the part {slurry.name!r} (say {place}.reference.{key} where it was not)"
        )


def _other_contents(
    document: dict[str, Any], slurry: Part, reference: dict[str, Any]
) -> Iterator[tuple[str, PartValue, Any]]:
    """Yield key, the part's value and one's own of what the slurry holds, where they differ and no reference says."""
    own = _table(document, "slurry") or {}
    for key in REFERENCE_CONTENTS:
        entry = slurry.values.get(key)
        if entry is not None and key not in reference and own.get(key, entry.value) != entry.value:
            yield key, entry, own[key]


def _drop_energy(base: dict[str, Any], mine: dict[str, Any], place: str, giver: Part, out: Resolved) -> None:
    """Drop the part's activation energy, and say so, where one's own law is another than that it was stated for.

    A law with a warm term has an energy of its own, and would be warmed twice.
    """
    law, stated = mine.get("law"), base.get("law")
    if law is None or law == stated or "activation_energy" not in base:
        return
    energy = base.pop("activation_energy")
    if "activation_energy" in mine:
        return
    out.notes.append(
        f"{place}.activation_energy: {energy} of the part {giver.name!r} goes with its law {stated!r}, and is left "
        f"out of the law {law!r} here (say {place}.activation_energy where it holds)"
    )


def _drop_rivals(base: dict[str, Any], mine: dict[str, Any]) -> None:
    """Drop what the part says where the user says the same thing in another way."""
    law = mine.get("law", base.get("law"))
    if "law" in mine and mine["law"] != base.get("law"):
        base.pop("coefficients", None)
        if isinstance(law, str) and law in LAWS and not LAWS.get(law).leading:
            base.pop("rate", None)
    own = mine.get("coefficients", {})
    leading = LAWS.get(law).leading if isinstance(law, str) and law in LAWS else ""
    if isinstance(own, dict) and leading and leading in own:
        base.pop("rate", None)
    if "rate" in mine and isinstance(base.get("coefficients"), dict):
        base["coefficients"].pop(leading, None)
    reference = mine.get("reference")
    if (
        isinstance(reference, dict)
        and "real_pressure" in reference
        and isinstance(base.get("reference"), dict)
    ):
        base["reference"].pop("pad", None)


def _leaves(tree: dict[str, Any], path: str = "") -> list[str]:
    out: list[str] = []
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        out.extend(_leaves(value, here) if isinstance(value, dict) else [here])
    return out
