"""Cut rates of a pad over the use of its disk as a set of numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.calibrate.wafers import WaferModel, by_lot
from planish.predict.lot.cut import pad_cut_rate

if TYPE_CHECKING:
    from planish.setup.models import Setup

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class CutModel(WaferModel):
    """The cut rate of the pad [m/s], mean over the wafer's track, at times of ``use`` of the disk [s]."""

    use: Array

    def __call__(self, setup: Setup) -> Array:
        """Return it for a setup with trial values in it."""
        return pad_cut_rate(self.rig(setup), self.use)


def observed_cuts(
    setup: Setup,
    rates: Array,
    use: Array,
    heading: Heading,
    *,
    sd: Array | None = None,
    lots: Sequence[str | None] = (),
) -> Observed:
    """Return cut rates of a pad over the use of its disk.

    Parameters
    ----------
    setup
        Pad and disk, but for the changes of ``heading``.
    rates
        Measured [m/s].
    use
        Of the disk by then [s].
    heading
        What they are called, what was set otherwise, which files they come from.
    sd
        Known measurement error of each [m/s].
    lots
        Of each: measurements of one lot are a group, one without a lot is its own.

    Returns
    -------
    Observed
        Of kind ``cut``.

    Raises
    ------
    DataError
        For a setup without a disk.
    """
    model = CutModel(heading.changes, None, use)
    if model.rig(setup).conditioner is None:
        raise DataError(
            f'{heading.name}: the setup must have a conditioner (a table [conditioner], as part = "...")'
        )
    return heading.observed(
        "cut",
        "m/s",
        model,
        rates,
        np.zeros(rates.size) if sd is None else sd,
        by_lot(lots, rates.size),
        ["the cut rate is the mean over the wafer's track, at the speeds of the longest step"],
    )
