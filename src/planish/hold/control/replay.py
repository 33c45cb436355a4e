"""The state of controlled heads and platens, from what the journal says happened to them.

One plan may hold several heads and platens: each pair has a belief of its own, for no two polish alike; pad and disk belong to
the platen and age with every wafer on it, whichever head carried that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np

from planish.errors import DataError, refuse
from planish.hold.control.ageing import Ages, foretold
from planish.hold.control.belief import CHANGES, Array
from planish.hold.control.journal import Entry
from planish.hold.control.loop import Coming, Heard, LoopState, first_state, learn, ran
from planish.hold.control.plan import ControlPlan
from planish.hold.control.steered import Asked
from planish.units import PSI

Place: TypeAlias = tuple[str, str]
"""Head and platen."""


@dataclass(frozen=True, slots=True)
class Switch:
    """``mode`` "off", "advice" or "automatic"; who set it, when, and why."""

    mode: str
    who: str
    when: str
    why: str

    @property
    def told(self) -> str:
        """In a few words."""
        return f"{self.mode} since {self.when}, by {self.who}" + (f": {self.why}" if self.why else "")


@dataclass(slots=True)
class Held:
    """One head on one platen."""

    state: LoopState
    settings: Asked
    changed: tuple[str, ...] = ()
    open: int | None = None  # number of the advice that waits for a person
    heard: Heard | None = None


@dataclass(slots=True)
class Now:
    """Where everything stands."""

    plan: ControlPlan
    switch: Switch
    places: dict[Place, Held] = field(default_factory=dict)
    ages: dict[str, Ages] = field(default_factory=dict)
    advised: dict[int, tuple[Place, Asked]] = field(default_factory=dict)

    def at(self, place: Place) -> Held:
        """Return a head on a platen; a new one begins as the plan was set up."""
        if place not in self.places:
            step = self.plan.step
            self.places[place] = Held(first_state(self.plan.loop), Asked(step.time, step.pressures))
        return self.places[place]

    def coming(self, place: Place, incoming: Array | None) -> Coming:
        """Return what is known of the next wafer of a head on a platen; ``incoming`` (outputs,) [m].

        Parameters
        ----------
        place
            Head and platen.
        incoming
            Thickness that comes in, (outputs,) [m]; as set up where None.

        Returns
        -------
        Coming
            For its loop.
        """
        step = self.plan.step
        base, aged = foretold(self.plan.ageing, self.ages.get(place[1], Ages()), step.shares)
        goal = np.zeros(len(step.outputs))
        if incoming is not None:
            left = step.incoming - step.wanted
            amount = incoming - left
            if not np.all((amount > 0.2 * step.wanted) & (amount < 5 * step.wanted)):
                raise DataError(
                    refuse("incoming [nm]", [round(1e9 * one, 3) for one in incoming.tolist()],
                           f"about {1e9 * float(step.shares @ step.incoming):.4g} nm",
                           f"{1e9 * float(step.shares @ left):.4g} nm are to be left")
                )  # fmt: skip
            goal = np.log(amount / step.wanted)
        return Coming(goal, base, aged, self.at(place).changed)


def replay(plan: ControlPlan, entries: Iterable[Entry]) -> Now:
    """Return where a controlled step stands.

    Parameters
    ----------
    plan
        What is fixed.
    entries
        All that happened, the first one first.

    Returns
    -------
    Now
        The same for the same entries.

    Raises
    ------
    DataError
        For entries that do not belong together.
    """
    now = Now(plan, Switch("off", "nobody", "the beginning", "it was never switched on"))
    for number, entry in enumerate(entries, 1):
        try:
            apply(now, entry)
        except (KeyError, TypeError, ValueError) as problem:
            raise DataError(
                f"journal: event {number}, {entry.what}: lacks what it needs ({type(problem).__name__} {problem}): must be as it "
                "was written (restore the file from its copy)"
            ) from None
    return now


def apply(now: Now, entry: Entry) -> None:
    """Let one event happen; ``now`` is changed.

    Parameters
    ----------
    now
        Where everything stands; it is changed.
    entry
        What happened.
    """
    told = entry.details
    if entry.what in ("on", "begun"):
        now.switch = Switch(str(told["mode"]), entry.who, entry.when, entry.why)
        return
    if entry.what == "off":
        now.switch = Switch("off", entry.who, entry.when, entry.why)
        for held in now.places.values():
            held.open = None
        return
    if entry.what == "changed":
        _changed(now, str(told["part"]), str(told["platen"]))
        return
    place = (str(told["head"]), str(told["platen"]))
    held = now.at(place)
    if entry.what == "advised":
        number = int(told["number"])
        now.advised[number] = (place, _asked(now, told))
        held.open = number
    elif entry.what == "approved":
        if now.switch.mode != "off":  # switched off between advice and approval: what stands first counts
            held.settings = now.advised[int(told["number"])][1]
        held.open = None
    elif entry.what == "declined":
        held.open = None
    elif entry.what == "ran":
        coming = now.coming(place, _nanometres(told.get("incoming_nm")))
        moved = now.plan.step.moves(_asked(now, told))
        held.state = ran(held.state, str(told["wafer"]), moved, coming)
        held.changed, held.open = (), None
        now.ages[place[1]] = now.ages.get(place[1], Ages()).later()
    elif entry.what == "measured":
        removed = _nanometres(told.get("removed_nm"))
        output = None if removed is None else now.plan.step.output(removed)
        held.state, held.heard = learn(now.plan.loop, held.state, str(told["wafer"]), output)


def _changed(now: Now, part: str, platen: str) -> None:
    if part not in CHANGES:
        raise DataError(refuse("changed", part, f"one of {', '.join(CHANGES)}"))
    now.ages[platen] = now.ages.get(platen, Ages()).changed((part,))
    for place, held in now.places.items():
        if place[1] == platen and part not in held.changed:
            held.changed = (*held.changed, part)
            held.open = None  # what was advised was for the old one


def _asked(now: Now, told: dict[str, Any]) -> Asked:
    step = now.plan.step
    pressures = step.pressures
    if step.zones:
        pressures = PSI * np.array([float(one) for one in told["pressures_psi"]])
        if pressures.shape != step.pressures.shape:
            raise DataError(
                refuse("pressures", len(told["pressures_psi"]), f"{step.pressures.size}, one for each zone")
            )
    time = float(told["time_s"])
    if not 0 < time < 1e5:
        raise DataError(refuse("time [s]", time, "above 0 and below 100000"))
    return Asked(time, pressures)


def _nanometres(told: Any) -> Array | None:
    return None if told is None else 1e-9 * np.array([float(one) for one in told])
