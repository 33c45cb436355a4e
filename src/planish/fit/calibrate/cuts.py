"""Cut rates of a pad over the use of its disk as a set of numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.fit.calibrate.observed import Observed
from planish.fit.calibrate.wafers import Files, WaferModel, by_lot
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
    *,
    name: str,
    sd: Array | None = None,
    lots: Sequence[str | None] = (),
    changes: Mapping[str, object] | None = None,
    files: Files = (),
    said: Sequence[str] = (),
) -> Observed:
    """Return cut rates of a pad over the use of its disk.

    Parameters
    ----------
    setup
        Pad and disk, but for ``changes``.
    rates
        Measured [m/s].
    use
        Of the disk by then [s].
    name
        What they are called.
    sd
        Known measurement error of each [m/s].
    lots
        Of each: measurements of one lot are a group, one without a lot is its own.
    changes, files, said
        As for :func:`~planish.fit.calibrate.wafers.observed_sites`.

    Returns
    -------
    Observed
        Of kind ``cut``.

    Raises
    ------
    DataError
        For a setup without a disk.
    """
    changes = {} if changes is None else dict(changes)
    model = CutModel(changes, None, use)
    if model.rig(setup).conditioner is None:
        raise DataError(f'{name}: the setup must have a conditioner (a table [conditioner], as part = "...")')
    return Observed(
        name=name,
        kind="cut",
        values=rates,
        sd=np.zeros(rates.size) if sd is None else sd,
        unit="m/s",
        groups=by_lot(lots, rates.size),
        predict=model,
        files=files,
        understood=(
            *said,
            "the cut rate is the mean over the wafer's track, at the speeds of the longest step",
        ),
        changes=changes,
    )
