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
    from planish.tuning.course import Amounts, Settings

_DECIMALS = 3  # of a nm, as amounts are written
_SAME = 0.5e-12  # [m]: amounts this near are written alike


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


def settled_changes(setup: Setup, start: Settings, settled: Settings, amounts: Amounts) -> Changes:
    """Return the changes from a setup to settings.

    Parameters
    ----------
    setup
        Before.
    start
        Its settings, with the times that its steps took.
    settled
        The settings.
    amounts
        On which steps stop that stopped on one; a step without one then stops on its time.

    Returns
    -------
    Changes
        For ``Setup.replace``; None takes a key out.
    """
    by, steps = SetBy(setup), setup.rig.steps
    made = by.changes(start, settled, times=[at for at, amount in enumerate(amounts) if amount is None])
    for index, (step, amount) in enumerate(zip(steps, amounts, strict=True)):
        if step.stop == "time":
            continue
        base = by.base(index)
        if amount is not None:
            if abs(amount - step.stop_value) > _SAME:
                made[f"{base}.stop_on_{step.stop}"] = f"{1e9 * amount:.{_DECIMALS}f} nm"
            continue
        made[f"{base}.time"] = quantity_text(float(settled.time[index]), "time")
        for key in ("stop_on_removed", "stop_on_remaining", "max_time"):
            if setup.model.recipe.step[index].model_dump().get(key) is not None:
                made[f"{base}.{key}"] = None
    return made
