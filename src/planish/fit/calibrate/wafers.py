"""Measured wafers as sets of numbers: the removal at their sites, and mean rates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.polished import check_same_wafer, polished_for, removed_at
from planish.fit.removal import TIMED
from planish.fit.usable_sites import ring_of, usable
from planish.predict.wafer.polish_time import with_total_time
from planish.setup.changes import change_lines, read_changes

if TYPE_CHECKING:
    from planish.measure.sites.pairing import Paired
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.setup.si import Rig

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class WaferModel:
    """A wafer as the full model polishes it: the setup with the changes of a run, for the time of that run.

    Attributes
    ----------
    changes
        Of the run.
    seconds
        For which it was polished [s]; None: as the recipe says.
    """

    changes: Mapping[str, object]
    seconds: float | None

    def rig(self, setup: Setup) -> Rig:
        """Return the setup of the run in SI; ``setup`` has trial values in it."""
        return (setup.replace(self.changes) if self.changes else setup).rig

    def polished(self, setup: Setup) -> WaferResult:
        """Return the wafer; ``setup`` has trial values in it."""
        return _polished(setup, tuple(change_lines(self.changes)), self.seconds)


@lru_cache(maxsize=32)  # the wafers of a lot, polished alike, are one prediction
def _polished(setup: Setup, lines: tuple[str, ...], seconds: float | None) -> WaferResult:
    return polished_for(WaferModel(read_changes(lines), seconds).rig(setup), seconds)[0]


@dataclass(frozen=True, slots=True, eq=False)
class SitesModel(WaferModel):
    """The removal [m] at distances ``radius`` [m] from the centre of a wafer."""

    radius: Array

    def __call__(self, setup: Setup) -> Array:
        """Return it for a setup with trial values in it."""
        return removed_at(self.polished(setup), self.radius, self.seconds)


@dataclass(frozen=True, slots=True, eq=False)
class RateModel(WaferModel):
    """The mean rate [m/s] of ``count`` wafers that were polished alike."""

    count: int

    def __call__(self, setup: Setup) -> Array:
        """Return it for a setup with trial values in it."""
        wafer = self.polished(setup)
        return np.full(self.count, wafer.mean(wafer.removed) / wafer.time)


def observed_sites(
    setup: Setup,
    paired: Paired,
    heading: Heading,
    *,
    time: float | None = None,
    sd: float = 0.0,
) -> Observed:
    """Return the removal at the sites of one wafer, flagged ones and the edge exclusion left out.

    Parameters
    ----------
    setup
        It was polished with, but for the changes of ``heading``.
    paired
        Its measured removal.
    heading
        What it is called, what was set otherwise, which files it comes from.
    time
        Of polishing [s]; it goes before one stated with the sites. Without either the recipe ends as it says.
    sd
        Known measurement error of a site's removal [m]; 0 where none is.

    Returns
    -------
    Observed
        Of kind ``sites``; the sites of a ring are a group.

    Raises
    ------
    PlanishError
        For another wafer than the setup's, too few usable sites, a removal not above zero, and changes or a time
        that the setup cannot have.
    """
    removal = paired.removal
    seconds = removal.polish_time if time is None else time
    model = WaferModel(heading.changes, seconds)
    rig = model.rig(setup)
    check_same_wafer(rig, removal)
    chosen = usable(removal, rig.wafer.radius - rig.wafer.edge_exclusion)
    radius = np.asarray(removal.r[chosen.good])
    notes = [*chosen.notes, *time_told(rig, seconds)]
    if time is not None and removal.polish_time not in (None, time):
        notes.append(
            f"polish time: {time:.4g} s as given goes before the {removal.polish_time:.4g} s stated with the sites"
        )
    for names, where in ((paired.only_before, "before"), (paired.only_after, "after")):
        if names:
            notes.append(f"{counted(len(names), 'site')} only in the file {where} the polish: left out")
    predict = SitesModel(heading.changes, seconds, radius)
    values = np.asarray(removal.value[chosen.good])
    return heading.observed("sites", "m", predict, values, np.full(radius.size, sd), ring_of(radius), notes)


def observed_rates(
    setup: Setup,
    rates: Array,
    heading: Heading,
    *,
    time: float | None = None,
    sd: Array | None = None,
    lots: Sequence[str | None] = (),
) -> Observed:
    """Return mean rates of wafers that were polished alike.

    Parameters
    ----------
    setup
        They were polished with, but for the changes of ``heading``.
    rates
        Measured, mean over the wafer inside its edge exclusion [m/s].
    heading
        What they are called, what was set otherwise, which files they come from.
    time
        Of polishing [s]; None: as the recipe says.
    sd
        Known measurement error of each [m/s].
    lots
        Of each: wafers of one lot are a group, one without a lot is its own.

    Returns
    -------
    Observed
        Of kind ``rate``.

    Raises
    ------
    PlanishError
        For changes or a time that the setup cannot have.
    """
    rig = WaferModel(heading.changes, time).rig(setup)
    return heading.observed(
        "rate",
        "m/s",
        RateModel(heading.changes, time, rates.size),
        rates,
        np.zeros(rates.size) if sd is None else sd,
        by_lot(lots, rates.size),
        time_told(rig, time, of_rate=True),
    )


def by_lot(lots: Sequence[str | None], count: int) -> NDArray[np.int64]:
    """Return the group of each wafer: one a lot, and one each for wafers without a lot.

    Parameters
    ----------
    lots
        Of the wafers; none at all is allowed.
    count
        Wafers.
    """
    known: dict[object, int] = {}
    named = lots or [None] * count
    return np.array(
        [known.setdefault(place if lot is None else lot, len(known)) for place, lot in enumerate(named)],
        dtype=np.int64,
    )


def time_told(rig: Rig, seconds: float | None, *, of_rate: bool = False) -> list[str]:
    """Return which polish time counts and what had to be assumed, in words.

    Parameters
    ----------
    rig
        The setup of the run.
    seconds
        For which it was polished [s]; None where that is not known.
    of_rate
        Whether a rate was measured, which tells of the rate however long it took.

    Raises
    ------
    SetupError
        If the recipe's timed steps alone take longer.
    """
    if seconds is not None:
        return list(with_total_time(rig, seconds)[1])
    if all(step.stop == TIMED[0] for step in rig.steps):
        return [
            f"no polish time is stated: taken as the recipe's {sum(s.stop_value for s in rig.steps):.4g} s"
        ]
    ended = next(step.name for step in rig.steps if step.stop != TIMED[0])
    if of_rate:
        return [f"no polish time is stated: step {ended} is taken to end on its amount"]
    return [
        f"no polish time is stated and step {ended} ends on an amount: the mean removal then says little of the rate "
        "(state the time to tell it)"
    ]
