"""Steps and losses at test structures of a die as a set of numbers, foretold by the die's own step law."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, ModelError, refuse
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.calibrate.wafers import WaferModel
from planish.fit.planarization import THICKEST
from planish.fit.structures import in_cells, places_on
from planish.predict.die.conditions import place_radius
from planish.predict.die.levels import described_level, process_of
from planish.predict.die.model import check_maps
from planish.predict.die.polish import polish_die
from planish.predict.wafer.polish_time import with_total_time

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.measure.steps import StepTable
    from planish.predict.die.result import DieResult
    from planish.setup.models import Setup

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class StepsModel:
    """What a die loses at its test structures, polished anew for each time at which it was measured.

    Attributes
    ----------
    changes
        Of the run.
    maps
        Of the layout.
    row, column
        Of the structures on its cells.
    time
        Of each measurement [s].
    pick
        Which of the losses of the raised areas, then of the steps left, were measured.
    step
        Before polishing [m].
    place
        Of the die on the wafer: "centre", "mid", "edge" or a radius [m].
    """

    changes: Mapping[str, object]
    maps: LayoutMaps
    row: Array
    column: Array
    time: Array
    pick: Mask
    step: float
    place: str | float

    def __call__(self, setup: Setup) -> Array:
        """Return losses and steps [m] for a setup with trial values in it."""
        rig = WaferModel(self.changes, None).rig(setup)
        level = described_level(rig.die, process_of(rig))
        level = level.described({level.step_key: self.step})
        loss, left = np.empty(self.time.size), np.empty(self.time.size)
        for time in np.unique(self.time):
            found = polish_die(with_total_time(rig, float(time))[0], self.maps, level=level, place=self.place)
            now = self.time == time
            loss[now], left[now] = self._at(found, now)
        both = np.concatenate([loss, left])[self.pick]
        if not np.all(np.isfinite(both)):
            first = int(np.flatnonzero(self.pick)[np.argmax(~np.isfinite(both))]) % self.time.size
            raise ModelError(
                f"test structure in row {first + 1}: its cell holds no raised area or no step: must lie where the layout "
                "has both (is it the layer of the lines?)"
            )
        return both

    def _at(self, found: DieResult, now: Mask) -> tuple[Array, Array]:
        fields, place = found.dies[0].fields, (self.row[now], self.column[now])
        lost = found.came_in(0) - fields.level_high
        return in_cells(lost, *place), in_cells(fields.level_high - fields.level_low, *place)


def observed_steps(
    setup: Setup,
    maps: LayoutMaps,
    table: StepTable,
    heading: Heading,
    *,
    step: float | None = None,
    sd: float = 0.0,
    place: str | float = "centre",
) -> Observed:
    """Return steps and losses measured at test structures.

    Parameters
    ----------
    setup
        The die was polished with, but for the changes of ``heading``.
    maps
        Of the layout on which they were measured.
    table
        The measurements.
    heading
        What they are called, what was set otherwise, which files they come from.
    step
        Before polishing [m]; it goes before the table's.
    sd
        Known measurement error [m].
    place
        Of the die on the wafer.

    Returns
    -------
    Observed
        Of kind ``steps``; the measurements at one structure are a group.

    Raises
    ------
    DataError
        Where nobody says what the step was before polishing, or nothing was measured.
    FitError
        For a structure off the map.
    """
    before = table.step_before if step is None else step
    if before is None:
        raise DataError(
            f"{heading.name}: the step before polishing is not given: must be a column step_before_nm, or told"
        )
    if not 0 < before <= THICKEST:
        raise DataError(
            refuse(f"{heading.name}: step before polishing [m]", before, f"above 0 and up to {THICKEST:g}")
        )
    check_maps(maps)
    both = np.concatenate([table.up_loss, table.step_left])
    pick = np.isfinite(both)
    if not pick.any():
        raise DataError(
            f"{heading.name}: every cell of loss and step left is empty: must hold one measurement or more"
        )
    row, column = places_on(maps, table.x, table.y)
    rig = WaferModel(heading.changes, None).rig(setup)
    place_radius(rig, place)  # refuses one that is not on the wafer before anything is polished
    notes: list[str] = []
    for time in np.unique(table.time):
        notes += with_total_time(rig, float(time))[1]
    places = np.unique(np.column_stack([table.x, table.y]), axis=0, return_inverse=True)[1].reshape(-1)
    if not 0 <= sd < before:
        raise DataError(
            refuse(
                f"{heading.name}: measurement error [m]",
                sd,
                "0 or more, and less than the step before polishing",
            )
        )
    return heading.observed(
        "steps",
        "m",
        StepsModel(heading.changes, maps, row, column, table.time, pick, before, place),
        both[pick],
        np.full(int(pick.sum()), sd),
        np.concatenate([places, places])[pick].astype(np.int64),
        [*notes, f"step before polishing {1e9 * before:.4g} nm; the die lies at {place}"],
    )
