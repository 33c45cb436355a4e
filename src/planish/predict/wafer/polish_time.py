"""A recipe made to take the time that a wafer was really polished for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planish.errors import SetupError
from planish.predict.wafer.polish import polish

if TYPE_CHECKING:
    from planish.setup.si import Rig

#: A recipe whose timed steps add up to the stated time within this share takes that time already.
SAME = 1e-3


def with_total_time(rig: Rig, total: float) -> tuple[Rig, tuple[str, ...]]:
    """Return the setup polished for a total time.

    Parameters
    ----------
    rig
        The setup.
    total
        In all [s].

    Returns
    -------
    tuple[Rig, tuple[str, ...]]
        The setup, and what had to be assumed for that.

    Raises
    ------
    SetupError
        If the timed steps alone take ``total`` or longer while other steps stop on an amount.

    Notes
    -----
    Timed steps keep their times; a step that stops on an amount gets what they leave. Where several stop on
    an amount they share it as the prediction would; where every step is timed and the recipe takes another
    time, all steps are stretched alike. Both are said in the second value.
    """
    open_steps = [step for step in rig.steps if step.stop != "time"]
    fixed = sum(step.stop_value for step in rig.steps if step.stop == "time")
    notes: tuple[str, ...] = ()
    if not open_steps:
        if abs(fixed - total) <= SAME * total:
            return rig, ()
        times = {step.name: step.stop_value * total / fixed for step in rig.steps}
        if len(rig.steps) > 1:
            notes = (
                f"the recipe's steps take {fixed:.4g} s, the wafer was polished for {total:.4g} s: "
                "all steps are stretched alike (give the wafer's own recipe to be sure)",
            )
        else:
            notes = (f"the recipe takes {fixed:.4g} s, the wafer was polished for {total:.4g} s",)
    else:
        if total <= fixed:
            raise SetupError(
                f"polish time = {total:g} s: must be above the {fixed:g} s that the recipe's timed steps take "
                "(give the wafer's own recipe, or its time)"
            )
        rest = total - fixed
        if len(open_steps) == 1:
            times = {open_steps[0].name: rest}
        else:
            lasted = {one.name: one.duration for one in polish(rig).steps}
            together = sum(lasted[step.name] for step in open_steps)
            times = {step.name: rest * lasted[step.name] / together for step in open_steps}
            told = ", ".join(f"{name} {seconds:.4g} s" for name, seconds in times.items())
            notes = (
                f"{len(open_steps)} steps stop on an amount: the {rest:.4g} s of polish time left to them are "
                f"shared as predicted ({told})",
            )
    timed = tuple(
        replace(step, stop="time", stop_value=times[step.name]) if step.name in times else step
        for step in rig.steps
    )
    return replace(rig, steps=timed), notes
