"""What was measured, in whatever files, that any number of the model can be fitted to?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from planish.errors import DataError
from planish.fit.calibrate.observe import observe
from planish.jobs.layouts import holds_cells, read_cells
from planish.jobs.stages import Stage, untold
from planish.measure.layout.sources import TABLES

if TYPE_CHECKING:
    from planish.fit.calibrate.observed import Observed
    from planish.measure.runs.read import RunColumns
    from planish.measure.sites.column_map import ColumnMap
    from planish.setup.given import SetupLike

CELL = 20e-6  # [m] of the maps of a layout, unless told


def observed_of(
    setup: SetupLike,
    files: Sequence[str | os.PathLike[str]],
    columns: ColumnMap | None = None,
    *,
    told: RunColumns | None = None,
    time: float | None = None,
    wafer: str | None = None,
    layout: str | os.PathLike[str] | None = None,
    layer: str | None = None,
    cell: float = CELL,
    step: float | None = None,
    place: str | float = "centre",
    stage: Stage = untold,
) -> list[Observed]:
    """Return the sets of measured numbers in files, each with the way in which the model foretells it.

    Parameters
    ----------
    setup
        They were measured with.
    files
        As :func:`~planish.fit.calibrate.observe.observe` takes them; a layout may be among them.
    columns
        What site files do not say of themselves.
    told
        What tables of runs do not say of themselves.
    time, wafer
        Of the wafer of the site files; the time in [s].
    layout, layer, cell
        On which steps were measured: its file, layer and datatype as "68/20", and the side of a cell [m].
    step
        Before polishing [m], where the table of steps does not say it.
    place
        Of the die on the wafer.
    stage
        Shows the reading of a layout.

    Raises
    ------
    PlanishError
        As :func:`~planish.fit.calibrate.observe.observe`; for two layouts.
    """
    paths = [Path(file) for file in files]
    drawn = [path for path in paths if holds_cells(path) and not path.name.lower().endswith(TABLES)]
    named = [*([] if layout is None else [Path(layout)]), *drawn]
    if len(named) > 1:
        raise DataError(
            f"{named[1]}: a second layout beside {named[0].name}: must be one, the one on which the steps were measured"
        )
    maps = read_cells(named[0], cell, layer, stage=stage) if named else None
    rest = [path for path in paths if path not in drawn]
    return observe(
        setup, *rest, time=time, wafer=wafer, columns=columns, told=told, maps=maps, step=step, place=place
    )
