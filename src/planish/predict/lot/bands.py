"""How far the figures of a lot may be off, from the stated spreads of what goes into it (first order).

As for the wafer (:mod:`planish.predict.wafer.bands`): the whole lot is polished anew with every spread. What varies by
chance from wafer to wafer is drawn with one seed for all of them, so that no chance comes into a difference.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from planish.predict.lot.plan import HANDLING_TIME
from planish.predict.lot.run import polish_lot
from planish.predict.wafer.bands import Band, bands_of
from planish.predict.wafer.contact_model import CELLS
from planish.setup.given import as_described

if TYPE_CHECKING:
    from collections.abc import Iterable

    from planish.predict.lot.events import EventLike
    from planish.predict.lot.variation import Variation
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig


def lot_band(
    setup: SetupLike,
    wafers: int = 200,
    seed: int = 0,
    *,
    conditioning: bool = True,
    events: Iterable[EventLike] = (),
    adjust: str = "fixed",
    variation: Variation | None = None,
    handling_time: float | str = HANDLING_TIME,
    cells: int = CELLS,
    workers: int = 1,
) -> dict[str, Band]:
    """Return the band of every figure of a lot's summary.

    Parameters
    ----------
    setup
        As for ``polish_band``.
    wafers, seed, conditioning, events, adjust, variation, handling_time, cells
        As ``polish_lot`` takes them.
    workers
        Processes that share the work; the numbers are the same for any.

    Returns
    -------
    dict[str, Band]
        By the summary's keys; empty where no spread is stated.

    Raises
    ------
    SetupError
        As ``polish_band``.
    ModelError
        As ``polish_lot``; a spread may wear a pad through that lasts without it.
    """
    polished = partial(
        _figures,
        wafers=wafers,
        seed=seed,
        conditioning=conditioning,
        events=tuple(events),
        adjust=adjust,
        variation=variation,
        handling_time=handling_time,
        cells=cells,
    )
    return bands_of(as_described(setup), polished, workers=workers)


def _figures(rig: Rig, **asked: Any) -> dict[str, Any]:
    """Return the summary of a lot, without the numbers that were asked for."""
    found = polish_lot(rig, **asked).summary()
    return {key: value for key, value in found.items() if key not in ("wafers", "seed")}
