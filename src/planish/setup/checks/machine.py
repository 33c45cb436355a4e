"""Checks of polisher, pad and conditioner: does the wafer fit, does the disk stay on the pad?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from planish import units
from planish.errors import PlanishError
from planish.physics.pressure.layers import groove_share
from planish.physics.surface import grit
from planish.physics.surface.hardness import QI_RANGE
from planish.setup.attached import summit_heights
from planish.setup.conditioner import ConditionerSection, SweepSection
from planish.setup.finding import HAIR, Finding, missing, mm, wrong
from planish.setup.pad import GROOVE, LayerSection
from planish.setup.resolve import STIFFNESS_KEYS
from planish.setup.root import SetupModel
from planish.setup.to_si import conditioner_si, pad_hardness

_SOLVED = 0.02  # of an acceleration: what rounding of a table and its solver may add
MOST_GROOVE = 0.9  # of the pad's area
LONGEST_BODY = 100  # standard deviation of summit heights over the length of their tail; usual is 1 to 3


def outer_reach(model: SetupModel) -> float:
    """Return the radius [m] of wafer, gap and ring together."""
    ring = model.head.ring
    return model.wafer.diameter / 2.0 + (ring.gap + ring.width if ring is not None else 0.0)


def check_polisher(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    """Yield what does not fit on the pad.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.

    Yields
    ------
    Finding
        A finding each.
    """
    polisher, table = model.polisher, raw["polisher"]
    machine, radius, reach = polisher.machine(), model.wafer.diameter / 2.0, outer_reach(model)
    yield from polisher.problems(table, radius)
    place, room = polisher.edge_key, machine.room
    if room < radius - HAIR:
        yield wrong(
            f"polisher.{place}", table[place], f"larger: the wafer hangs over its edge by {mm(radius - room)}"
        )
    elif room < reach - HAIR:
        yield wrong(f"polisher.{place}", table[place],
                    f"larger: the retaining ring hangs over its edge by {mm(reach - room)}", "or a narrower ring")  # fmt: skip
    if machine.delivery == "top" and machine.dispense_radius > machine.pad_edge:
        yield wrong(
            "polisher.dispense_radius",
            table["dispense_radius"],
            f"on the pad, at most {mm(machine.pad_edge)}",
        )


def check_pad(model: SetupModel, raw: dict[str, Any], folder: Path | None) -> Iterator[Finding]:
    """Yield what does not fit in the pad stack, its grooves and its summits.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.
    folder
        Where its measured heights lie; None where it has no folder.

    Yields
    ------
    Finding
        A finding each.
    """
    pad, table = model.pad, raw["pad"]
    yield from _layer(pad.top, "pad.top")
    if pad.sub is not None:
        yield from _layer(pad.sub, "pad.sub")
    grooves = pad.grooves
    if grooves is not None and grooves.pattern != "none":
        for key, what in GROOVE.items():
            if getattr(grooves, key) == 0.0:
                yield wrong(f"pad.grooves.{key}", table["grooves"][key], what.allowed, what.usual)
                return
        if grooves.depth >= pad.top.thickness:
            yield wrong("pad.grooves.depth", table["grooves"]["depth"], f"below the pad's {mm(pad.top.thickness)}",
                        "a groove leaves some of the top pad")  # fmt: skip
        if grooves.width >= grooves.pitch:
            yield wrong(
                "pad.grooves.width", table["grooves"]["width"], f"below the pitch, {mm(grooves.pitch)}"
            )
        elif groove_share(grooves.pattern, grooves.width, grooves.pitch) > MOST_GROOVE:
            yield wrong(
                "pad.grooves.width",
                table["grooves"]["width"],
                f"such that grooves take at most {100 * MOST_GROOVE:g} % of the pad",
                f"the pitch is {mm(grooves.pitch)}",
            )
    surface = pad.surface
    if surface.heights is None and surface.tail_length < surface.height_sd / LONGEST_BODY - HAIR:
        yield wrong("pad.surface.tail_length", table["surface"]["tail_length"],
                    f"at least 1/{LONGEST_BODY} of height_sd, {units.show(surface.height_sd, 'depth')}",
                    "the tail is the decay of the high summits")  # fmt: skip
    if pad.surface.heights is not None:
        try:
            summit_heights(pad.surface.heights, folder, "pad.surface.heights")
        except PlanishError as error:
            text = str(error)
            place = "pad.surface.heights"
            yield Finding("error", place, text if text.startswith(place) else f"{place}: {text}")


def _layer(layer: LayerSection, place: str) -> Iterator[Finding]:
    given = [key for key in STIFFNESS_KEYS if getattr(layer, key) is not None]
    if len(given) != 1:
        shown = " and ".join(given) or "no stiffness"
        yield wrong(place, shown, f"one of {', '.join(STIFFNESS_KEYS)}", "say how stiff it is once")
        return
    if given[0].startswith("polymer") and layer.cells == "none" and layer.porosity > 0.0:
        yield wrong(f"{place}.cells", "none", "open or closed", "it is said to have pores")
    for key in given:
        if "shore" in key:
            low, high = QI_RANGE["D" if key.endswith("d") else "A"]
            reading = getattr(layer, key)
            if not low <= reading <= high:
                text = f"{place}.{key} {reading:g}: outside {low:g} to {high:g}, where the conversion to a modulus holds"
                yield Finding("note", f"{place}.{key}", text)


def check_conditioner(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    """Yield what does not fit in the disk and its sweep.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.

    Yields
    ------
    Finding
        A finding each.
    """
    disk = model.conditioner
    if disk is None:
        return
    table, sweep = raw["conditioner"], disk.sweep
    machine = model.polisher.machine()
    edge, lowest = machine.pad_edge, machine.innermost
    place = "conditioner.sweep"
    if sweep.inner >= sweep.outer:
        yield wrong(f"{place}.inner", table["sweep"]["inner"], f"below outer, {mm(sweep.outer)}")
    if sweep.outer > edge + HAIR:
        yield wrong(f"{place}.outer", table["sweep"]["outer"], f"on the pad, at most {mm(edge)}")
    if sweep.inner < lowest - HAIR:
        yield wrong(f"{place}.inner", table["sweep"]["inner"], f"on the pad, at least {mm(lowest)}")
    if disk.disk_diameter / 2.0 > edge:
        yield wrong(
            "conditioner.disk_diameter", table["disk_diameter"], f"smaller than the pad, {mm(2.0 * edge)}"
        )
    if sweep.kind == "arm":
        nearest_reach = abs(sweep.pivot_distance - sweep.arm_length)
        if sweep.inner < nearest_reach - HAIR or sweep.outer > sweep.pivot_distance + sweep.arm_length + HAIR:
            yield wrong(
                f"{place}.arm_length",
                table["sweep"].get("arm_length"),
                f"such that the arm reaches from {mm(sweep.inner)} to {mm(sweep.outer)}",
                f"with its pivot at {mm(sweep.pivot_distance)} it comes no nearer than {mm(nearest_reach)}",
            )
    yield from _dwell(model, table)
    grains = disk.grit_density * disk.grit_share * math.pi / 4.0 * disk.disk_diameter**2
    if grains < 3.0:
        yield wrong(
            "conditioner.grit_density",
            table["grit_density"],
            "such that there are three diamonds or more for the disk to rest on",
            f"the disk holds {grains:.3g}",
        )
    elif grit.plough(conditioner_si(disk).grit, disk.downforce, pad_hardness(model.pad)).depth >= _deepest(
        disk
    ):
        text = (
            "conditioner.downforce presses the diamonds into the pad to their bond: furrows are taken as half of "
            f"grit_size deep, {1e6 * _deepest(disk):.4g} µm (press less, or say more diamonds)"
        )
        yield Finding("warning", "conditioner.downforce", text)
    if disk.downforce == 0.0:
        text = (
            "conditioner.downforce is 0: the disk cuts nothing, and leaves the pad as smooth as its pores let it "
            "(leave [conditioner] out for summits as the pad's surface table has them)"
        )
        yield Finding("warning", "conditioner.downforce", text)
    if disk.mode == "ex-situ" and disk.ex_situ_time == 0.0:
        yield wrong("conditioner.ex_situ_time", table["ex_situ_time"], "above 0 s", "or another mode")


def _deepest(disk: ConditionerSection) -> float:
    return grit.DEEPEST * disk.grit_size


def _dwell(model: SetupModel, table: dict[str, Any]) -> Iterator[Finding]:
    sweep = model.conditioner.sweep if model.conditioner is not None else None
    if sweep is None or (sweep.zone_edges is None and sweep.zone_dwell is None):
        return
    edges, dwell = sweep.zone_edges, sweep.zone_dwell
    place = "conditioner.sweep"
    if edges is None:
        yield missing(f"{place}.zone_edges", "given beside zone_dwell")
        return
    if dwell is None:
        yield missing(f"{place}.zone_dwell", "given beside zone_edges")
        return
    if len(edges) != len(dwell) + 1:
        yield wrong(
            f"{place}.zone_edges",
            table["sweep"]["zone_edges"],
            f"{len(dwell) + 1} edges for the {len(dwell)} dwells",
        )
    elif any(b - a <= HAIR for a, b in pairwise(edges)):
        yield wrong(f"{place}.zone_edges", table["sweep"]["zone_edges"], "increasing")
    elif edges[0] < sweep.inner - HAIR or edges[-1] > sweep.outer + HAIR:
        limits = f"within inner and outer, {mm(sweep.inner)} to {mm(sweep.outer)}"
        yield wrong(f"{place}.zone_edges", table["sweep"]["zone_edges"], limits)
    if sum(dwell) <= 0.0:
        yield wrong(f"{place}.zone_dwell", table["sweep"]["zone_dwell"], "above 0 in at least one zone")
    elif len(edges) == len(dwell) + 1 and all(b - a > HAIR for a, b in pairwise(edges)):
        yield from _run(sweep)


@lru_cache(maxsize=64)
def _needed(
    arm: tuple[str, float, float], edges: tuple[float, ...], stays: tuple[float, ...], speed: float
) -> float:
    """Return the acceleration [m/s^2] that a dwell table takes; remembered, as a setup is checked each time it changes."""
    import numpy as np

    from planish.physics.motion.arm import Drive, needed_acceleration
    from planish.physics.motion.sweep import along_path

    way, _ = along_path(*arm)
    return needed_acceleration(np.diff(way(np.array(edges))), stays, Drive(speed, 1.0))


def _run(sweep: SweepSection) -> Iterator[Finding]:
    """Question a dwell table that the arm cannot run in the time of a pass."""
    assert sweep.zone_edges is not None
    assert sweep.zone_dwell is not None
    reach = (abs(sweep.pivot_distance - sweep.arm_length), sweep.pivot_distance + sweep.arm_length)
    if sweep.kind == "arm" and not reach[0] <= sweep.zone_edges[0] <= sweep.zone_edges[-1] <= reach[1]:
        return  # refused above
    arm = (sweep.kind, sweep.pivot_distance, sweep.arm_length)
    stays = tuple(dwell / sum(sweep.zone_dwell) * 0.5 / sweep.frequency for dwell in sweep.zone_dwell)
    needed = _needed(arm, tuple(sweep.zone_edges), stays, sweep.top_speed)
    if needed <= sweep.top_acceleration * (1.0 + _SOLVED):
        return
    asks = (
        f"takes {units.show(needed, 'acceleration')}, more than top_acceleration"
        if math.isfinite(needed)
        else f"is beyond top_speed, {units.show(sweep.top_speed, 'speed')}"
    )
    text = (
        f"conditioner.sweep.zone_dwell: to run it in half of a sweep to and fro {asks} (sweep less often, say what the arm "
        "can do, or have a table designed: planish dwell)"
    )
    yield Finding("warning", "conditioner.sweep.zone_dwell", text)
