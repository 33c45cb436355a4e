"""The control of one step on one platen and head: ``advise`` says how to move, ``ran`` and ``learn`` what came of it.

Pure functions of records: no clock, no file, no chance. What a wafer gives is taken to be

    y = foretold + departure + G u        (outputs,)

with u how far the settings are moved from where they were set up, G what a move does, and the departure what a belief is
about. Metrology comes late: a wafer that ran waits with its own settings and its own pad until it is measured, so that each
measurement is held against what that wafer was given, whatever was moved since. The belief stands at the last wafer that
was measured; for an advice it is carried over all that wait. As it is the settings really used that count, neither a
limit that held them nor an advice that was declined winds anything up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.belief import Array, Belief, Estimator, moved
from planish.hold.control.moves import Room, best_move

SUSPECT = 4.0  # standard deviations of what was expected of a measured wafer
AGREEING = 3  # suspect ones in a row, all on one side, that are believed
MOST_WAITING = 500


@dataclass(frozen=True, slots=True, repr=False)
class Loop(Record):
    """What is fixed for a controlled step.

    Attributes
    ----------
    gain
        G: what each move does to each output, (outputs, moves).
    room
        Limits of the moves, and of their change from one wafer to the next.
    estimator
        How departures are followed.
    suspect
        Standard deviations from what is expected beyond which a measured wafer is held off.
    """

    gain: Array
    room: Room
    estimator: Estimator
    suspect: float = SUSPECT

    @property
    def outputs(self) -> int:
        """How many figures of a wafer are held."""
        return int(self.gain.shape[0])


class Coming(NamedTuple):
    """What is known of a wafer before it is polished.

    ``goal`` (outputs,) what it should give, ``foretold`` (outputs,) what the model says it gives with unmoved settings;
    ``aged``: of that, what came since its pad was new; ``changed`` before it: pad, disk, slurry.
    """

    goal: Array
    foretold: Array
    aged: float
    changed: tuple[str, ...] = ()


class Waiting(NamedTuple):
    """A wafer that ran and is not measured yet: its name, how far its settings were ``moved``, and what came."""

    wafer: str
    moved: Array
    coming: Coming


class LoopState(NamedTuple):
    """All that is carried from wafer to wafer.

    ``belief`` stands at the last wafer that was measured; ``last`` is how far the settings of the last wafer were moved;
    ``suspects``: signs of the suspect measurements in a row; ``done``: the last names that were measured or passed over.
    """

    belief: Belief
    last: Array
    waiting: tuple[Waiting, ...] = ()
    suspects: tuple[float, ...] = ()
    done: tuple[str, ...] = ()


class Advice(NamedTuple):
    """``moved`` (moves,) for the next wafer, what is ``expected`` of its outputs, their ``spread``, and which limits hold."""

    moved: Array
    expected: Array
    spread: Array
    limits: tuple[str, ...]


class Heard(NamedTuple):
    """What became of a measurement: ``learned`` or not, why, and how far it was ``off`` what was expected, over its spread."""

    learned: bool
    why: str
    off: Array
    spread: float


def first_state(loop: Loop) -> LoopState:
    """Return the state before the first wafer: new pad and disk, settings as they were set up."""
    return LoopState(loop.estimator.first(loop.outputs), np.zeros(loop.gain.shape[1]))


def advise(loop: Loop, state: LoopState, coming: Coming) -> Advice:
    """Say how to move for the next wafer.

    Parameters
    ----------
    loop
        The controlled step.
    state
        As it is; left so.
    coming
        What is known of that wafer.

    Returns
    -------
    Advice
        The move within its limits that comes closest to the goal.
    """
    belief = state.belief
    for one in state.waiting:
        belief = loop.estimator.later(belief, one.coming.changed)
    belief = loop.estimator.later(belief, coming.changed)
    row = loop.estimator.row(coming.aged)
    base = row @ belief.mean
    if loop.estimator.physics:
        base = base + coming.foretold
    move, limits = best_move(loop.gain, coming.goal - base, loop.room, state.last)
    spread = float(np.sqrt(row @ belief.spread @ row + loop.estimator.spreads.process**2))
    return Advice(move, base + loop.gain @ move, np.full(loop.outputs, spread), limits)


def ran(state: LoopState, wafer: str, moved_by: Array, coming: Coming) -> LoopState:
    """Return the state after a wafer was polished.

    Parameters
    ----------
    state
        Before.
    wafer
        Its name.
    moved_by
        How far its settings were moved: those it really had.
    coming
        What was known of it.

    Returns
    -------
    LoopState
        It waits for its measurement.

    Raises
    ------
    DataError
        For a name that waits already, and where too many wait.
    """
    if any(one.wafer == wafer for one in state.waiting) or wafer in state.done:
        raise DataError(refuse("wafer", wafer, "one that did not run before", "give each run its own name"))
    if len(state.waiting) >= MOST_WAITING:
        raise DataError(
            f"wafer {wafer}: {MOST_WAITING} wafers wait for their measurement: must be fewer (tell what was measured)"
        )
    return state._replace(
        waiting=(*state.waiting, Waiting(wafer, np.asarray(moved_by, dtype=float), coming)),
        last=np.asarray(moved_by, dtype=float),
    )


def learn(
    loop: Loop, state: LoopState, wafer: str, measured: Array | Sequence[float] | None
) -> tuple[LoopState, Heard]:
    """Take in what a wafer measured.

    Parameters
    ----------
    loop
        The controlled step.
    state
        Before.
    wafer
        Its name.
    measured
        Its outputs (outputs,); None, or a value that is no number, where they are missing.

    Returns
    -------
    tuple[LoopState, Heard]
        After, and what became of it. A measurement that is missing, comes after that of a later wafer, or is too far from
        what was expected is told and not learned; a suspect one is believed when it is the third in a row on one side.

    Raises
    ------
    DataError
        For a wafer that never ran, and another number of outputs.
    """
    names = [one.wafer for one in state.waiting]
    nothing = np.full(loop.outputs, np.nan)
    if wafer not in names:
        if wafer in state.done:
            return state, Heard(False, "out of order: it or a later wafer was told before", nothing, np.nan)
        raise DataError(
            refuse("wafer", wafer, "one that ran and waits", ", ".join(names[-5:]) or "none waits now")
        )
    at = names.index(wafer)
    given = None if measured is None else np.asarray(measured, dtype=float)
    if given is not None and given.shape != (loop.outputs,):
        raise DataError(
            refuse(f"wafer {wafer}: outputs measured", given.size, f"{loop.outputs}", "one for each that is held")
        )  # fmt: skip
    if given is None or not np.all(np.isfinite(given)):
        # it stays where it is: its changes and its place in time still count, and its measurement may yet come
        return state, Heard(False, "missing", nothing, np.nan)
    belief = state.belief
    for one in state.waiting[: at + 1]:
        belief = loop.estimator.later(belief, one.coming.changed)
    this = state.waiting[at]
    row = loop.estimator.row(this.coming.aged)
    expected = row @ belief.mean + loop.gain @ this.moved
    if loop.estimator.physics:
        expected = expected + this.coming.foretold
    noise = loop.estimator.spreads.noise
    spread = float(np.sqrt(row @ belief.spread @ row + noise))
    off = given - expected
    after = state._replace(
        belief=belief,
        waiting=state.waiting[at + 1 :],
        suspects=(),
        done=(*state.done, *names[: at + 1])[-2 * MOST_WAITING :],
    )
    worst = float(off[np.argmax(np.abs(off))])
    if abs(worst) > loop.suspect * spread:
        row_of = (*state.suspects, float(np.sign(worst)))
        if len(row_of) < AGREEING or len(set(row_of[-AGREEING:])) > 1:
            why = f"suspect: {abs(worst) / spread:.1f} standard deviations from what was expected"
            return after._replace(suspects=row_of), Heard(False, why, off, spread)
        belief = _widened(belief, row, worst**2)
        why = f"believed: {AGREEING} in a row as far off on one side"
    else:
        why = "learned"
    gain = loop.estimator.gain(belief, row)
    return after._replace(belief=moved(belief, gain, row, off, noise)), Heard(True, why, off, spread)


def _widened(belief: Belief, row: Array, more: float) -> Belief:
    """Return a belief that holds a shift of that square possible, in its first part."""
    spread = belief.spread.copy()
    spread[0, 0] += more / max(float(row[0]) ** 2, 1e-12)
    return belief._replace(spread=spread)
