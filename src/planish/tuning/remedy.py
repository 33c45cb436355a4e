"""Settings of one step that would make an uneven wafer even, as few as will do, run again as they are written.

The ring's pressure alone is tried first, then the zones with it, each solved for as ``planish.tune`` does: the most even
film left, of the thickness that is left now. A step that stops on an amount still does. Answers are rounded to what is
printed, and only what a wafer polished with them then shows is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from planish.errors import PlanishError
from planish.predict.wafer.polish import polish
from planish.tuning.limits import Freedom
from planish.tuning.search import Search
from planish.tuning.written import SetBy
from planish.units import PSI

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.tuning.course import Course, Run

Freed = Literal["ring", "zones", "zones and ring"]
Badness = Callable[["WaferResult"], float]
ROUNDED_PSI, ROUNDED_S = 0.01, 0.1  # as the settings are told
GAINED = 0.5  # of what is wrong: the least that a remedy takes away, where it does not make it good
MOST_OF_IT = 0.9  # of what zones and ring together gain: from there on the ring alone will do
GOOD = 1.0  # what badness is called good
_OVER = 1.05  # of the wafer's pressure: down to there a ring that presses more is set, as zones may rise beside it


@dataclass(frozen=True, slots=True)
class Remedy:
    """Settings that were run as written.

    Attributes
    ----------
    step
        Whose settings change, from 0.
    freed
        Which of them were solved for.
    changes
        For ``Setup.replace``.
    setup
        With the changes.
    after
        The wafer polished with it.
    """

    step: int
    freed: Freed
    changes: Changes
    setup: Setup
    after: WaferResult


@dataclass(frozen=True, slots=True)
class NoRemedy:
    """Why there is none.

    Attributes
    ----------
    why
        "nothing to set" in the step, "refused" by the solver or the model, "too little" gained.
    words
        Of what refused.
    best
        The best that was run, where one was.
    """

    why: Literal["nothing to set", "refused", "too little"]
    words: str = ""
    best: Remedy | None = None


def find_remedy(
    setup: Setup, wafer: WaferResult, course: Course, run: Run, step: int, badness: Badness
) -> Remedy | NoRemedy:
    """Solve for settings of a step that make a wafer even.

    Parameters
    ----------
    setup
        That was polished.
    wafer
        As it was polished.
    course, run
        The same recipe, run with its own settings.
    step
        Whose settings may change, from 0.
    badness
        Of a wafer: at most ``GOOD`` where nothing is wrong with it.

    Returns
    -------
    Remedy | NoRemedy
        The ring alone where that makes it good or gains ``MOST_OF_IT`` of what zones and ring gain.
    """
    was = badness(wafer)
    tried: list[Remedy] = []
    refused = ""
    for freed in _freed(setup, run, step):
        try:
            made = _solved(setup, wafer, course, run, step, freed)
        except PlanishError as error:
            refused = str(error)
            continue
        if made is None:
            continue
        tried.append(made)
        if badness(made.after) <= GOOD:
            return _fewest(tried, was, badness)
    if not tried:
        return NoRemedy("refused", refused) if refused else NoRemedy("nothing to set")
    best = _fewest(tried, was, badness)
    if was - badness(best.after) >= GAINED * was:
        return best
    return NoRemedy("too little", best=best)


def _fewest(tried: list[Remedy], was: float, badness: Badness) -> Remedy:
    """Return the first of the remedies, fewest settings first, that gains most of what the last one gains."""
    gains = [was - badness(each.after) for each in tried]
    return next(
        each
        for each, gain in zip(tried, gains, strict=True)
        if gain >= MOST_OF_IT * max(gains) or gain == max(gains)
    )


def _freed(setup: Setup, run: Run, step: int) -> list[Freed]:
    """Return what can be solved for in a step, the least first."""
    ring = run.settings.ring[step] > 0
    zones = run.settings.zones.shape[1] > 1 and not setup.rig.head.back_film
    if ring:
        return ["ring", "zones and ring"] if zones else ["ring"]
    return ["zones"] if zones else []


def _solved(
    setup: Setup, wafer: WaferResult, course: Course, run: Run, step: int, freed: Freed
) -> Remedy | None:
    """Return the solver's answer as it is written, run again; None where that changes nothing."""
    by, steps = SetBy(setup), range(len(wafer.steps))
    keep = [by.base(other) for other in steps if other != step]
    timed = _mending(wafer, step) if freed == "ring" else None
    if timed != step:
        keep.append(f"{by.base(step)}.time")
    if timed is not None and timed != step:
        keep.remove(by.base(timed))
        keep += [f"{by.base(timed)}.{key}" for key in ("zone_pressures", "ring_pressure")]
    if freed == "ring":
        keep.append(f"{by.base(step)}.zone_pressures")
    elif freed == "zones" and run.settings.ring[step] > 0:
        keep.append(f"{by.base(step)}.ring_pressure")
    freedom = Freedom(
        setup,
        run.settings,
        bounds=_holding(wafer, step, by),
        keep=keep,
        neighbour=None,
        most_time=None,
        time_words="",
    )
    goal = np.full(course.radius.size, wafer.mean(wafer.remaining.sum(axis=0)))
    search = Search(course, freedom, goal)
    begin = search.start(run)
    if begin is None:
        return None
    settled = freedom.rounded(search.improve(begin).settings, ROUNDED_PSI, ROUNDED_S)
    own = [at for at in steps if wafer.rig.steps[at].stop == "time"]
    changes = by.changes(run.settings, settled, times=own)
    if not changes:
        return None
    changed = setup.replace(changes)
    return Remedy(step, freed, changes, changed, polish(changed))


def _holding(wafer: WaferResult, step: int, by: SetBy) -> dict[str, str]:
    """Return the bound that keeps a ring that presses more than the wafer from being set below it, as it holds the wafer."""
    presses = _OVER * float(wafer.mean(wafer.steps[step].pressure))
    if wafer.rig.steps[step].ring_pressure <= presses:
        return {}
    least = min(np.ceil(presses / PSI / ROUNDED_PSI) * ROUNDED_PSI, wafer.rig.steps[step].ring_pressure / PSI)
    return {f"{by.base(step)}.ring_pressure": f"{least:.6g} psi.."}


def _mending(wafer: WaferResult, step: int) -> int:
    """Return which step's time makes up for another pressure: its own, or that of a later one that stops on what is left."""
    steps = wafer.rig.steps
    if steps[step].stop == "time":
        for later in range(step + 1, len(steps)):
            if steps[later].stop == "remaining":
                return later
    return step
