"""How far the figures of a die may be off, from the stated spreads of what goes into it (first order).

As for the wafer (:mod:`planish.predict.wafer.bands`), with one spread more: that of the share of the summits' reach
that counts while the pad slides, which is calibrated and rules dishing. The next platens of a wafer stay as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import same
from planish.predict.die.cells import DieChoices
from planish.predict.die.conditions import place_radius
from planish.predict.die.level import Level
from planish.predict.die.levels import described_level, process_of
from planish.predict.die.pad import PadAfter, pad_after
from planish.predict.die.platens import Platens
from planish.predict.die.polish import PLACES, Route, places_of, polish_die
from planish.predict.wafer.bands import Band, bands_of
from planish.setup.given import as_described, as_rig
from planish.setup.si import Rig

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]
SLIDING = "sliding share of the summits' reach"


def die_band(
    setups: Sequence[SetupLike],
    maps: LayoutMaps,
    *,
    process: str | None = None,
    level: Level | None = None,
    place: str | float | Sequence[str | float] = PLACES,
    after: PadAfter | int | None = None,
    choices: DieChoices | None = None,
    incoming: Mapping[str, Array] | None = None,
    route: Route = "density",
    workers: int = 1,
) -> dict[str, Band]:
    """Return the band of every figure of a die's summary.

    Parameters
    ----------
    setups
        One a platen; the spreads are those of the first.
    maps
        Of the layout.
    process, level, place, choices, incoming, route
        As ``polish_die`` takes them.
    after
        So many wafers of a lot, polished anew with every spread; or one pad for all of them; new unless given.
    workers
        Processes that share the work; the numbers are the same for any.

    Returns
    -------
    dict[str, Band]
        By the summary's keys; empty where no spread is stated.

    Raises
    ------
    SetupError
        As ``polish_die``.
    """
    described = as_described(setups[0])
    first = described if isinstance(described, Rig) else described.rig
    process = process_of(first) if process is None else process
    level = described_level(first.die, process) if level is None else level
    figures = _Figures(
        tuple(as_rig(other) for other in setups[1:]),
        maps,
        {
            "process": process,
            "place": place,
            "choices": choices,
            "incoming": incoming,
            "route": route,
        },
        after,
    )
    share, spread = level.sliding_share, level.sliding_spread
    more: list[tuple[str, Any, Any]] = []
    if spread > 0:
        up, down = (replace(level, sliding_share=min(share * (1 + sign * spread), 1.0)) for sign in (1, -1))
        more = [(SLIDING, (first, up), (first, down))]
    return bands_of(described, figures, piece=lambda rig: (rig, level), more=more, workers=workers)


@dataclass(slots=True)
class _Figures:
    """The summary of a die from the first platen's setup and what stands there; asked again for the same, it is kept.

    Most spreads of a part do not reach the die at all: what it feels at each place then is the same to the last bit.
    """

    others: tuple[Rig, ...]
    maps: LayoutMaps
    options: dict[str, Any]
    after: PadAfter | int | None
    felt: Any = None
    kept: dict[str, Any] | None = None

    def __call__(self, asked: tuple[Rig, Level]) -> dict[str, Any]:
        """Return the summary."""
        rig, level = asked
        after = self.after if not isinstance(self.after, int) else pad_after(rig, self.after)
        platens = Platens.of([rig, *self.others], None, after)
        felt = (level, self._felt(rig, level, platens))
        if self.kept is not None and same(felt, self.felt):
            return self.kept
        found = polish_die(
            [rig, *self.others], self.maps, level=level, wafer=platens.wafers[0], after=after, **self.options
        ).summary()
        if self.kept is None:
            self.felt, self.kept = felt, found
        return found

    def _felt(self, rig: Rig, level: Level, platens: Platens) -> list[object]:
        """Return what a die feels of the setup: conditions and pad at each place, the process and the next exposure."""
        side = min(np.shape(self.maps.density)) * self.maps.cell
        found: list[object] = [rig.die, rig.wafer.films]
        for name, radius in (place_radius(rig, each, side) for each in places_of(self.options["place"])):
            local, pads = platens.at(name, radius, level, None)
            found.append((local, [(pad.state, pad.wafer_rigidity, _stack(pad.compliance)) for pad in pads]))
        return found


def _stack(compliance: Any) -> object:
    """Return what a compliance is made of."""
    return compliance.args, compliance.keywords
