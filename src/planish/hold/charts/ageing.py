"""Judge a wafer by its pad's age: measured rates over what the lot model foretells for that age.

A rate that sinks as pad and disk wear is no surprise, and a chart that alarms at it hides what is one. The lot of a setup,
wafer after wafer without any chance, gives the rate r(a) after a wafers on the pad (the disk as old as the pad); each value is
divided by r(a) over the mean of r at the ages of all rows, so that centre and limits stay in the unit of the table.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, ModelError, refuse
from planish.hold.charts.samples import Samples

if TYPE_CHECKING:
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]
OLDEST = 5000  # wafers: a lot so long takes a minute or two


def without_ageing(samples: Samples, model: SetupLike) -> Samples:
    """Return rows without what the lot model foretells for the age of their pad.

    Parameters
    ----------
    samples
        With ages [wafers on the pad before the row's].
    model
        The setup that they were polished with.

    Returns
    -------
    Samples
        Values divided by the foretold course; what was done is said.

    Raises
    ------
    DataError
        For ages that are no whole numbers of wafers, and more than are foretold.
    ModelError
        Where the lot ends before the oldest pad does.
    """
    from planish.predict.lot.run import polish_lot
    from planish.predict.lot.variation import Variation

    ages = samples.ages
    if ages is None:
        raise DataError(
            "model: must stand with a column of ages, the wafers on the pad before each row's (--age)"
        )
    odd = ~(np.isfinite(ages) & (ages >= 0) & (ages <= OLDEST) & (ages == np.round(ages)))
    if np.any(odd):
        at = int(np.argmax(odd))
        raise DataError(
            refuse(
                f"{samples.source}: row {samples.rows[at]}: wafers on the pad",
                float(ages[at]),
                f"a whole number from 0 to {OLDEST}",
                "0 on a new pad",
            )
        )
    number = ages.astype(np.int64)
    lot = polish_lot(model, int(number.max()) + 1, variation=Variation.none())
    rate = lot.records.rate
    if rate.size <= number.max():
        raise ModelError(
            f"model: its pad lasts {rate.size} wafers: must last the {number.max() + 1} of the oldest row (leave older rows out)"
        )
    foretold = rate[number]
    course = foretold / foretold.mean()
    said = (
        f"each value is divided by what the lot model foretells for the age of its pad: {100 * course.min():.1f} to "
        f"{100 * course.max():.1f} % of the mean over these rows"
    )
    return replace(samples, values=samples.values / course[:, None], said=(*samples.said, said))
