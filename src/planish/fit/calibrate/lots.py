"""Wafers measured at a stated age of pad and disk: rates and site maps along the life of a pad."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, ModelError, refuse
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.calibrate.wafers import WaferModel, time_told
from planish.predict.lot.events import Event
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.polish import polish
from planish.predict.wafer.polish_time import with_total_time

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.setup.models import Setup
    from planish.setup.si import Rig

Array = NDArray[np.float64]
MOST_WAFERS = 2000  # on a pad before a measured one: each prediction polishes them all


@dataclass(frozen=True, slots=True)
class Age:
    """How old pad and disk were when a wafer came.

    Attributes
    ----------
    wafers
        Polished on the pad before; None where ``pad_time`` says it.
    pad_time
        For which the pad had polished [s].
    disk_time
        For which the disk had been used [s]; None: as long as it was on this pad.
    """

    wafers: int | None = None
    pad_time: float | None = None
    disk_time: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LotModel(WaferModel):
    """Wafers of one pad, polished one after the other without chance; those at ``ages`` are read.

    Attributes
    ----------
    ages
        Of the wafers that were measured.
    radii
        Where each was measured, from its centre [m]; None for its mean rate [m/s].
    """

    ages: tuple[Age, ...]
    radii: tuple[Array | None, ...]

    def __call__(self, setup: Setup) -> Array:
        """Return rates and removals, one wafer after the other, for a setup with trial values in it."""
        rig = self.rig(setup)
        if self.seconds is not None:
            rig = with_total_time(rig, self.seconds)[0]
        before = _wafers_before(rig, self.ages)
        lot = polish_lot(
            rig, max(before) + 1, variation=Variation.none(), events=_disks(rig, self.ages, before)
        )
        return np.concatenate(
            [self._of(lot, wafer, radius) for wafer, radius in zip(before, self.radii, strict=True)]
        )

    def _of(self, lot: LotResult, wafer: int, radius: Array | None) -> Array:
        if radius is None:
            return np.array([lot.records.rate[wafer]])
        longer = 1.0 if self.seconds is None else self.seconds / float(lot.records.time[wafer])
        return np.asarray(np.interp(radius, lot.radius, lot.records.removed[wafer]) * longer)


def _wafers_before(rig: Rig, ages: Sequence[Age]) -> list[int]:
    """Return how many wafers the pad had polished before each; hours of the pad in wafers of the recipe."""
    one = 0.0
    if any(age.wafers is None for age in ages):
        timed = all(step.stop == "time" for step in rig.steps)
        one = sum(step.stop_value for step in rig.steps) if timed else polish(rig).time
    found = [round((age.pad_time or 0.0) / one) if age.wafers is None else age.wafers for age in ages]
    if max(found) > MOST_WAFERS:
        raise ModelError(
            refuse(
                "wafers polished on the pad before",
                max(found),
                f"at most {MOST_WAFERS}",
                "leave later rows out",
            )
        )
    return found


def _disks(rig: Rig, ages: Sequence[Age], before: Sequence[int]) -> list[Event]:
    """Return the events that give the disk its stated use before each measured wafer, and before the first of all."""
    told = {
        wafer: age.disk_time for wafer, age in zip(before, ages, strict=True) if age.disk_time is not None
    }
    if not told:
        return []
    first = min(told)
    start = max(float(told[first] or 0.0) - first * _disk_time(rig), 0.0)
    return [Event(wafer + 1, "disk", use) for wafer, use in sorted({0: start, **told}.items())]


def _disk_time(rig: Rig) -> float:
    """Return for how long the disk works on a wafer [s], where every step takes its longest time."""
    from planish.predict.lot.plan import planned_time

    disk = rig.conditioner
    if disk is None:
        return 0.0
    share = {"in-situ": 1.0, "partial": disk.share, "ex-situ": 0.0}[disk.mode]
    during = sum(planned_time(step) for step in rig.steps if step.conditioning) * share
    return during + (disk.ex_situ_time if disk.mode == "ex-situ" else 0.0)


def observed_lot(
    setup: Setup,
    values: Sequence[Array],
    ages: Sequence[Age],
    radii: Sequence[Array | None],
    heading: Heading,
    *,
    groups: NDArray[np.int64],
    sd: Array,
    time: float | None = None,
) -> Observed:
    """Return measurements of wafers along the life of a pad: all mean rates, or all removals at sites.

    Parameters
    ----------
    setup
        They were polished with, but for the changes of ``heading``.
    values
        Of each wafer: its rate [m/s], (1,), or the removal at its sites [m].
    ages
        Of pad and disk, one a wafer.
    radii
        Of its sites [m], None for a rate.
    heading
        What they are called, what was set otherwise, which files they come from.
    groups, sd
        Of all values, one wafer after the other.
    time
        Of polishing [s], the same for all; None: as the recipe says.

    Returns
    -------
    Observed
        Of kind ``lot``; one prediction polishes every wafer of the pad.

    Raises
    ------
    DataError
        For one wafer of a pad with two ages of its disk.
    PlanishError
        For changes or a time that the setup cannot have, and more wafers than can be polished each time.
    """
    model = LotModel(heading.changes, time, tuple(ages), tuple(radii))
    rig = model.rig(setup)
    notes = time_told(rig, time)
    if time is not None:
        rig = with_total_time(rig, time)[0]
    before = _wafers_before(rig, ages)
    _check_disks(heading.name, rig, ages, before)
    if any(age.pad_time is not None for age in ages):
        notes.append("hours of the pad are counted as polishing time, in whole wafers of the recipe")
    notes.append("the wafers before are taken as polished with the same recipe")
    unit = "m/s" if radii[0] is None else "m"
    return heading.observed("lot", unit, model, np.concatenate(list(values)), sd, groups, notes)


def _check_disks(name: str, rig: Rig, ages: Sequence[Age], before: Sequence[int]) -> None:
    if all(age.disk_time is None for age in ages):
        return
    if rig.conditioner is None:
        raise DataError(
            f"{name}: hours of a disk are stated: the setup must have a conditioner (or leave the column out)"
        )
    seen: dict[int, float | None] = {}
    for age, wafer in zip(ages, before, strict=True):
        if seen.setdefault(wafer, age.disk_time) != age.disk_time:
            raise DataError(
                f"{name}: after {wafer} wafers of the pad the disk is {(seen[wafer] or 0) / 3600:.4g} h and "
                f"{(age.disk_time or 0) / 3600:.4g} h old: must be one pad (name the pads in a column lot)"
            )
