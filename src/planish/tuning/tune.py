"""Solve for the pressures and times that leave the most even wafer of a thickness."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypedDict, overload

import numpy as np
from numpy.typing import NDArray

from planish.engine.given import of_kind
from planish.errors import SetupError, refuse
from planish.measure.sites.read import SiteMap
from planish.predict.wafer.polish import polish
from planish.setup.given import as_setup
from planish.setup.models import Setup
from planish.tuning.amounts import amounts_for, amounts_told, kept_amounts, on_target
from planish.tuning.asked import goal_of, longest_time, positive
from planish.tuning.chance.meet import read_limits
from planish.tuning.chance.solve import DRAWS, Asked, by_chance
from planish.tuning.course import Amounts, Course, Settings, settings_of
from planish.tuning.incoming import Coming, scatter, wafers_coming
from planish.tuning.limits import ROUNDED_S, Freedom
from planish.tuning.platens.tune import RowAsked, tune_platens
from planish.tuning.search import MET_NM, NM, Found, Search
from planish.tuning.several import Several
from planish.tuning.stopped import binding, holding, no_room, not_met
from planish.tuning.tuned import OneOf, Tuned
from planish.tuning.written import settled_changes

if TYPE_CHECKING:
    from planish.engine.execute import Cancel, Progress
    from planish.measure.sites.column_map import ColumnMap
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.si import Rig
    from planish.tuning.chance.meet import Meet
    from planish.tuning.platens.result import TunedPlatens

    Sites = SiteMap | str | os.PathLike[str]
    Columns = ColumnMap | str | os.PathLike[str]
    InTurn = list[Setup] | list[str] | list[Path] | tuple[Setup | str | os.PathLike[str], ...]

Array = NDArray[np.float64]


class _Options(TypedDict):
    bounds: Mapping[str, str]
    keep: list[str]
    neighbour: float | None


@overload
def tune(
    setup: Setup | str | os.PathLike[str],
    *,
    target: float | str | None = None,
    incoming: Sites | Sequence[Sites] | None = None,
    columns: Columns | None = None,
    profile: Sites | None = None,
    bounds: Mapping[str, str] | None = None,
    neighbour: float | str | None = None,
    least_rate: float | str | None = None,
    most_time: float | str | None = None,
    keep: Iterable[str] = (),
    meet: Mapping[str, str] | None = None,
    spreads: bool = True,
    over_wafers: int = 0,
    draws: int = DRAWS,
    seed: int = 0,
    workers: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Tuned: ...


@overload
def tune(
    setup: InTurn,
    *,
    target: float | str | None = None,
    incoming: Sites | Sequence[Sites] | None = None,
    columns: Columns | None = None,
    profile: Sites | None = None,
    bounds: Mapping[str, str] | None = None,
    neighbour: float | str | None = None,
    least_rate: float | str | None = None,
    most_time: float | str | None = None,
    longest: float | str | None = None,
    balance: float | str | None = None,
    keep: Iterable[str] = (),
) -> TunedPlatens: ...


def tune(
    setup: Setup | str | os.PathLike[str] | InTurn,
    *,
    target: float | str | None = None,
    incoming: Sites | Sequence[Sites] | None = None,
    columns: Columns | None = None,
    profile: Sites | None = None,
    bounds: Mapping[str, str] | None = None,
    neighbour: float | str | None = None,
    least_rate: float | str | None = None,
    most_time: float | str | None = None,
    longest: float | str | None = None,
    balance: float | str | None = None,
    keep: Iterable[str] = (),
    meet: Mapping[str, str] | None = None,
    spreads: bool = True,
    over_wafers: int = 0,
    draws: int = DRAWS,
    seed: int = 0,
    workers: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Tuned | TunedPlatens:
    """Solve for zone pressures, ring pressure and time of each step, for incoming wafers and a thickness to be left.

    Parameters
    ----------
    setup
        A loaded setup, or the path of its file; where the search starts. Several of them, in a list, are platens that one wafer
        passes in turn: all their settings are solved for together, for what is left after the last.
    target
        Mean thickness of all films together to be left inside the edge exclusion [m], or text as ``"550 nm"``; where
        ``meet`` gives both ends of the thickness, their middle unless given. Of several wafers, their mean.
    incoming
        Measured sites of the film on top: of one wafer (`read_sites`, or their file), or of many, by several of these, a file of
        several wafers, a folder of files, or a table of runs; the setup's own film unless given. The settings are the same
        for all wafers, and least is made of the root mean square over wafers of sigma. It comes to the first platen.
    columns
        Which column of the incoming files is what, as `read_sites` takes it.
    profile
        Thickness wanted over the wafer, as sites; its own mean where no ``target`` is given, else moved to that.
    bounds
        Range by what is bound: ``zone_pressure``, ``ring_pressure``, ``time``, or a path of a setup, to text as
        ``"1..6 psi"``; the usual range of the key unless given. Of several platens those of all, and behind ``platen.2.`` of one.
    neighbour
        Largest step between neighbouring zones [Pa], or text.
    least_rate
        Least mean removal rate over the recipe [m/s], or text.
    most_time
        Most time for all steps together, of all platens [s], or text.
    longest
        Most time for the steps of any one of several platens [s], or text.
    balance
        By how much the times of two of several platens may differ at most [s], or text.
    keep
        Paths of steps, pressures and times that stay as they are; behind ``platen.2.`` those of one of several platens.
    meet
        Limits of what is left, as ``{"thickness": "540..560 nm", "wiwnu_sigma_percent": "..3"}``, by the figures of
        `planish.tuning.chance.meet.FIGURES`. Given, the settings are those with the highest chance of meeting all of them
        while the setup's spreads, the incoming wafers and the age of pad and disk differ from wafer to wafer.
    spreads
        Whether the stated spreads of the setup and its parts are drawn; False takes the setup at its word.
    over_wafers
        How many wafers a pad polishes: its age, and the disk's, is then drawn too, by a lot. A new pad unless given.
    draws
        On the full model, on which the chance is counted.
    seed
        Of the draws.
    workers
        Processes that polish draws (default: one a core); the numbers do not depend on it.
    progress, cancel
        Called with (draws done, draws in all), and a switch that stops between draws.

    Returns
    -------
    Tuned | TunedPlatens
        Verified by ``planish.polish``; never less even than the setup's own pressures polished to the target. With
        ``meet`` never of less chance than the settings without it, on the draws counted. Of several setups the settings of
        all.

    Raises
    ------
    SetupError
        Where the limits leave no settings, or none that meet the target: with the limits that stop it; where nothing
        differs from wafer to wafer, and where no draw meets all that ``meet`` says; where several setups are not of one
        wafer, or its films do not agree.
    DataError
        For sites or a target that cannot be.
    """
    if isinstance(setup, list | tuple):
        if meet:
            raise SetupError(
                "--meet: the chance of meeting limits is of one setup: must stand with one alone"
            )
        _not_of_chance(spreads=spreads, over_wafers=over_wafers, draws=draws, seed=seed)
        if not setup:
            raise SetupError(refuse("setups", "none", "one or more"))
        asked_of_all = RowAsked(
            target=target,
            incoming=incoming,
            columns=columns,
            profile=profile,
            bounds=bounds or {},
            neighbour=neighbour,
            least_rate=least_rate,
            most_time=most_time,
            longest=longest,
            balance=balance,
            keep=keep,
        )
        return tune_platens([as_setup(one) for one in setup], asked_of_all)
    for option, value in (("--longest", longest), ("--balance", balance)):
        if value is not None:
            raise SetupError(refuse(option, value, "given with several setups", "--most-time is for one"))
    setup = as_setup(setup)
    asked = Asked(
        read_limits(meet or {}),
        of_kind(spreads, bool, "spreads", "True or False"),
        over_wafers,
        draws,
        seed,
        workers,
        progress,
        cancel,
    )
    if not asked.limits:
        _not_of_chance(spreads=spreads, over_wafers=over_wafers, draws=draws, seed=seed)
    coming = wafers_coming(setup, incoming, columns)
    rig, notes = coming.middle, [*coming.notes]
    before = polish(rig)
    start = settings_of(before)
    goal, said = goal_of(before, _target(target, profile, asked.limits), profile)
    _within(before.mean(goal), asked.limits)
    cap, words = longest_time(before, goal, most_time, least_rate)
    options: _Options = {
        "bounds": bounds or {},
        "keep": list(keep),
        "neighbour": None if neighbour is None else positive(neighbour, "pressure", "--neighbour", "1.5 psi"),
    }
    plain = _plain(setup, coming, start, goal, options, cap, words)
    found, freedom = plain.found, plain.freedom
    if abs(found.gap) > MET_NM:
        raise SetupError(not_met(found, freedom, before.mean(goal)))
    settled = freedom.rounded(found.settings)
    held, chance = binding(found, freedom), None
    if asked.limits:
        settled, chance = by_chance(setup, coming, plain.course, freedom, settled, asked)
        if chance.better:
            held = holding(settled, freedom)
    course = plain.course

    def tried(amounts: Sequence[Amounts]) -> tuple[Changes, WaferResult]:
        changes = settled_changes(setup, start, settled, amounts[0])
        return changes, polish(_tuned_rig(setup, rig, changes))

    wanted = before.mean(goal)
    if chance is not None and chance.better:
        wanted = course.counted.mean(course.run(settled).stack)
    (changes, after), (amounts,) = on_target(
        [course],
        [amounts_for(course, settled)],
        tried,
        lambda made: made[1].mean(made[1].remaining.sum(axis=0)) - wanted,
    )
    return Tuned(
        setup=setup,
        settled=tuple(changes.items()),
        before=before,
        after=after,
        goal=goal,
        bounds=held,
        programs=found.programs + plain.programs,
        runs=found.runs + plain.runs + 2,
        said=(
            *notes,
            *plain.notes,
            *said,
            *freedom.notes,
            *amounts_told(course, amounts),
            *_thinner(before, after),
            *_below(before, after),
            *_not_in_it(coming, incoming),
        ),
        wafers=_each(setup, coming, changes),
        scatter=scatter(coming) if len(coming.rigs) > 1 else None,
        chance=chance,
    )


def _not_of_chance(*, spreads: bool, over_wafers: int, draws: int, seed: int) -> None:
    """Refuse what is for the chance of meeting limits where there are none."""
    given = (
        ("--over-wafers", over_wafers, over_wafers == 0),
        ("--draws", draws, draws == DRAWS),
        ("--seed", seed, seed == 0),
        ("--no-spreads", spreads, spreads),
    )
    for option, value, usual in given:
        if not usual:
            raise SetupError(
                refuse(option, value, "given with --meet: it is for the chance of meeting limits")
            )


def _target(target: float | str | None, profile: Sites | None, limits: Sequence[Meet]) -> float | str | None:
    """Return the thickness to be left: as asked for, else the middle of its limits."""
    if target is not None or profile is not None:
        return target
    middle = next((one.middle for one in limits if one.key == "thickness"), None)
    return None if middle is None else middle * NM


def _within(mean: float, limits: Sequence[Meet]) -> None:
    for one in limits:
        if one.key == "thickness" and not one.low <= mean / NM <= one.high:
            raise SetupError(
                refuse("target", f"{mean / NM:.6g} nm", f"within --meet {one.told}", "move one of both")
            )


class _Plain(NamedTuple):
    """Where the search for the most even wafers ended, within which freedom, on which course; programs and wafers till then."""

    found: Found
    course: Course
    freedom: Freedom
    notes: list[str]
    programs: int
    runs: int


def _plain(
    setup: Setup,
    coming: Coming,
    start: Settings,
    goal: Array,
    options: _Options,
    cap: float | None,
    words: str,
) -> _Plain:
    """Return the settings for the most even wafers."""
    freedom = Freedom(setup, start, **options, most_time=cap, time_words=words)
    kept = kept_amounts(coming.middle, freedom.free)
    course = Course(coming.middle, kept=kept)
    search, notes = Search(course, freedom, goal), []
    begin = search.start(course.run(start))
    if begin is None:
        raise SetupError(no_room(freedom))
    if cap is None and not any(key.endswith("time") for key in options["bounds"]):
        own = float(begin.settings.time.sum()) + ROUNDED_S * start.time.size
        words = "no longer than the setup's own pressures need for it (--most-time says otherwise):"
        freedom = Freedom(setup, start, **options, most_time=own, time_words=words)
        search = Search(course, freedom, goal)
        notes.append(
            f"the recipe takes no longer than the setup's own pressures need for the target, {own:.4g} s; --most-time says "
            "otherwise"
        )
    found = search.improve(begin)
    count = len(coming.rigs)
    if count == 1 or abs(found.gap) > MET_NM:
        return _Plain(found, course, freedom, notes, 0, 0)
    # the wafer of the mean profile is nearly that of them all: the search over all of them begins where its ended
    several = Several([Course(rig, kept=kept) for rig in coming.rigs])
    over_all = Search(several, freedom, np.tile(goal, count))
    best = over_all.improve(several.run(found.settings))
    return _Plain(
        best, course, freedom, notes, found.programs, found.runs + (best.runs + 1) * (count - 1) + 1
    )


def _each(setup: Setup, coming: Coming, changes: Changes) -> tuple[OneOf, ...]:
    """Return every wafer with the settings before and after; none where there is one, which is told by itself."""
    if len(coming.rigs) == 1:
        return ()
    tuned = setup.replace(changes).rig
    return tuple(
        OneOf(name, polish(rig), polish(replace(tuned, wafer=rig.wafer)), around)
        for name, rig, around in zip(coming.names, coming.rigs, coming.round, strict=True)
    )


def _tuned_rig(setup: Setup, rig: Rig, changes: Changes) -> Rig:
    """Return the tuned setup's records, with the incoming film."""
    tuned = setup.replace(changes).rig
    return replace(tuned, wafer=rig.wafer)


def _below(before: WaferResult, after: WaferResult) -> list[str]:
    """Say which films are gone over most of the wafer to leave the thickness wanted."""
    if len(after.films) == 1:
        return []
    lost = [
        name
        for name, left, had in zip(after.films, after.remaining, before.incoming, strict=True)
        if after.mean(had) > 0 and after.mean(left) < 0.01 * after.mean(had)
    ]
    if not lost:
        return []
    return [
        f"target: the thickness of all films together; to leave it {', '.join(lost)} {'is' if len(lost) == 1 else 'are'} "
        "polished away"
    ]


def _not_in_it(coming: Coming, incoming: object) -> list[str]:
    """Say that the setup keeps its own film, of which another thickness is left."""
    if incoming is None:
        return []
    film = coming.middle.wafer.films[0].name
    return [
        f"the incoming film is not written into the setup: polished with its own film {film} it leaves another thickness"
    ]


def _thinner(before: WaferResult, after: WaferResult) -> list[str]:
    """Say where the wafer is less even in percent only because less is left."""
    stacks = [wafer.remaining.sum(axis=0) for wafer in (before, after)]
    shares = [
        wafer.sigma(left) / wafer.mean(left)
        for wafer, left in zip((before, after), stacks, strict=True)
        if wafer.mean(left) > 0
    ]
    if len(shares) == 2 and shares[1] > shares[0]:
        return ["before, another thickness was left: it is compared with what is left at the target"]
    return []
