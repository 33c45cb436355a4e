"""What a change of settings makes worse, told beside what it mends."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.explain.headlines import headlines
from planish.physics.surface.softening import HOTTEST
from planish.units import PSI, ZERO_CELSIUS

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.tuning.remedy import Remedy

_NOTICED = 0.005  # of a rate, a time or a thickness: less is not told as worse
_WARMER = 1.0  # [K] likewise
_LESS = 0.05 * PSI  # of what the ring presses beyond the wafer, likewise


def worse_by(setup: Setup, before: WaferResult, found: Remedy) -> list[str]:
    """Return what is worse with a remedy, each as a short phrase.

    Parameters
    ----------
    setup
        Without it.
    before
        The wafer without it.
    found
        The remedy, with its wafer.

    Returns
    -------
    list[str]
        Empty where nothing is.
    """
    after = found.after
    return [
        *_figures(before, after),
        *_ring(before, after, found.step),
        *_newly_raised(before, after),
        *(f"a new warning, {text}" for text in found.setup.warnings if text not in setup.warnings),
    ]


def _figures(before: WaferResult, after: WaferResult) -> list[str]:
    was, now = headlines(before), headlines(after)
    told = []
    if round(abs(now.edge_extreme_percent or 0.0), 1) > round(abs(was.edge_extreme_percent or 0.0), 1):
        told.append("the edge")
    if round(now.wiwnu_sigma_percent, 2) > round(was.wiwnu_sigma_percent, 2):
        told.append("the whole wafer")
    if now.mean_removal_rate_nm_per_min < (1 - _NOTICED) * was.mean_removal_rate_nm_per_min:
        told.append("the rate")
    if now.time_s > (1 + _NOTICED) * was.time_s:
        told.append("the time")
    if now.peak_temperature_C - was.peak_temperature_C >= _WARMER:
        boils = ", where water boils" if now.peak_temperature_C > HOTTEST - ZERO_CELSIUS else ""
        told.append(
            f"the pad at its warmest, {was.peak_temperature_C:.0f} → {now.peak_temperature_C:.0f} °C{boils}"
        )
    if abs(now.mean_remaining_nm - was.mean_remaining_nm) > _NOTICED * was.mean_removed_nm:
        told.append(f"what is left, {was.mean_remaining_nm:.1f} → {now.mean_remaining_nm:.1f} nm")
    return told


def _ring(before: WaferResult, after: WaferResult, step: int) -> list[str]:
    """Tell where a ring comes to press less than the wafer, or still less than before."""
    if after.rig.head.ring is None:
        return []
    over = [one.rig.steps[step].ring_pressure - one.mean(one.steps[step].pressure) for one in (before, after)]
    if over[1] >= 0 or over[1] > over[0] - _LESS:
        return []
    ring, wafer = (
        value / PSI for value in (after.rig.steps[step].ring_pressure, after.mean(after.steps[step].pressure))
    )
    return [
        f"the ring then presses {ring:.2f} psi beside the wafer's {wafer:.2f} psi, and a ring that presses less than the "
        "wafer may not hold it (common practice, no source)"
    ]


def _newly_raised(before: WaferResult, after: WaferResult) -> list[str]:
    known = {(one.kind, one.subject) for one in before.raised()}
    return [
        one.words.rstrip(".")
        for one in after.raised()
        if one.kind != "happened" and (one.kind, one.subject) not in known
    ]
