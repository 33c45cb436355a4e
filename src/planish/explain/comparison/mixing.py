"""Setups made of the choices of two: which choices differ, and a setup with some of them from B."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.record import same
from planish.setup.recipe import SPEEDS

if TYPE_CHECKING:
    from planish.setup.si import Head, Rig, Step

GROUPS = ("polisher", "head", "pad", "conditioner", "slurry", "recipe")
"""Groups of choices. "slurry" carries the removal laws calibrated with it."""

SURROUNDINGS = ("wafer", "ambient", "clean")
"""More that count where they differ: the incoming wafer with its die, room and platen temperature, the cleaning after."""

CHOICES = (*GROUPS, *SURROUNDINGS)


def differing(a: Rig, b: Rig) -> list[str]:
    """Return the groups in which two setups differ, in the order of ``CHOICES``.

    Parameters
    ----------
    a, b
        The setups.

    Returns
    -------
    list[str]
        Names.
    """
    return [group for group in CHOICES if not same(_content(a, group), _content(b, group))]


def _content(rig: Rig, group: str) -> Any:
    if group == "slurry":
        return rig.slurry, rig.removal
    if group == "wafer":
        return rig.wafer, rig.die
    return rig.steps if group == "recipe" else getattr(rig, group)


def mixed(a: Rig, b: Rig, from_b: frozenset[Hashable]) -> Rig:
    """Return one setup with choices taken from another, made to fit each other.

    Parameters
    ----------
    a, b
        The setups A and B.
    from_b
        Groups taken from B.

    Returns
    -------
    Rig
        Of A and B.

    Notes
    -----
    Where the motions differ, the speed that drives the pad comes with the polisher (step by step, the last
    step's where there are fewer); where the heads' zones differ, the recipe's zone pressures are read at
    the middles of the head's zones, as shares of the wafer radius; without a disk no step conditions. What
    cannot be made to fit in this way must not be asked for: see ``ties``.
    """
    take = {group: b if group in from_b else a for group in CHOICES}
    polisher, head, recipe = take["polisher"], take["head"], take["recipe"]
    if same(a.steps, b.steps):
        recipe = head  # the same pressures by zone: each head's own, not read off the other's zones
    disk = take["conditioner"].conditioner
    steps = tuple(
        _fitted(step, index, recipe, polisher, head.head, has_disk=disk is not None)
        for index, step in enumerate(recipe.steps)
    )
    return replace(
        a,
        wafer=take["wafer"].wafer,
        die=take["wafer"].die,
        ambient=take["ambient"].ambient,
        clean=take["clean"].clean,
        polisher=polisher.polisher,
        head=head.head,
        pad=take["pad"].pad,
        conditioner=disk,
        slurry=take["slurry"].slurry,
        removal=take["slurry"].removal,
        steps=steps,
        sources=tuple(dict.fromkeys(a.sources + b.sources)),
        notes=tuple(dict.fromkeys(a.notes + b.notes)),
    )


def same_zones(one: Head, other: Head) -> bool:
    """Return whether two heads have the same membrane zones.

    Parameters
    ----------
    one, other
        The heads.

    Returns
    -------
    bool
        True or False.
    """
    return np.array_equal(one.zone_outer_radii, other.zone_outer_radii)


def _fitted(step: Step, index: int, recipe: Rig, machine: Rig, head: Head, *, has_disk: bool) -> Step:
    changes: dict[str, Any] = {}
    if recipe.polisher.motion != machine.polisher.motion:
        own = machine.steps[min(index, len(machine.steps) - 1)]
        changes.update(dict.fromkeys(SPEEDS, 0.0))
        speed = machine.polisher.drive.key
        changes[speed] = getattr(own, speed)
        changes["bearing_pressures"] = own.bearing_pressures
    if not same_zones(recipe.head, head):
        edges = recipe.head.zone_outer_radii / recipe.head.zone_outer_radii[-1]
        own_edges = head.zone_outer_radii / head.zone_outer_radii[-1]
        middles = 0.5 * (np.concatenate([[0.0], own_edges[:-1]]) + own_edges)
        at = np.minimum(np.searchsorted(edges, middles), edges.size - 1)
        changes["zone_pressures"] = step.zone_pressures[at]
    if step.conditioning and not has_disk:
        changes["conditioning"] = False
    return replace(step, **changes) if changes else step
