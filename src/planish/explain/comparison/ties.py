"""Which choices of two setups cannot be swapped one without the other, and why.

Two groups are tied where one of them from A with the other from B (or the other way about) would make a
setup that its own check refuses: a film without a removal law, a wafer that its head does not hold or
that finds no room on the machine, a disk that leaves the pad. What can be read over from one machine to
another (speeds, zone pressures) ties nothing: see ``mixing.mixed``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planish.explain.comparison.mixing import CHOICES, same_zones

if TYPE_CHECKING:
    from planish.setup.si import Rig

HAIR = 1e-9  # [m] lengths closer than this are the same
JOINT = " & "
Rule = Callable[["Rig", "Rig", str, str], str]


@dataclass(frozen=True, slots=True)
class Tied:
    """Groups that are swapped together: their names, and what ties them, a sentence each."""

    members: tuple[str, ...]
    reasons: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The group's name: those of its members."""
        return JOINT.join(self.members)

    def note(self) -> str:
        """Return in words that the members are swapped together, and why."""
        names = ", ".join(self.members[:-1]) + f" and {self.members[-1]}"
        return f"{names} are swapped together: " + "; ".join(self.reasons)


def tied_groups(a: Rig, b: Rig, groups: Sequence[str]) -> list[Tied]:
    """Return the groups in which two setups differ as those that can be swapped alone or only together.

    Parameters
    ----------
    a, b
        The two setups in SI.
    groups
        In which they differ, each a key of ``CHOICES``.

    Returns
    -------
    list[Tied]
        In the order of ``groups``, each with why its members go together.
    """
    parts = {group: {group} for group in groups}
    reasons: list[tuple[str, str]] = []
    for (first, second), rule in RULES.items():
        if first not in parts or second not in parts:
            continue
        why = rule(a, b, "A", "B") or rule(b, a, "B", "A")
        if why:
            reasons.append((first, why))
            joined = parts[first] | parts[second]
            for member in joined:
                parts[member] = joined
    made = []
    for group in groups:
        members = tuple(name for name in CHOICES if name in parts[group])
        if members[0] == group:
            made.append(Tied(members, tuple(dict.fromkeys(why for one, why in reasons if one in members))))
    return made


def reading_notes(a: Rig, b: Rig, tied: Sequence[Tied]) -> list[str]:
    """Return what is read over from one setup to the other where groups are swapped one without the other.

    Parameters
    ----------
    a, b
        The two setups in SI.
    tied
        From ``tied_groups``.

    Returns
    -------
    list[str]
        A sentence each; none where nothing is read over.
    """
    place = {member: group.name for group in tied for member in group.members}

    def apart(one: str, other: str) -> bool:
        return one in place and other in place and place[one] != place[other]

    notes = []
    if apart("polisher", "recipe") and a.polisher.motion != b.polisher.motion:
        notes.append(
            "polisher and recipe of different setups: the speed that drives the pad is the polisher's"
        )
    if apart("head", "recipe") and not same_zones(a.head, b.head):
        notes.append(
            "head and recipe of different setups: the recipe's zone pressures are read at the middles of the head's zones"
        )
    return notes


def _laws(one: Rig, other: Rig, x: str, y: str) -> str:
    die = one.die
    named = [film.material for film in one.wafer.films]
    if die is not None:
        named += [name for name in die.given.values() if isinstance(name, str)]
    without = [name for name in dict.fromkeys(named) if name not in other.removal]
    if not without:
        return ""
    return f"the slurry of {y} has no removal law for {', '.join(without)} on the wafer of {x}"


def _stops(one: Rig, other: Rig, x: str, y: str) -> str:
    films = one.wafer.films
    total = sum(film.thickness for film in films)
    for step in other.steps:
        if step.stop == "remaining" and step.stop_value >= films[0].thickness:
            return (
                f"step {step.name} of {y} stops at {step.stop_value * 1e9:.4g} nm left, and the top film of {x} "
                f"has {films[0].thickness * 1e9:.4g} nm"
            )
        if step.stop == "removed" and step.stop_value > total:
            return (
                f"step {step.name} of {y} stops at {step.stop_value * 1e9:.4g} nm removed, and the films of {x} "
                f"have {total * 1e9:.4g} nm"
            )
    return ""


def _held(one: Rig, other: Rig, x: str, y: str) -> str:
    reach, radius = float(other.head.zone_outer_radii[-1]), one.wafer.radius
    if abs(reach - radius) <= 1e-6:
        return ""
    return (
        f"the head of {y} is made for wafers of {2e3 * reach:g} mm, the wafer of {x} has {2e3 * radius:g} mm"
    )


def _wafer_on_machine(one: Rig, other: Rig, x: str, y: str) -> str:
    radius, bearing = one.wafer.radius, other.polisher.bearing
    short = radius - other.polisher.room
    if short > HAIR:
        return f"the wafer of {x} would hang {1e3 * short:.3g} mm over the pad's edge on the polisher of {y}"
    if bearing is not None:
        short = radius - float(bearing.outer_radii[-1])
        if short > HAIR:
            return f"the bearing of {y} ends {1e3 * short:.3g} mm inside the wafer of {x}"
    return ""


def _head_on_machine(one: Rig, other: Rig, x: str, y: str) -> str:
    ring = one.head.ring
    reach = float(one.head.zone_outer_radii[-1]) + (ring.gap + ring.width if ring is not None else 0.0)
    short = reach - other.polisher.room
    if short <= HAIR:
        return ""
    return f"the head of {x} would hang {1e3 * short:.3g} mm over the pad's edge on the polisher of {y}"


def _ring(one: Rig, other: Rig, x: str, y: str) -> str:
    if one.head.ring is None and any(step.ring_pressure > 0 for step in other.steps):
        return f"the recipe of {y} presses a retaining ring, which the head of {x} does not have"
    return ""


def _disk(one: Rig, other: Rig, x: str, y: str) -> str:
    disk, machine = one.conditioner, other.polisher
    if disk is None:
        return ""
    edge, inner = machine.pad_edge, machine.innermost
    sweep = disk.sweep
    if sweep.outer <= edge + HAIR and sweep.inner >= inner - HAIR and disk.disk_radius <= edge:
        return ""
    return (
        f"the disk of {x}, on its way from {1e3 * sweep.inner:g} to {1e3 * sweep.outer:g} mm, would leave the "
        f"pad of the polisher of {y}, which reaches from {1e3 * inner:g} to {1e3 * edge:g} mm"
    )


def _bearing(one: Rig, other: Rig, x: str, y: str) -> str:
    bearing = one.polisher.bearing
    if bearing is None or other.polisher.bearing is None:
        return ""
    for step in other.steps:
        if step.bearing_pressures is not None and step.bearing_pressures.size != bearing.outer_radii.size:
            return (
                f"step {step.name} of {y} gives {step.bearing_pressures.size} bearing pressures, and the bearing "
                f"of {x} has {bearing.outer_radii.size} zones"
            )
    return ""


RULES: dict[tuple[str, str], Rule] = {
    ("wafer", "slurry"): _laws,
    ("wafer", "recipe"): _stops,
    ("wafer", "head"): _held,
    ("wafer", "polisher"): _wafer_on_machine,
    ("head", "polisher"): _head_on_machine,
    ("head", "recipe"): _ring,
    ("conditioner", "polisher"): _disk,
    ("polisher", "recipe"): _bearing,
}
"""For each pair of groups: what speaks against the first from one setup with the second from the other."""
