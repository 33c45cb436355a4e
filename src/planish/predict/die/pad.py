"""The pad as the die meets it after some wafers of a lot: summits, what is left of the stack, the rate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record

if TYPE_CHECKING:
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
        Of the summits in contact [m], [Pa], averaged over the wafer's track.
    temperature
        Of the pad under the last wafer, mean over its time [K].
    groove_depth, top_thickness
        Left [m].
    radius
        On the wafer [m].
    change
        Rate there against that of the first wafer.
    new_decay_length
        At the first wafer [m].
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
    raised: tuple[str, ...] = ()

    def _told(self) -> str:
        return self.note()

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
            f"{self.decay_length * 1e6:.2f} um (first wafer {self.new_decay_length * 1e6:.2f}), real pressure "
            f"{self.real_pressure / 1e6:.1f} MPa, grooves {self.groove_depth * 1e6:.0f} um, rate "
            f"{100 * (float(np.mean(self.change)) - 1):+.1f} %"
        )


def pad_after(
    setup: SetupLike, wafers: int, *, progress: Callable[[int, int], None] | None = None
) -> PadAfter:
    """Polish wafers on a new pad and return the pad then.

    Nothing varies by chance: this is the expected state.

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
    from planish.predict.lot.run import polish_lot
    from planish.predict.lot.variation import Variation

    lot = polish_lot(setup, wafers, variation=Variation.none(), progress=progress)
    records = lot.records
    rate = records.removed / records.time[:, None]
    return PadAfter(
        wafers=wafers,
        decay_length=float(records.tail[-1]),
        real_pressure=float(records.real_pressure[-1]),
        temperature=float(records.temperature[-1]),
        groove_depth=float(records.groove_mean[-1]),
        top_thickness=float(records.thickness_mean[-1]),
        radius=lot.radius,
        change=np.asarray(rate[-1] / np.maximum(rate[0], 1e-30)),
        new_decay_length=float(records.tail[0]),
        raised=tuple(note for note in lot.said if note not in lot.rig.notes),
    )
