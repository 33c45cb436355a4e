"""Settings of steps as changes of a setup: pressures in psi and times in s, as they are printed."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from planish.setup import paths
from planish.setup.changes import quantity_text

if TYPE_CHECKING:
    from planish.setup.changes import Changes
    from planish.setup.models import Setup
    from planish.setup.si import Rig
    from planish.tuning.course import Settings


class SetBy:
    """What puts settings into a setup.

    Parameters
    ----------
    setup
        Whose steps and zones they are.
    """

    def __init__(self, setup: Setup) -> None:
        self._tree = setup.tree
        self._names = [zone.name for zone in setup.model.head.zone]
        self._rigid = bool(setup.rig.head.back_film)

    def name(self, which: int) -> str:
        """Return what a setting is called: zone from 0, the ring after the last."""
        if which == len(self._names):
            return "the ring"
        if self._rigid or len(self._names) == 1:
            return "the pressure"
        return f"the {self._names[which]} zone"

    def base(self, step: int) -> str:
        """Return the dotted path of a step, from 0."""
        return paths.show(("recipe", "step", step), self._tree)

    def changes(self, before: Settings, after: Settings, *, times: Iterable[int]) -> Changes:
        """Return the changes from settings to others.

        Parameters
        ----------
        before, after
            The settings.
        times
            Steps whose times are written, from 0; the others stop on an amount.

        Returns
        -------
        Changes
            For ``Setup.replace``.
        """
        made: Changes = {}
        timed = set(times)
        for step in range(after.time.size):
            base = self.base(step)
            if not np.array_equal(after.zones[step], before.zones[step]):
                texts = [quantity_text(float(p), "pressure") for p in after.zones[step]]
                made[f"{base}.zone_pressures"] = texts[0] if len(set(texts)) == 1 else texts
            if after.ring[step] != before.ring[step]:
                made[f"{base}.ring_pressure"] = quantity_text(float(after.ring[step]), "pressure")
            if step in timed and after.time[step] != before.time[step]:
                made[f"{base}.time"] = quantity_text(float(after.time[step]), "time")
        return made


def settled_changes(setup: Setup, start: Settings, settled: Settings) -> Changes:
    """Return the changes from a setup to settings; a step that stopped on an amount then stops on a time.

    Parameters
    ----------
    setup
        Before.
    start
        Its settings, with the times that its steps took.
    settled
        The settings.

    Returns
    -------
    Changes
        For ``Setup.replace``; None takes a key out.
    """
    by, steps = SetBy(setup), setup.rig.steps
    made = by.changes(start, settled, times=range(len(steps)))
    for index, step in enumerate(steps):
        if step.stop == "time":
            continue
        base = by.base(index)
        made[f"{base}.time"] = quantity_text(float(settled.time[index]), "time")
        for key in ("stop_on_removed", "stop_on_remaining", "max_time"):
            if setup.model.recipe.step[index].model_dump().get(key) is not None:
                made[f"{base}.{key}"] = None
    return made


def timed(rig: Rig) -> list[str]:
    """Say which steps stopped on an amount and are given a time.

    Parameters
    ----------
    rig
        Before.
    """
    names = [step.name for step in rig.steps if step.stop != "time"]
    if not names:
        return []
    return [f"step {', '.join(names)}: stopped on an amount; the tuned setup stops it on a time instead"]
