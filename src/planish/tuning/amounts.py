"""The amounts on which steps stop, for settings that are solved for in times.

A step that stops on an amount takes as long as that takes on the wafer and the pad it meets, and so forgives what a time
does not: another rate constant, a worn pad, a thicker film. A tuned setup keeps that: what is written of such a step is not
its time but the amount that it has taken, or left, by then.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from planish.predict.wafer.films import stop_amount

if TYPE_CHECKING:
    from planish.setup.si import Rig
    from planish.tuning.course import Amounts, Course, Run, Settings

T = TypeVar("T")
_GONE = 1e-10  # [m]: a film of less is gone, and no amount of it stops a step
_MET = 2e-12  # [m] of the mean left
_ROUNDS = 3


def amounts_at(course: Course, run: Run) -> Amounts:
    """Return what each step that stops on an amount has taken, or left, at the times of a run.

    Parameters
    ----------
    course, run
        The recipe with its own stops, and the run that was timed.

    Returns
    -------
    Amounts
        None too for a step whose film is gone by then: no amount would stop it there.
    """
    weights, made = course.counted.weights, []
    begins = [passed.left for passed in run.steps]
    ends = [*begins[1:], run.left]
    for step, kept, begin, end in zip(course.rig.steps, course.kept, begins, ends, strict=True):
        amount = kept
        if step.stop != "time" and kept is None:
            which, _ = stop_amount(step, begin, weights)
            left = float(end[which].sum(axis=0) @ weights)
            if left > _GONE:
                before = float(begin[which].sum(axis=0) @ weights)
                amount = left if step.stop == "remaining" else before - left
        made.append(amount)
    return tuple(made)


def amounts_for(course: Course, settings: Settings) -> Amounts:
    """Return the amounts on which steps stop, at settings that are solved for in times.

    Parameters
    ----------
    course
        The recipe with its own stops.
    settings
        As solved for; polished where a step stops on an amount that is not kept.
    """
    if all(
        step.stop == "time" or kept is not None
        for step, kept in zip(course.rig.steps, course.kept, strict=True)
    ):
        return course.kept
    return amounts_at(course, course.run(settings))


def kept_amounts(rig: Rig, free: NDArray[np.bool_]) -> Amounts:
    """Return the amounts of steps of which nothing moves.

    Parameters
    ----------
    rig
        With its stops.
    free
        What moves, (steps, zones + 2).
    """
    return tuple(
        None if step.stop == "time" or moves else step.stop_value
        for step, moves in zip(rig.steps, np.asarray(free.any(axis=1)), strict=True)
    )


def on_target(
    courses: Sequence[Course],
    amounts: Sequence[Amounts],
    polished: Callable[[Sequence[Amounts]], T],
    gap: Callable[[T], float],
) -> tuple[T, tuple[Amounts, ...]]:
    """Return what is polished with the amounts, the last that is not kept moved until the mean is met.

    Parameters
    ----------
    courses
        Of each platen, whose stops count.
    amounts
        Of each.
    polished
        Polishes with amounts.
    gap
        What is left less what is wanted of that, in the mean [m].

    Returns
    -------
    tuple[T, tuple[Amounts, ...]]
        Of a wafer polished with these amounts.
    """
    now = [list(each) for each in amounts]
    places = [
        (platen, step)
        for platen, each in enumerate(now)
        for step, one in enumerate(each)
        if one is not None and courses[platen].kept[step] is None
    ]
    made = polished(amounts)
    for _ in range(_ROUNDS if places else 0):
        off = gap(made)
        if not np.isfinite(off) or abs(off) < _MET:
            break
        platen, step = places[-1]
        before = now[platen][step] or 0.0
        sign = -1.0 if courses[platen].rig.steps[step].stop == "remaining" else 1.0
        now[platen][step] = before + sign * off
        tried = polished([tuple(each) for each in now])
        if not abs(gap(tried)) < abs(off):
            now[platen][step] = before
            break
        made = tried
    return made, tuple(tuple(each) for each in now)


def amounts_told(course: Course, amounts: Amounts) -> list[str]:
    """Say what becomes of steps that stop on an amount.

    Parameters
    ----------
    course
        With its own stops.
    amounts
        Now.
    """
    told, timed = [], []
    for step, kept, amount in zip(course.rig.steps, course.kept, amounts, strict=True):
        if step.stop == "time" or kept is not None:
            continue
        if amount is None:
            timed.append(step.name)
        else:
            how = "left" if step.stop == "remaining" else "removed"
            told.append(
                f"step {step.name}: stops on an amount as before, now {1e9 * amount:.2f} nm {how}; its time is what that takes"
            )
    if timed:
        told.append(
            f"step {', '.join(timed)}: stopped on an amount; the tuned setup stops it on a time instead, as the film that "
            "counts is gone by then"
        )
    return told
