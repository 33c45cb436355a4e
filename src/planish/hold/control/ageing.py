"""What the lot model foretells of a step as pad and disk wear: polished once, read for every wafer.

Wafers are polished on the lot model without chance, their longest step timed so that they keep their amount. What each would have
given in the time that was set up is its course, by how many wafers pad and disk have seen. It is kept along lines on which the
disk is older, or younger, than the pad by a fixed number of wafers; between lines it is read at the same number of wafers since
the last change, so that the settling after a change stays sharp.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.belief import Array
from planish.predict.lot.events import Event
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.hold.control.steered import Steered
    from planish.predict.lot.result import LotResult
    from planish.setup.si import Rig

OLDEST = 5000  # wafers
SETTLED = 30  # wafers after a change that are polished at least: summits settle within these


@dataclass(frozen=True, slots=True, repr=False)
class Ageing(Record):
    """The foretold course.

    Attributes
    ----------
    apart
        By how many wafers the disk is older than the pad, increasing, (m,).
    curves
        Outputs by wafers since the last change, (m, n, outputs).
    """

    apart: Array
    curves: Array

    def at(self, pad: int, disk: int) -> Array:
        """Return the outputs (outputs,) foretold for a wafer whose pad and disk have seen so many before it.

        Parameters
        ----------
        pad
            Wafers that the pad has seen before.
        disk
            And the disk.

        Returns
        -------
        Array
            (outputs,).
        """
        young = min(pad, disk, self.curves.shape[1] - 1)
        apart = float(np.clip(disk - pad, self.apart[0], self.apart[-1]))
        above = int(np.clip(np.searchsorted(self.apart, apart), 1, self.apart.size - 1))
        low, high = self.apart[above - 1], self.apart[above]
        part = (apart - low) / (high - low)
        return np.asarray((1 - part) * self.curves[above - 1, young] + part * self.curves[above, young])


@dataclass(frozen=True, slots=True)
class Ages:
    """Wafers that pad and disk have seen, and the disk's when the pad was put on."""

    pad: int = 0
    disk: int = 0
    disk_then: int = 0

    def changed(self, what: tuple[str, ...]) -> Ages:
        """Return the ages after pad or disk was changed."""
        disk = 0 if "disk" in what else self.disk
        if "pad" in what:
            return Ages(0, disk, disk)
        return Ages(self.pad, disk, self.disk_then)

    def later(self) -> Ages:
        """Return the ages one wafer on."""
        return Ages(self.pad + 1, self.disk + 1, self.disk_then)


def foretold(ageing: Ageing, ages: Ages, shares: Array) -> tuple[Array, float]:
    """Return what is foretold of a wafer (outputs,), and what of its mean came since its pad was new.

    Parameters
    ----------
    ageing
        The kept course.
    ages
        Of pad and disk.
    shares
        Of each output in the mean, (outputs,).

    Returns
    -------
    tuple[Array, float]
        Both relative to what is wanted.
    """
    now = ageing.at(ages.pad, ages.disk)
    return now, float(shares @ (now - ageing.at(0, ages.disk_then)))


def ageing_of(
    rig: Rig,
    step: Steered,
    weights: Array,
    pad_life: int,
    disk_life: int,
    progress: Callable[[float], None] | None = None,
) -> Ageing:
    """Return the foretold course of a step.

    Parameters
    ----------
    rig
        The setup.
    step
        As it is controlled.
    weights
        Of the wafer's nodes in each output, (outputs, n_r).
    pad_life, disk_life
        Most wafers that a pad and a disk see.
    progress
        Called with the share done.

    Returns
    -------
    Ageing
        For all ages up to those.

    Raises
    ------
    ModelError
        Where the pad is worn through before.
    """
    as_whole(pad_life, "pad life [wafers]", 2, OLDEST)
    as_whole(disk_life, "disk life [wafers]", 2, OLDEST)
    lines = [
        -(pad_life - 1), -(pad_life // 2), 0, *((disk_life // 2, disk_life - 1) if disk_life > 3 else (1,))
    ]  # fmt: skip
    lines = sorted(set(lines))
    found = []
    for number, apart in enumerate(lines):
        before = max(0, -apart)
        count = max(min(pad_life - before, disk_life - max(0, apart)), 1) + SETTLED
        use = apart * sum(planned for planned in _times(rig, step)) if apart > 0 else None
        event = [] if apart == 0 else [Event(before + 1, "disk", use)]
        lot = polish_lot(rig, before + count, variation=Variation.none(), adjust="run-to-run", events=event)
        found.append(course_of(lot, step, weights)[before:])
        if progress is not None:
            progress((number + 1) / len(lines))
    longest = max(one.shape[0] for one in found)
    curves = [np.concatenate([one, np.repeat(one[-1:], longest - one.shape[0], axis=0)]) for one in found]
    return Ageing(np.array(lines, dtype=float), np.stack(curves))


def course_of(lot: LotResult, step: Steered, weights: Array) -> Array:
    """Return what each wafer of a lot would have given in the time that was set up, (n, outputs).

    Parameters
    ----------
    lot
        Without chance.
    step
        As it is controlled.
    weights
        Of the wafer's nodes in each output, (outputs, n_r).

    Returns
    -------
    Array
        Logarithms of removed over wanted.

    Raises
    ------
    DataError
        Where a wafer of it removes nothing.
    """
    names = [one.name for one in lot.rig.steps]
    removed = lot.records.removed @ weights.T
    times = lot.records.step_time[:, names.index(step.step)]
    if not (np.all(removed > 0) and np.all(times > 0)):
        wafer = int(np.argmax(~(np.all(removed > 0, axis=1) & (times > 0)))) + 1
        raise DataError(
            refuse(
                f"wafer {wafer} of the lot: removed [m]",
                float(removed[wafer - 1].min()),
                "above 0 everywhere",
            )
        )
    return np.asarray(np.log(removed / step.wanted) - np.log(times / step.time)[:, None] * step.gain[:, 0])


def _times(rig: Rig, step: Steered) -> list[float]:
    """Return about how long each step polishes [s]: what a disk is used for a wafer."""
    return [
        step.time if one.name == step.step else one.stop_value if one.stop == "time" else 0.0 for one in rig.steps
    ]  # fmt: skip
