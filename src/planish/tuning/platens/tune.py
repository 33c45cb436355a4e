"""Solve for the settings of several platens in a row together: the most even wafer of a thickness after the last."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError
from planish.measure.sites.read import SiteMap
from planish.predict.wafer.platens import check_one_wafer, polish_in_turn
from planish.tuning.amounts import amounts_at, amounts_told, kept_amounts, on_target
from planish.tuning.asked import goal_of, longest_time, positive
from planish.tuning.course import Amounts, settings_of
from planish.tuning.incoming import scatter, wafers_coming
from planish.tuning.limits import ROUNDED_S, Freedom
from planish.tuning.platens.course import RowCourse, RowSettings
from planish.tuning.platens.freedom import Clock, RowFreedom
from planish.tuning.platens.options import bounds_by_platen, kept_by_platen
from planish.tuning.platens.result import TunedPlatens
from planish.tuning.search import MET_NM, Found, Search
from planish.tuning.several import Several
from planish.tuning.stopped import binding, no_room, not_met
from planish.tuning.tuned import OneOf
from planish.tuning.written import settled_changes

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.setup.si import Rig
    from planish.tuning.incoming import Coming

    Sites = SiteMap | str | os.PathLike[str]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RowAsked:
    """What is asked of several platens; each field as the argument of :func:`planish.tune`."""

    target: float | str | None
    incoming: Sites | Sequence[Sites] | None
    columns: ColumnMap | str | os.PathLike[str] | None
    profile: Sites | None
    bounds: Mapping[str, str]
    neighbour: float | str | None
    least_rate: float | str | None
    most_time: float | str | None
    longest: float | str | None
    balance: float | str | None
    keep: Iterable[str]


def tune_platens(setups: Sequence[Setup], asked: RowAsked) -> TunedPlatens:
    """Solve for zone pressures, ring pressures and times of all platens together.

    Parameters
    ----------
    setups
        Platen after platen; the films of the first come in.
    asked
        What is to be left, and within which limits.

    Returns
    -------
    TunedPlatens
        Verified by ``planish.polish`` on one platen after the other; never less even than the setups' own pressures polished
        to the target.

    Raises
    ------
    SetupError
        Where the setups are not of one wafer, where the limits leave no settings, or none that meet the target.
    DataError
        For sites or a target that cannot be.
    """
    check_one_wafer([setup.rig for setup in setups])
    coming = wafers_coming(setups[0], asked.incoming, asked.columns)
    before = polish_in_turn(_row(coming.middle, setups))
    start = RowSettings(tuple(settings_of(wafer) for wafer in before))
    comes = before[0].mean(before[0].incoming.sum(axis=0))
    goal, said = goal_of(before[-1], asked.target, asked.profile, comes)
    free = Free(setups, start, asked)
    clock = _clock(asked, before[-1], goal, comes)
    found, freedom, notes, runs = _searched(setups, coming, free, clock, goal)
    mean = before[-1].mean(goal)
    if abs(found.gap) > MET_NM:
        raise SetupError(not_met(found, freedom, mean))
    settled = freedom.rounded(found.settings)
    rigs = _row(coming.middle, setups)
    row = RowCourse(rigs, _kept(rigs, freedom))
    timed = row.run(settled)

    def tried(amounts: Sequence[Amounts]) -> tuple[list[Changes], tuple[WaferResult, ...]]:
        changes = [
            settled_changes(*each)
            for each in zip(setups, start.platens, settled.platens, amounts, strict=True)
        ]
        return changes, _polished(coming.middle, setups, changes)

    (changes, after), amounts = on_target(
        row.courses,
        [amounts_at(one, run) for one, run in zip(row.courses, timed.runs, strict=True)],
        tried,
        lambda made: made[1][-1].mean(made[1][-1].remaining.sum(axis=0)) - mean,
    )
    return TunedPlatens(
        setups=tuple(setups),
        settled=tuple(tuple(each.items()) for each in changes),
        before=before,
        after=after,
        goal=goal,
        bounds=binding(found, freedom),
        programs=found.programs,
        runs=runs + 2,
        said=(
            *coming.notes,
            _passed(setups),
            *notes,
            *said,
            *freedom.notes,
            *(
                f"platen {number}: {note}"
                for number, (one, own) in enumerate(zip(row.courses, amounts, strict=True), 1)
                for note in amounts_told(one, own)
            ),
        ),
        wafers=_each(setups, coming, changes),
        scatter=scatter(coming) if len(coming.rigs) > 1 else None,
    )


def _row(first: Rig, setups: Sequence[Setup]) -> list[Rig]:
    return [first, *(setup.rig for setup in setups[1:])]


class Free:
    """What may move on the platens, for any limits on their times.

    Attributes
    ----------
    start
        The setups' own settings.
    times_bound
        Whether a time was bound.
    """

    def __init__(self, setups: Sequence[Setup], start: RowSettings, asked: RowAsked) -> None:
        step = (
            None
            if asked.neighbour is None
            else positive(asked.neighbour, "pressure", "--neighbour", "1.5 psi")
        )
        bounds, keep = bounds_by_platen(asked.bounds, setups), kept_by_platen(asked.keep, setups)
        self.start = start
        self.times_bound = any(key.endswith("time") for each in bounds for key in each)
        self._each = [
            Freedom(setup, own, bounds=bound, keep=kept, neighbour=step, within=f"platen.{number}.")
            for number, (setup, own, bound, kept) in enumerate(
                zip(setups, start.platens, bounds, keep, strict=True), 1
            )
        ]

    def within(self, clock: Clock) -> RowFreedom:
        """Return the freedom of all platens within limits on their times."""
        return RowFreedom(self._each, self.start, clock)


def _clock(asked: RowAsked, last: WaferResult, goal: Array, comes: float) -> Clock:
    """Return the limits on time that were asked for."""
    most, words = longest_time(last, goal, asked.most_time, asked.least_rate, comes)
    return Clock(
        most=most,
        longest=None if asked.longest is None else positive(asked.longest, "time", "--longest", "60 s"),
        apart=None if asked.balance is None else positive(asked.balance, "time", "--balance", "5 s"),
        words=words,
    )


def _searched(
    setups: Sequence[Setup], coming: Coming, free: Free, clock: Clock, goal: Array
) -> tuple[Found, RowFreedom, list[str], int]:
    """Return where the search ended, within which freedom, notes, and how many wafers were polished."""
    freedom, notes = free.within(clock), []
    middle = _row(coming.middle, setups)
    kept = _kept(middle, freedom)
    course = RowCourse(middle, kept)
    search = Search(course, freedom, goal)
    begin = search.start(course.run(free.start))
    if begin is None:
        raise SetupError(no_room(freedom))
    if clock.most is None and clock.longest is None and not free.times_bound:
        own = begin.settings
        assert isinstance(own, RowSettings)  # of a row
        spare = ROUNDED_S * own.time.size
        than = "than with the setups' own pressures"
        clock = replace(
            clock,
            most=float(own.time.sum()) + spare,
            longest=max(float(one.time.sum()) for one in own.platens) + spare,
            words=f"no longer {than} (--most-time says otherwise):",
            longest_words=f"no longer {than} the longest platen (--longest says otherwise):",
        )
        freedom = free.within(clock)
        search = Search(course, freedom, goal)
        notes.append(
            f"all platens together, and the longest of them, take no longer {than}; --most-time or --longest says otherwise"
        )
    found = search.improve(begin)
    count = len(coming.rigs)
    if count == 1 or abs(found.gap) > MET_NM:
        return found, freedom, notes, found.runs
    several = Several([RowCourse(_row(rig, setups), kept) for rig in coming.rigs])
    best = Search(several, freedom, np.tile(goal, count)).improve(several.run(found.settings))
    return best, freedom, notes, found.runs + (best.runs + 1) * count


def _kept(rigs: Sequence[Rig], freedom: RowFreedom) -> list[Amounts]:
    """Return the amounts of each platen's steps of which nothing moves."""
    return [kept_amounts(rig, own.free) for rig, own in zip(rigs, freedom.each, strict=True)]


def _polished(first: Rig, setups: Sequence[Setup], changes: Sequence[Changes]) -> tuple[WaferResult, ...]:
    """Return a wafer polished on the tuned platens."""
    tuned = [setup.replace(each).rig for setup, each in zip(setups, changes, strict=True)]
    try:
        return polish_in_turn([replace(tuned[0], wafer=first.wafer), *tuned[1:]])
    except SetupError as error:
        raise SetupError(f"with the settings solved for, {error}") from None


def _each(setups: Sequence[Setup], coming: Coming, changes: Sequence[Changes]) -> tuple[OneOf, ...]:
    """Return every wafer after the last platen with the settings before and after; none where there is one."""
    if len(coming.rigs) == 1:
        return ()
    return tuple(
        OneOf(name, polish_in_turn(_row(rig, setups))[-1], _polished(rig, setups, changes)[-1], around)
        for name, rig, around in zip(coming.names, coming.rigs, coming.round, strict=True)
    )


def _passed(setups: Sequence[Setup]) -> str:
    told = ", ".join(str(number) for number in range(2, len(setups) + 1))
    return (
        f"platen {told}: each film comes in as the platen before leaves it, its mean round the wafer; what the setup says of "
        "its thickness does not count"
    )
