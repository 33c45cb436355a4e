"""The pad as the die meets it after some wafers of a lot: summits, what is left of the stack, the rate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.predict.raised import Seen, lot_notes
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False)
class PadAfter(Record):
    """A pad after some wafers of a lot.

    Attributes
    ----------
    wafers
        How many.
    decay_length, real_pressure
        As the next wafer meets the summits, averaged over its track: the length over which the gap takes the load to
        1/e [m], and the mean pressure on those in contact [Pa].
    temperature
        Of the pad under the next wafer, mean over its time [K].
    groove_depth, top_thickness
        Left [m].
    radius
        On the wafer [m].
    change
        Rate there of the next wafer against that of the first.
    new_decay_length, new_real_pressure
        At the first wafer [m], [Pa].
    raised
        What those wafers raised beyond the notes of the setup.
    """

    wafers: int
    decay_length: float
    real_pressure: float
    temperature: float
    groove_depth: float
    top_thickness: float
    radius: Array
    change: Array
    new_decay_length: float
    new_real_pressure: float
    raised: tuple[str, ...] = ()

    def _told(self) -> str:
        return self.note()

    @property
    def summits_change(self) -> tuple[float, float]:
        """By which decay length and real pressure have changed since the pad was new."""
        return self.decay_length / self.new_decay_length, self.real_pressure / self.new_real_pressure

    def rate_change(self, radius: float) -> float:
        """Return the rate over that of the first wafer.

        Parameters
        ----------
        radius
            On the wafer [m].

        Returns
        -------
        float
            [1].
        """
        return float(np.interp(radius, self.radius, self.change))

    def note(self) -> str:
        """Return what the pad is like, in words."""
        return (
            f"pad as after {self.wafers} {'wafer' if self.wafers == 1 else 'wafers'} of a lot without chance variation: summit decay length "
            f"{self.decay_length * 1e6:.2f} um (new {self.new_decay_length * 1e6:.2f}), real pressure "
            f"{self.real_pressure / 1e6:.1f} MPa, grooves {self.groove_depth * 1e6:.0f} um, rate "
            f"{100 * (float(np.mean(self.change)) - 1):+.1f} %"
        )


def pad_after(
    setup: SetupLike, wafers: int, *, progress: Callable[[int, int], None] | None = None
) -> PadAfter:
    """Polish wafers on a new pad and return the pad then.

    Nothing varies by chance: this is the expected state. One wafer more is polished, to see what it meets.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file.
    wafers
        How many.
    progress
        As in ``polish_lot``.

    Returns
    -------
    PadAfter
        After the last of them.

    Raises
    ------
    ModelError
        For a number of wafers that makes no sense.
    """
    from planish.predict.lot.run import MOST_WAFERS, polish_lot
    from planish.predict.lot.variation import Variation

    as_whole(wafers, "wafers", 1, MOST_WAFERS - 1)
    lot = polish_lot(
        setup, wafers + 1, variation=Variation.none(), progress=progress
    )  # and the one that meets it
    records = lot.records
    rate = records.removed / records.time[:, None]
    return PadAfter(
        wafers=wafers,
        decay_length=float(records.decay_length[-1]),
        real_pressure=float(records.real_pressure[-1]),
        temperature=float(records.temperature[-1]),
        groove_depth=float(records.groove_mean[-2]),
        top_thickness=float(records.thickness_mean[-2]),
        radius=lot.radius,
        change=np.asarray(rate[-1] / np.maximum(rate[0], 1e-30)),
        new_decay_length=float(records.decay_length[0]),
        new_real_pressure=float(records.real_pressure[0]),
        raised=_raised_before(lot, wafers),
    )


def _raised_before(lot: LotResult, wafers: int) -> tuple[str, ...]:
    """Return what a lot says but for the notes of its setup, of its first wafers alone."""
    seen = lot.records.seen(lot.rig, lot.radius, lot.areas)
    first = Seen(**{item.name: getattr(seen, item.name)[:wafers] for item in fields(Seen)})
    all_told = lot_notes(lot.rig, seen)
    told = [*lot_notes(lot.rig, first), *(note for note in lot.said if note not in all_told)]
    return tuple(note for note in told if note not in lot.rig.notes)
