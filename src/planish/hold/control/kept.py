"""A step under control in a folder: its plan, its journal, and what a person or a machine asks of them.

Nothing here moves a machine. What is advised waits for a person; only where the step was switched to automatic does an advice
count as approved at once. Switched off, it advises nothing and approves nothing, whatever waited. The clock is the caller's.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.record import figure
from planish.errors import DataError, refuse
from planish.hold.control.advice import ControlAdvice, ControlNews, told_settings
from planish.hold.control.ageing import Ages
from planish.hold.control.belief import CHANGES, Array
from planish.hold.control.journal import Entry, Journal, JournalFile
from planish.hold.control.loop import advise
from planish.hold.control.plan import ControlPlan, read_plan
from planish.hold.control.replay import Now, Place, apply, replay
from planish.hold.control.result import CAUTION
from planish.hold.control.stopping import JOURNAL, STOPPED, off_entry, one_line
from planish.units import as_si

if TYPE_CHECKING:
    pass

PLAN = "plan.json"
MODES = ("advice", "automatic")
ONE = "1"
AUTOMATIC = "automatic"

Amounts = float | str | Sequence[float | str]


class ControlledStep:
    """A step under control.

    Parameters
    ----------
    plan
        What is fixed.
    journal
        Where what happens is kept.
    """

    def __init__(self, plan: ControlPlan, journal: Journal) -> None:
        self.plan = plan
        self.journal = journal

    @classmethod
    def open(cls, folder: str | os.PathLike[str]) -> ControlledStep:
        """Return the controlled step of a folder.

        Raises
        ------
        DataError
            Where there is none.
        """
        where = Path(folder)
        return cls(read_plan(where / PLAN), JournalFile(where / JOURNAL))

    def now(self) -> Now:
        """Return where everything stands."""
        return replay(self.plan, self.journal.entries())

    def advise(
        self,
        *,
        when: str,
        by: str = AUTOMATIC,
        head: str = ONE,
        platen: str = ONE,
        incoming: Amounts | None = None,
    ) -> ControlAdvice:
        """Say what to set for the next wafer.

        Parameters
        ----------
        when, by
            As text: the time, and who asks.
        head, platen
            Which.
        incoming
            Thickness of all films that comes in [m], or text: of the wafer or of each zone; as set up unless given.

        Returns
        -------
        ControlAdvice
            It waits for a person, unless the step is switched to automatic; where it is switched off it says so.
        """
        place = _place(head, platen)
        with self.journal.alone():
            now = self.now()
            held = now.at(place)
            thick = None if incoming is None else self._amounts("incoming", incoming)
            coming = now.coming(place, thick)
            found = advise(self.plan.loop, held.state, coming)
            settings = self.plan.step.settings(found.moved)
            expected = found.expected + self.plan.loop.gain @ (self.plan.step.moves(settings) - found.moved)
            amounts = self.plan.step.removed(expected)
            why = self._why(now, place, expected, coming.goal)
            if now.switch.mode == "off":
                return ControlAdvice(
                    None, place, self.plan.step.step, self.plan.step.outputs, held.settings, held.settings, amounts * np.nan,
                    amounts * np.nan, (), f"switched {now.switch.told}: no move is made", False, now.switch.told,
                )  # fmt: skip
            number = max(now.advised, default=0) + 1
            details = {"number": number, "head": head, "platen": platen, **told_settings(settings)}
            if thick is not None:
                details["incoming_nm"] = (1e9 * thick).tolist()
            who = one_line("by", by)
            self.journal.add(Entry("advised", one_line("when", when), who, why, details))
            automatic = now.switch.mode == AUTOMATIC
            if automatic:
                self.journal.add(
                    Entry("approved", when, AUTOMATIC, f"switched {now.switch.told}", _decided(number, place))
                )
            return ControlAdvice(
                number, place, self.plan.step.step, self.plan.step.outputs, settings, held.settings, amounts,
                amounts * found.spread, found.limits, why, automatic, now.switch.told,
            )  # fmt: skip

    def approve(self, number: int, *, by: str, when: str, why: str = "") -> ControlNews:
        """Put an advice in force: its settings count for the wafers that follow.

        Parameters
        ----------
        number
            Of the advice.
        by
            Who says so.
        when
            The time, as text.
        why
            For what reason; kept.

        Returns
        -------
        ControlNews
            What is in force.

        Raises
        ------
        DataError
            For an advice that does not wait any more, and where the step is switched off.
        """
        return self._decide("approved", number, by, when, why)

    def decline(self, number: int, *, by: str, when: str, why: str = "") -> ControlNews:
        """Turn an advice down: the settings in force stay.

        Parameters
        ----------
        number
            Of the advice.
        by
            Who says so.
        when
            The time, as text.
        why
            For what reason; kept.

        Returns
        -------
        ControlNews
            What stays in force.

        Raises
        ------
        DataError
            For an advice that does not wait any more.
        """
        return self._decide("declined", number, by, when, why)

    def ran(
        self,
        wafer: str,
        *,
        by: str,
        when: str,
        head: str = ONE,
        platen: str = ONE,
        time: float | str | None = None,
        incoming: Amounts | None = None,
    ) -> ControlNews:
        """Tell that a wafer was polished: with the settings in force, or with another ``time`` [s].

        Parameters
        ----------
        wafer
            Its name.
        by
            Who says so.
        when
            The time, as text.
        head
            Which head.
        platen
            Which platen.
        time
            Of the step [s], or text, where it was not the one in force.
        incoming
            Thickness of all films that came in [m], or text: of the wafer or of each zone; as set up unless given.

        Returns
        -------
        ControlNews
            How many wait for their measurement.
        """
        place = _place(head, platen)
        with self.journal.alone():
            now = self.now()
            asked = now.at(place).settings
            if time is not None:
                asked = asked._replace(time=as_si(time, "time", "time"))
            details = {
                "wafer": one_line("wafer", wafer),
                "head": head,
                "platen": platen,
                **told_settings(asked),
            }
            if incoming is not None:
                details["incoming_nm"] = (1e9 * self._amounts("incoming", incoming)).tolist()
            self._add(now, Entry("ran", one_line("when", when), one_line("by", by), "", details))
            waiting = len(now.at(place).state.waiting)
            ages = now.ages[platen]
        return ControlNews(
            f"wafer {wafer} ran with {figure(asked.time, 's')}; {waiting} wait for their measurement",
            {"waiting": waiting, "pad_wafers": ages.pad, "disk_wafers": ages.disk, **told_settings(asked)},
        )

    def measured(
        self,
        wafer: str,
        removed: Amounts | None,
        *,
        by: str,
        when: str,
        head: str = ONE,
        platen: str = ONE,
    ) -> ControlNews:
        """Tell what a wafer measured: removed [m] or text, of the wafer or of each zone; None where it is missing.

        Parameters
        ----------
        wafer
            Its name.
        removed
            As measured.
        by
            Who says so.
        when
            The time, as text.
        head
            Which head.
        platen
            Which platen.

        Returns
        -------
        ControlNews
            Whether it was learned, and why not.
        """
        place = _place(head, platen)
        with self.journal.alone():
            now = self.now()
            amounts = None if removed is None else self._amounts("removed", removed)
            details = {
                "wafer": one_line("wafer", wafer),
                "head": head,
                "platen": platen,
                "removed_nm": None if amounts is None else (1e9 * amounts).tolist(),
            }
            self._add(now, Entry("measured", one_line("when", when), one_line("by", by), "", details))
            heard = now.at(place).heard
            assert heard is not None  # told just now
        off = heard.off[int(np.nanargmax(np.abs(heard.off)))] if np.any(np.isfinite(heard.off)) else None
        told = (
            ""
            if off is None
            else f", {100 * off:+.2f} % from what was expected (± {100 * heard.spread:.2f} %)"
        )
        return ControlNews(
            f"wafer {wafer}: {heard.why}{told}",
            {
                "learned": heard.learned,
                "why": heard.why,
                "off_percent": None if off is None else 100 * float(off),
                "spread_percent": 100 * heard.spread,
            },
        )

    def changed(self, part: str, *, by: str, when: str, why: str = "", platen: str = ONE) -> ControlNews:
        """Tell that the pad, the disk or the batch of slurry of a platen was changed.

        Parameters
        ----------
        part
            "pad", "disk" or "slurry".
        by
            Who says so.
        when
            The time, as text.
        why
            For what reason; kept.
        platen
            Which platen.

        Returns
        -------
        ControlNews
            What begins anew.
        """
        if part not in CHANGES:
            raise DataError(refuse("changed", part, f"one of {', '.join(CHANGES)}"))
        with self.journal.alone():
            now = self.now()
            details = {"part": part, "platen": one_line("platen", platen)}
            self._add(
                now,
                Entry(
                    "changed",
                    one_line("when", when),
                    one_line("by", by),
                    one_line("why", why, empty=True),
                    details,
                ),
            )
        return ControlNews(
            f"new {part} on platen {platen}: what is known of it begins anew, the rest is kept",
            {"part": part, "platen": platen},
        )

    def switch_on(self, *, by: str, when: str, why: str, mode: str = "advice") -> ControlNews:
        """Switch it on: in advice, or to automatic, where an advice counts as approved at once.

        Parameters
        ----------
        by
            Who says so.
        when
            The time, as text.
        why
            For what reason; kept.
        mode
            "advice" or "automatic".

        Returns
        -------
        ControlNews
            The mode.
        """
        if mode not in MODES:
            raise DataError(refuse("mode", mode, f"one of {', '.join(MODES)}"))
        self.journal.add(
            Entry("on", one_line("when", when), one_line("by", by), one_line("why", why), {"mode": mode})
        )
        return ControlNews(f"switched on, {mode}, by {by}: {why}", {"mode": mode})

    def switch_off(self, *, when: str, by: str = "not said", why: str = "") -> ControlNews:
        """Switch it off at once: no advice, no approval; the settings in force stay. It needs no reason and reads nothing.

        Parameters
        ----------
        when
            The time, as text.
        by
            Who says so.
        why
            For what reason; kept.

        Returns
        -------
        ControlNews
            That no move is made.
        """
        self.journal.add(off_entry(when, by, why))
        return ControlNews(STOPPED, {"mode": "off"})

    def status(self) -> ControlNews:
        """Return where heads and platens stand."""
        now = self.now()
        rows = [
            {
                "head": place[0],
                "platen": place[1],
                **told_settings(held.settings),
                "pad_wafers": now.ages.get(place[1], Ages()).pad,
                "disk_wafers": now.ages.get(place[1], Ages()).disk,
                "waiting": len(held.state.waiting),
                "advice": held.open,
                "last": "" if held.heard is None else held.heard.why,
            }
            for place, held in sorted(now.places.items())
        ]
        torn = getattr(self.journal, "torn", [])
        said = [f"journal: line {line} was cut off by a crash and counts for nothing" for line in torn]
        return ControlNews(
            f"{self.plan.loop.estimator.name} on step {self.plan.step.step}: {now.switch.told}",
            {"mode": now.switch.mode, "places": rows, "notes": [*said, CAUTION]},
        )

    def _add(self, now: Now, entry: Entry) -> None:
        """Let an event happen, and keep it where it can."""
        apply(now, entry)
        self.journal.add(entry)

    def _decide(self, what: str, number: int, by: str, when: str, why: str) -> ControlNews:
        with self.journal.alone():
            now = self.now()
            if what == "approved" and now.switch.mode == "off":
                raise DataError(
                    f"advice {number}: switched {now.switch.told}: no move is made (switch it on first)"
                )
            waiting = sorted(held.open for held in now.places.values() if held.open is not None)
            if number not in waiting:
                told = ", ".join(map(str, waiting)) or "none waits now"
                raise DataError(refuse("number of the advice", number, "one that waits", told))
            place, asked = now.advised[number]
            self._add(
                now,
                Entry(
                    what,
                    one_line("when", when),
                    one_line("by", by),
                    one_line("why", why, empty=True),
                    _decided(number, place),
                ),
            )
            inforce = now.at(place).settings
        words = (
            f"advice {number} is in force: {figure(asked.time, 's')}"
            if what == "approved"
            else f"advice {number} is declined: {figure(inforce.time, 's')} stays in force"
        )
        return ControlNews(words, {"number": number, "decided": what, **told_settings(inforce)})

    def _amounts(self, name: str, given: Amounts) -> Array:
        """Return amounts [m] of each output."""
        several = [given] if isinstance(given, str | int | float) else list(given)
        if len(several) != len(self.plan.step.outputs):
            held = ", ".join(self.plan.step.outputs)
            raise DataError(
                refuse(
                    f"{name}: amounts", len(several), f"{len(self.plan.step.outputs)}: one each for {held}"
                )
            )
        found = np.array([as_si(one, "thickness", name) for one in several])
        odd = found[~((found >= 0) & (found < 1e-3))]
        if odd.size:
            raise DataError(refuse(f"{name} [nm]", 1e9 * float(odd[0]), "0 nm or more and less than 1 mm"))
        return found

    def _why(self, now: Now, place: Place, expected: Array, goal: Array) -> str:
        ages = now.ages.get(place[1], Ages())
        waiting = len(now.at(place).state.waiting)
        foretold = float(self.plan.step.shares @ self.plan.ageing.at(ages.pad, ages.disk))
        off = 100 * float(self.plan.step.shares @ (expected - goal))
        model = (
            f"the model foretells {100 * foretold:+.2f} % at the time set up; "
            if self.plan.loop.estimator.physics
            else ""
        )
        return (
            f"{self.plan.loop.estimator.name}: pad {ages.pad} and disk {ages.disk} wafers old; {model}{waiting} not measured yet; expected "
            f"{off:+.2f} % from what is wanted"
        )


def _decided(number: int, place: Place) -> dict[str, Any]:
    return {"number": number, "head": place[0], "platen": place[1]}


def _place(head: str, platen: str) -> Place:
    return one_line("head", head), one_line("platen", platen)
