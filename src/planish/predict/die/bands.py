"""How far the figures of a die may be off, from the stated spreads of what goes into it (first order).

As for the wafer (:mod:`planish.predict.wafer.bands`), with one spread more: that of the share of the summits' reach
that counts while the pad slides, which is calibrated and rules dishing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.predict.die.cells import DieChoices
from planish.predict.die.level import Level
from planish.predict.die.levels import described_level, process_of
from planish.predict.die.pad import PadAfter
from planish.predict.die.polish import PLACES, Route, polish_die
from planish.predict.wafer.bands import Band, polish_band
from planish.setup.given import as_rig

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

Array = NDArray[np.float64]


def die_band(
    setups: Sequence[SetupLike],
    maps: LayoutMaps,
    *,
    process: str | None = None,
    level: Level | None = None,
    place: str | float | Sequence[str | float] = PLACES,
    after: PadAfter | None = None,
    choices: DieChoices | None = None,
    incoming: Mapping[str, Array] | None = None,
    route: Route = "density",
) -> dict[str, Band]:
    """Return the band of every figure of a die's summary.

    Parameters
    ----------
    setups
        One a platen; the spreads are those of the first.
    maps
        Of the layout.
    process, level, place, after, choices, incoming, route
        As ``polish_die`` takes them.

    Returns
    -------
    dict[str, Band]
        By the summary's keys; empty where no spread is stated.

    Raises
    ------
    SetupError
        As ``polish_die``.
    """
    first = as_rig(setups[0])
    process = process_of(first) if process is None else process
    level = described_level(first.die, process) if level is None else level

    def figures(rig: Rig, on: Level) -> dict[str, Any]:
        found = polish_die(
            [rig, *setups[1:]],
            maps,
            process=process,
            level=on,
            place=place,
            after=after,
            choices=choices,
            incoming=incoming,
            route=route,
        )
        return found.summary()

    bands = polish_band(first, lambda rig: figures(rig, level))
    share, spread = level.sliding_share, level.sliding_spread
    if spread == 0:
        return bands
    middle = figures(first, level)
    up, down = (
        figures(first, replace(level, sliding_share=min(share * (1 + sign * spread), 1.0)))
        for sign in (1, -1)
    )
    found = {}
    for key, value in middle.items():
        more, less = up.get(key), down.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        shares = dict(bands[key].shares) if key in bands else {}
        if isinstance(more, int | float) and isinstance(less, int | float):
            shares["sliding share of the summits' reach"] = 0.5 * (more - less)
        found[key] = Band(float(value), sum(one**2 for one in shares.values()) ** 0.5, shares)
    return found
