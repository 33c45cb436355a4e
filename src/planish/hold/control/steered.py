"""A step of a setup as the loop sees it: outputs and moves as numbers, and back to times and pressures.

The step is the longest of the recipe. An output is the logarithm of what is removed over what is wanted, on average over the
wafer or under each zone of the head; a move is the logarithm of its time over the time that was set up and, for zones, what
each pressure is raised by [psi]. What a move does is the model's own influence, at the settings as set up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.belief import Array
from planish.hold.control.moves import Room
from planish.hold.endpoint.asked import read_range
from planish.predict.wafer.polish import polish
from planish.setup.given import as_rig
from planish.tuning.course import Course, settings_of
from planish.tuning.influence import influence
from planish.units import PSI, as_si

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

LEAST_GAIN = 0.2  # of removed by time, relative: below, other steps or a cleared film decide what is removed
GRAIN_S, GRAIN_PSI = (
    0.1,
    0.01,
)  # to which settings are rounded: what a recipe page takes (common practice, no source)
TIME_ROOM = 2.0  # times the time that was set up, and its inverse
PRESSURE_ROOM = 1.0  # [psi] either way
TIME_CHANGE, PRESSURE_CHANGE = 0.10, 0.2  # from one wafer to the next: relative, and [psi]


class Limits(NamedTuple):
    """What moves keep to: the tool maker's and the process owner's limits. None for the usual room.

    ``time`` (least, most) [s]; ``pressure`` (least, most) [Pa], of every zone; ``time_change`` relative and
    ``pressure_change`` [Pa] from one wafer to the next.
    """

    time: tuple[float, float] | None = None
    pressure: tuple[float, float] | None = None
    time_change: float = TIME_CHANGE
    pressure_change: float = PRESSURE_CHANGE * PSI


def read_limits(given: Limits | Mapping[str, str] | None) -> Limits:
    """Return limits as they were given: those that are named, and the usual room for the others.

    Parameters
    ----------
    given
        A record, or names with text: ``time`` and ``pressure`` as ``"40..70 s"``, ``time_change`` as ``"10 %"`` and
        ``pressure_change`` as ``"0.2 psi"``, from one wafer to the next.

    Returns
    -------
    Limits
        All of them.

    Raises
    ------
    DataError
        For another name, and a range or change that cannot be.
    """
    if given is None:
        return Limits()
    if isinstance(given, Limits):
        return given
    found: dict[str, Any] = {}
    for name, text in given.items():
        if name in ("time", "pressure"):
            low, high = read_range(text, name, f"limit of {name}")
            if not low <= high:
                raise DataError(refuse(f"limit of {name}", text, "a range, the least first"))
            found[name] = (low, high)
        elif name in ("time_change", "pressure_change"):
            dimension = "ratio" if name == "time_change" else "pressure"
            found[name] = as_si(text, dimension, f"limit of {name}")
        else:
            raise DataError(refuse("limit", name, f"one of {', '.join(Limits._fields)}"))
    return Limits(**found)


class Asked(NamedTuple):
    """``time`` [s] and ``pressures`` (zones,) [Pa] of the step."""

    time: float
    pressures: Array


@dataclass(frozen=True, slots=True, repr=False)
class Steered(Record):
    """A step that is controlled.

    Attributes
    ----------
    step
        Its name.
    outputs
        What is held: "mean", or the names of zones.
    shares
        Of each output in the mean over the wafer, (outputs,).
    zones
        Names of the zones whose pressures move; none where time alone does.
    time
        As set up [s].
    pressures
        As set up [Pa], (zones of the head,).
    wanted
        To be removed [m], (outputs,).
    incoming
        Of all films together as set up [m], (outputs,).
    gain
        (outputs, moves).
    """

    step: str
    outputs: tuple[str, ...]
    shares: Array
    zones: tuple[str, ...]
    time: float
    pressures: Array
    wanted: Array
    incoming: Array
    gain: Array

    def settings(self, moved: Array) -> Asked:
        """Return time and pressures of a move (moves,), rounded as a recipe takes them."""
        time = GRAIN_S * round(self.time * float(np.exp(moved[0])) / GRAIN_S)
        pressures = self.pressures
        if self.zones:
            psi = pressures / PSI + moved[1:]
            pressures = PSI * GRAIN_PSI * np.round(psi / GRAIN_PSI)
        return Asked(time, pressures)

    def moves(self, asked: Asked) -> Array:
        """Return the move (moves,) that settings are."""
        moved = [float(np.log(asked.time / self.time))]
        if self.zones:
            moved += ((asked.pressures - self.pressures) / PSI).tolist()
        return np.array(moved)

    def output(self, removed: Array) -> Array:
        """Return the outputs (outputs,) of what was removed [m]; not a number where nothing was."""
        given = np.asarray(removed, dtype=float)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(given > 0, np.log(given / self.wanted), np.nan)

    def removed(self, output: Array) -> Array:
        """Return what outputs say is removed [m]."""
        return np.asarray(self.wanted * np.exp(output))

    def room(self, limits: Limits) -> Room:
        """Return the limits as limits of moves.

        Raises
        ------
        DataError
            For limits that leave out the settings as set up.
        """
        least, most = limits.time or (self.time / TIME_ROOM, self.time * TIME_ROOM)
        if not 0 < least <= self.time <= most:
            raise DataError(
                refuse("time of the step: least and most [s]", (least, most),
                       f"above 0 and around the {self.time:.4g} s that are set up")
            )  # fmt: skip
        if not 0 < limits.time_change <= 1:
            raise DataError(
                refuse(
                    "most change of time",
                    limits.time_change,
                    "above 0 and at most 1 (100 %)",
                    "10 % is usual",
                )
            )
        low, high = [np.log(least / self.time)], [np.log(most / self.time)]
        change = [np.log1p(limits.time_change)]
        names = ["time"]
        if self.zones:
            if not 0 < limits.pressure_change <= 5 * PSI:
                raise DataError(
                    refuse(
                        "most change of pressure [psi]",
                        limits.pressure_change / PSI,
                        "above 0 and at most 5",
                        "0.2 is usual",
                    )
                )
            low_p, high_p = limits.pressure or (0.0, np.inf)
            down = np.maximum(low_p - self.pressures, -PRESSURE_ROOM * PSI) / PSI
            up = np.minimum(high_p - self.pressures, PRESSURE_ROOM * PSI) / PSI
            if limits.pressure is not None:
                down, up = (low_p - self.pressures) / PSI, (high_p - self.pressures) / PSI
            low += down.tolist()
            high += up.tolist()
            change += [limits.pressure_change / PSI] * len(self.zones)
            names += [f"pressure of zone {zone}" for zone in self.zones]
        return Room(tuple(names), np.array(low), np.array(high), np.array(change))


def steered(setup: SetupLike, *, zones: bool = False, target: float | str | None = None) -> Steered:
    """Return the longest step of a setup as it is controlled.

    Parameters
    ----------
    setup
        As for ``planish.polish``.
    zones
        Hold what is removed under each zone, by their pressures too; else the mean, by the time.
    target
        Mean to be removed [m], or text as ``"500 nm"``; what the setup removes unless given.

    Returns
    -------
    Steered
        With gains at its settings.

    Raises
    ------
    DataError
        For a target that is far off, a step whose time hardly moves what is removed, and a head that has no zones apart.
    ModelError
        As ``planish.polish``.
    """
    rig = as_rig(setup)
    wafer = polish(rig)
    settings = settings_of(wafer)
    course = Course(rig)
    run = course.run(settings)
    which = int(np.argmax(settings.time))
    free = np.zeros((len(rig.steps), settings.zones.shape[1] + 2), dtype=bool)
    free[which, -1] = True
    free[which, :-2] = zones
    answer = -influence(course, run, free)[which]  # (zones + 2, n_r) of what is removed
    weights, names, shares = _outputs(rig, course, zones=zones)
    stack = course.incoming.sum(axis=0)
    removed = weights @ (stack - run.stack)
    if not np.all(removed > 0):
        raise DataError(
            f"step {rig.steps[which].name}: nothing is removed somewhere: must be more to be controlled"
        )
    time = float(settings.time[which])
    columns = [weights @ answer[-1] * time / removed]
    if zones:
        columns += [weights @ answer[zone] * PSI / removed for zone in range(settings.zones.shape[1])]
    gain = np.stack(columns, axis=1)
    if not np.all(gain[:, 0] > LEAST_GAIN):
        raise DataError(
            f"step {rig.steps[which].name}: 1 % more time removes {gain[:, 0].min():.2g} % more: must be "
            f"{LEAST_GAIN:g} % or more to be controlled by its time (other steps remove more, or the film is gone)"
        )
    wanted = removed
    if target is not None:
        aim = as_si(target, "thickness", "target")
        mean = float(shares @ removed)
        if not 0.5 * mean <= aim <= 2 * mean:
            raise DataError(
                refuse("target [nm]", round(1e9 * aim, 3), f"{0.5e9 * mean:.4g} to {2e9 * mean:.4g}, for this recipe removes "
                       f"{1e9 * mean:.4g} nm", "set up its time first")
            )  # fmt: skip
        wanted = removed * aim / mean
        if zones:
            wanted = np.full(removed.size, aim)
    elif zones:
        wanted = np.full(removed.size, float(shares @ removed))  # an even wafer
    return Steered(
        step=rig.steps[which].name,
        outputs=names,
        shares=shares,
        zones=_zone_names(rig) if zones else (),
        time=time,
        pressures=np.asarray(settings.zones[which], dtype=float),
        wanted=wanted,
        incoming=weights @ stack,
        gain=gain,
    )


def output_weights(rig: Rig, *, zones: bool) -> Array:
    """Return the weights of the wafer's nodes in each output, (outputs, n_r).

    Parameters
    ----------
    rig
        The setup.
    zones
        Whether each zone is an output, or the mean alone.

    Returns
    -------
    Array
        Each row adds up to 1.
    """
    return _outputs(rig, Course(rig), zones=zones)[0]


def _outputs(rig: Rig, course: Course, *, zones: bool) -> tuple[Array, tuple[str, ...], Array]:
    weights = course.counted.weights
    if not zones:
        return weights[None, :], ("mean",), np.ones(1)
    if rig.head.back_film:
        raise DataError(
            "zones: this rigid head presses everywhere alike: control its time alone (leave zones out)"
        )
    radii = rig.head.zone_outer_radii
    of_zone: NDArray[np.int_] = np.minimum(np.searchsorted(radii, course.radius), radii.size - 1)
    parts = np.stack([np.where(of_zone == zone, weights, 0.0) for zone in range(radii.size)])
    shares = parts.sum(axis=1)
    there = np.flatnonzero(shares > 1e-6)
    names = _zone_names(rig)
    return (
        parts[there] / shares[there, None],
        tuple(names[zone] for zone in there),
        shares[there] / shares[there].sum(),
    )


def _zone_names(rig: Rig) -> tuple[str, ...]:
    return tuple(str(number + 1) for number in range(rig.head.zone_outer_radii.size))
