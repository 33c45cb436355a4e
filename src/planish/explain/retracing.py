"""A pad and a carrier that turn in a small whole-number ratio, and the nearest speed of the carrier that does not."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.errors import PlanishError
from planish.explain.headlines import Headlines, headlines
from planish.explain.settings_of import setup_of
from planish.predict.wafer.polish import polish
from planish.predict.wafer.step_plan import speeds
from planish.setup import paths
from planish.units import RPM

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.si import Rig

_FARTHEST = 10  # rpm to either side that are looked at
Promised = dict[str, tuple[float | None, float | None]]


def retracing_steps(rig: Rig) -> list[int]:
    """Return the steps, from 0, in which each wafer point retraces one path on the pad."""
    return [at for at, step in enumerate(rig.steps) if rig.polisher.retrace(*speeds(rig, step)) is not None]


def other_speed(result: WaferResult, step: int) -> tuple[str, Changes, Promised] | None:
    """Return the nearest whole carrier speed at which a step retraces no path, and what a wafer polished so shows.

    Parameters
    ----------
    result
        The wafer.
    step
        Of its recipe, from 0.

    Returns
    -------
    tuple[str, Changes, Promised] | None
        A sentence, the change, and figures before and after; None where there is none near by, or no setup to change.
    """
    setup = setup_of(result)
    if setup is None or not result.removed.any():
        return None
    place = paths.show(("recipe", "step", step, "carrier_speed"), setup.tree)
    now = result.rig.steps[step].carrier_speed / RPM
    for by in sorted(range(-_FARTHEST, _FARTHEST + 1), key=abs):
        changes: Changes = {place: f"{round(now) + by} rpm"}
        try:
            changed = setup.replace(changes)
            if by == 0 or step in retracing_steps(changed.rig):
                continue
            was, is_now = headlines(result), headlines(polish(changed))
        except PlanishError:
            continue
        told = (
            f" The nearest speed of the carrier without such a ratio: {now:.6g} → {round(now) + by} rpm. Run again as written: "
            f"whole wafer {was.wiwnu_sigma_percent:.2f} → {is_now.wiwnu_sigma_percent:.2f} % (1σ), rate "
            f"{was.mean_removal_rate_nm_per_min:.1f} → {is_now.mean_removal_rate_nm_per_min:.1f} nm/min."
        )
        return (
            told,
            changes,
            {key: (old, new) for key, old, new in zip(Headlines._fields, was, is_now, strict=True)},
        )
    return None
