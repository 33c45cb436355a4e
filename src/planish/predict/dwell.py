"""Dwell times of the conditioning disk that wear the pad evenly and that its arm can run, for the machine of a setup."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import ModelError, SetupError, refuse
from planish.physics.motion import arm, sweep
from planish.physics.surface import conditioning, dwell, dwell_rows
from planish.predict.lot.pad import cut_matrix, cut_rates
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.sweep_design import Reached, SweepDesign
from planish.predict.wafer.contact_model import prepare
from planish.setup.given import as_rig

if TYPE_CHECKING:
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.given import SetupLike
    from planish.setup.si import Conditioner, Rig, Step

Array = NDArray[np.float64]
MOST_ZONES = 40
MOST_TURNS = 3
DIGITS = 5  # of a share of time as it is written: no drive keeps more
RATIO, TURNS = 3.0, 1


class _Sweep(NamedTuple):
    """What a design works on: where the disk may be, what it cuts there, and which rings count by how much."""

    edges: Array
    matrix: Array
    weights: Array
    target: Array


def design_sweep(
    setup: SetupLike,
    zones: int = 10,
    *,
    least: float = 0.0,
    ratio: float = RATIO,
    turns: int = TURNS,
    even: float | str | None = None,
    wanted: Callable[[Array], Array] | None = None,
) -> SweepDesign:
    """Find the dwell table that makes pad wear under the wafer's track as even as an arm can run it.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file; the sweep keeps its ends and how often it runs.
    zones
        Equal zones between those ends.
    least
        Least share of time in any zone, beside what the arm's top speed asks for.
    ratio
        Largest ratio of the times of neighbouring zones.
    turns
        How often times may turn from rising to falling, or back, from the inside out: 0 to 3.
    even
        Unevenness of pad wear [1], or text as "5 %", that is asked for; told where it is not reached, and why.
    wanted
        Wanted relative cut as a function of pad radius [m]; even unless given.

    Returns
    -------
    SweepDesign
        Its wear is that of the setup with the table in it.

    Raises
    ------
    SetupError
        Without a conditioner, for a sweep that its arm cannot run, or for options that cannot be.
    ModelError
        Where the disk does not reach the track, or the limits leave no times.
    """
    rig = as_rig(setup)
    disk = rig.conditioner
    if disk is None or disk.downforce <= 0:
        raise SetupError("conditioner: none that presses in this setup: must have one to design its sweep")
    if not 2 <= zones <= MOST_ZONES:
        raise SetupError(f"zones = {zones}: must be 2 to {MOST_ZONES}")
    if not 1 <= ratio <= 1e6:
        raise SetupError(
            refuse("ratio", ratio, "from 1 to 1e6", "as 3: no zone three times as long as its neighbour")
        )
    if not 0 <= turns <= MOST_TURNS:
        raise SetupError(refuse("turns", turns, f"0 to {MOST_TURNS}"))
    asked = _asked(even)
    rings = pad_rings(rig, prepare(rig).grid)
    step = max(rig.steps, key=lambda each: each.stop_value if each.stop == "time" else each.max_time)
    found = _swept(rig, disk, rings, step, zones, wanted)
    own = dwell.DwellLimits(least=least, ratio=ratio, turns=turns, arm=_arm(disk, found.edges))

    def designed(limits: dwell.DwellLimits) -> dwell.DwellDesign:
        return dwell.design_dwell(
            found.target, dwell.zone_cut(found.matrix, zones), weights=found.weights, limits=limits
        )

    made = designed(own)
    assert made.run is not None
    assert own.arm is not None
    table = _written(made.zone_dwell)
    after = cut_rates(_with_table(rig, disk, found.edges, table), rings, step)
    unlimited = designed(dwell.DwellLimits(least=least))
    before = cut_rates(rig, rings, step)
    return SweepDesign(
        rig=rig,
        zone_edges=found.edges,
        zone_dwell=table,
        zone_dwell_unlimited=unlimited.zone_dwell,
        pad_radius=rings.middles,
        cut_before=before,
        cut_after=after,
        cut_run=_run_cut(rig, disk, rings, step, made.run),
        counted=found.weights > 0,
        target=found.target,
        weights=found.weights,
        run=made.run,
        arm=own.arm,
        ratio=ratio,
        turns=turns,
        asked=asked,
        reached=Reached(
            equal=made.flatness_before,
            unlimited=unlimited.flatness,
            without=tuple(_flatnesses(designed, _without(own))),
        ),
    )


def _asked(even: float | str | None) -> float | None:
    if even is None:
        return None
    try:
        asked = units.to_si(even, "ratio") if isinstance(even, str) else float(even)
    except units.UnitError as error:
        raise SetupError(refuse("even", even, error.allowed, error.remedy or "as '5 %'")) from None
    if not 0 < asked < 1:
        raise SetupError(refuse("even", even, "above 0 % and below 100 %", "as '5 %'"))
    return asked


def _swept(
    rig: Rig,
    disk: Conditioner,
    rings: PadRings,
    step: Step,
    zones: int,
    wanted: Callable[[Array], Array] | None,
) -> _Sweep:
    path = disk.sweep
    edges = np.round(np.linspace(path.inner, path.outer, zones + 1), 6)  # as they are written
    # where a sweep by such a table is taken to be, so that a setup with the table wears as is said here
    positions, _ = sweep.dwell_shares(
        path.kind,
        path.inner,
        path.outer,
        pivot_distance=path.pivot_distance,
        arm_length=path.arm_length,
        zone_edges=edges,
        zone_dwell=np.ones(zones),
    )
    matrix = cut_matrix(rig, rings, step, positions)
    grid = prepare(rig).grid
    track = grid.areas @ rings.to_wafer
    weights = np.where(matrix.sum(axis=1) > 0, track, 0.0)
    target = np.ones_like(track) if wanted is None else np.asarray(wanted(rings.middles))
    return _Sweep(edges, matrix, weights, target)


def _arm(disk: Conditioner, edges: Array) -> dwell_rows.Arm:
    """Return the arm of a sweep; refuse one that cannot run from end to end so often."""
    path = disk.sweep
    way, _ = sweep.along_path(path.kind, path.pivot_distance, path.arm_length)
    lengths = np.diff(way(edges))
    drive = arm.Drive(path.top_speed, path.top_acceleration)
    shortest, time = arm.shortest_pass(float(lengths.sum()), drive), 0.5 / path.frequency
    if time < shortest:
        raise SetupError(
            refuse(
                "conditioner.sweep.frequency",
                units.show(path.frequency, "frequency"),
                f"at most {units.show(0.5 / shortest, 'frequency')}",
                f"the arm takes {shortest:.3g} s or more from end to end by top_speed and top_acceleration",
            )
        )
    return dwell_rows.Arm(lengths, time, drive)


def _without(own: dwell.DwellLimits) -> list[tuple[str, dwell.DwellLimits]]:
    """Return the limits with one kind of them left out each, in words."""
    return [
        ("with any ratio of neighbours", replace(own, ratio=inf)),
        ("with as many turns as it likes", replace(own, turns=None)),
        ("with an arm of any speed and acceleration", replace(own, arm=None)),
    ]


def _written(shares: Array) -> Array:
    """Return shares as they are written into a setup; the longest takes what rounding leaves of 1."""
    table = np.round(shares, DIGITS)
    longest = int(np.argmax(table))
    table[longest] = round(float(table[longest] + 1.0 - table.sum()), DIGITS)
    return table


def _flatnesses(
    designed: Callable[[dwell.DwellLimits], dwell.DwellDesign], limits: list[tuple[str, dwell.DwellLimits]]
) -> Iterator[tuple[str, float]]:
    """Yield the unevenness within each of some limits, in their words."""
    for words, each in limits:
        with suppress(ModelError):  # more freedom may lead to times that no arm can run at all
            yield words, designed(each).flatness


def _with_table(rig: Rig, disk: Conditioner, edges: Array, table: Array) -> Rig:
    return replace(
        rig, conditioner=replace(disk, sweep=replace(disk.sweep, zone_edges=edges, zone_dwell=table))
    )


def _run_cut(rig: Rig, disk: Conditioner, rings: PadRings, step: Step, run: arm.ArmRun) -> Array:
    """Return what the disk cuts as the arm really runs, its ramps with it [m/s], (n,)."""
    path = disk.sweep
    way, place = sweep.along_path(path.kind, path.pivot_distance, path.arm_length)
    middle = 0.5 * (run.place[1:] + run.place[:-1])
    begin, end = way(np.array([path.inner, path.outer]))
    at = np.clip(place(np.clip(begin + middle, begin, end)), path.inner, path.outer)
    slots = np.diff(run.time)
    return conditioning.cut_profile(cut_matrix(rig, rings, step, at), slots / slots.sum())
