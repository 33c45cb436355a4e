"""What becomes of a setup with another part or another motion? All that must change with it changes too."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from typing import Any

from planish.errors import SetupError
from planish.setup.models import Setup
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.parts import catalogue
from planish.setup.recipe import SPEEDS
from planish.units import to_si

SECTIONS = ("wafer", "polisher", "head", "pad", "conditioner", "slurry")


def fresh(motion: str | None = None) -> dict[str, Any]:
    """Return the document of the invented scenario for a motion, the first where none is named.

    Raises
    ------
    SetupError
        For a motion that is not registered.
    """
    return tomllib.loads(new_setup(motion or MOTIONS.names()[0]))


def choose(setup: Setup, section: str, part: str) -> Setup:
    """Return the setup with a catalogue part in place; the recipe is made to fit a new head or motion.

    Parameters
    ----------
    setup
        As it is.
    section
        One of `SECTIONS`.
    part
        Its name in the catalogue; "none" for no conditioner.

    Returns
    -------
    Setup
        With what hangs on that part changed too.

    Raises
    ------
    SetupError
        For an unknown section or part, or a setup that would not be valid.
    """
    if section not in SECTIONS:
        raise SetupError(f"section = {section!r}: must be one of {', '.join(SECTIONS)}")
    if section == "conditioner" and part == "none":
        return without_conditioner(setup)
    if part not in catalogue(section):
        raise SetupError(f"{section}.part = {part!r}: must be one of {', '.join(catalogue(section))}")
    if section == "polisher":
        motion = str(catalogue("polisher")[part].values["motion"].value)
        if motion != setup.motion:
            return with_motion(setup, motion, part)
    if section == "head":
        return Setup(_with_head(setup, part), setup.name)
    if section == "wafer":
        return _with_wafer(setup, part)
    if section == "conditioner":
        document = deepcopy(setup.document)
        own = fresh(setup.motion)["conditioner"]
        document["conditioner"] = {**own, "part": part}
        return Setup(document, setup.name)
    if section == "slurry":
        return _with_slurry(setup, part)
    return setup.with_part(section, part)


def part_choices(setup: Setup) -> dict[str, dict[str, Any]]:
    """Return for each section the part in use, and those that could stand in its place with one line each."""
    out: dict[str, dict[str, Any]] = {}
    for section in SECTIONS:
        options = [
            {"name": part.name, "summary": part.summary}
            for part in catalogue(section).values()
            if section not in ("head", "polisher") or _fits(setup, section, part.name)
        ]
        if section == "conditioner":
            options.append({"name": "none", "summary": "no conditioning"})
        chosen = setup.parts.get(section, "")
        if section == "conditioner" and setup.model.conditioner is None:
            chosen = "none"
        out[section] = {"chosen": chosen, "options": options}
    return out


def _fits(setup: Setup, section: str, part: str) -> bool:
    """Return whether a part can stand in the setup as it is."""
    try:
        choose(setup, section, part)
    except SetupError:
        return False
    return True


def without_conditioner(setup: Setup) -> Setup:
    """Return the setup with no conditioner, and no step that would use it."""
    document = deepcopy(setup.document)
    document.pop("conditioner", None)
    for step in document["recipe"]["step"]:
        step["conditioning"] = False
    return Setup(document, setup.name)


def with_motion(setup: Setup, motion: str, part: str | None = None) -> Setup:
    """Return the setup on a polisher of another motion, at that motion's speeds of the invented scenario.

    Wafer, head, pad, slurry and pressures stay; the sweep of the disk is that of the new machine.

    Parameters
    ----------
    setup
        As it is.
    motion
        The name of the other motion.
    part
        The polisher; the scenario's own unless given.

    Returns
    -------
    Setup
        On that polisher.

    Raises
    ------
    SetupError
        For a motion that is not registered, or a setup that would not be valid.
    """
    if motion == setup.motion and part is None:
        return setup
    document, other = deepcopy(setup.document), fresh(motion)
    document["polisher"] = {"part": part} if part else other["polisher"]
    if document.get("title") == fresh(setup.motion)["title"]:  # the scenario's own, not a person's
        document["title"] = other["title"]
    templates = other["recipe"]["step"]
    conditioned = isinstance(document.get("conditioner"), dict)  # "none" and null say that there is none
    if conditioned:
        disk = {
            k: v for k, v in document["conditioner"].items() if not k.startswith(("sweep", "mode", "ex_"))
        }
        own = {k: v for k, v in other["conditioner"].items() if k != "part"}
        document["conditioner"] = {**disk, **own}
    for index, step in enumerate(document["recipe"]["step"]):
        model = templates[min(index, len(templates) - 1)]
        for key in (*SPEEDS, "carrier_speed", "bearing_pressures"):
            step.pop(key, None)
            if key in model:
                step[key] = model[key]
        step["conditioning"] = conditioned and bool(model["conditioning"])
    return Setup(document, setup.name)


def _with_wafer(setup: Setup, part: str) -> Setup:
    """A wafer of another diameter brings the head that holds it, and the platen that is made for it."""
    sizes = {name: _metres(entry.values["diameter"].value) for name, entry in catalogue("wafer").items()}
    if abs(sizes[part] - setup.model.wafer.diameter) < 1e-6:
        return setup.with_part("wafer", part)
    heads = {150: "one-zone-150", 200: "three-zone-200", 300: "five-zone-300"}
    size = round(sizes[part] * 1e3)
    document = _with_head(setup, heads[size])
    film = deepcopy(document["wafer"]["film"])
    for each in film:
        if "profile" in each:  # made for the other diameter
            each["thickness"] = each.pop("profile")[0][1]
    document["wafer"] = {"part": part, "film": film}
    made_for = MOTIONS.get(setup.motion).part
    if made_for(0.3) != made_for(0.2):  # the motion has polishers of several sizes
        document["polisher"] = {"part": made_for(sizes[part]).name}
        if isinstance(document.get("conditioner"), dict):
            disk = {k: v for k, v in document["conditioner"].items() if k != "sweep"}
            platen = (
                catalogue("polisher")[document["polisher"]["part"]]
                .values[MOTIONS.get(setup.motion).model.edge_key]
                .value
            )
            reach = 0.5 * _metres(platen) - 0.05
            sweep = {"inner": "60 mm", "outer": f"{reach * 1e3:g} mm", "kind": "slide"}
            document["conditioner"] = {**disk, "sweep": sweep}
    return Setup(document, setup.name)


def _with_head(setup: Setup, part: str) -> dict[str, Any]:
    """Zone pressures are read off the old zones at the middles of the new ones."""
    document = deepcopy(setup.document)
    document["head"] = {"part": part}
    old = [zone.outer_radius for zone in setup.model.head.zone]
    names = [zone.name for zone in setup.model.head.zone]
    new = [_metres(zone["outer_radius"]) for zone in catalogue("head")[part].values["zone"].value]
    inner = [0.0, *new[:-1]]
    for step in document["recipe"]["step"]:
        given = step["zone_pressures"]
        if isinstance(given, str):
            continue
        values = [given[name] for name in names] if isinstance(given, dict) else list(given)
        step["zone_pressures"] = [
            values[next((i for i, edge in enumerate(old) if edge >= 0.5 * (a + b)), len(old) - 1)]
            for a, b in zip(inner, new, strict=True)
        ]
    return document


def _with_slurry(setup: Setup, part: str) -> Setup:
    """A slurry brings its removal laws; a film that it does not polish gives way to one that it does."""
    document = deepcopy(setup.document)
    document["slurry"] = {"part": part}
    document.pop("removal", None)
    laws = [key.split(".")[1] for key in catalogue("slurry")[part].values if key.startswith("removal.")]
    materials = list(dict.fromkeys(laws))
    for film in document["wafer"]["film"]:
        if film["material"] not in materials:
            document.pop("die", None)  # what stood on the die was for the other film
            film["material"] = materials[0]
            film["name"] = materials[0]
    return Setup(document, setup.name)


def _metres(text: str) -> float:
    return to_si(text, "length")
