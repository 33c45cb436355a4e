"""What was measured, in whatever files, that any number of the model can be fitted to?"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, refuse
from planish.fit.calibrate.held import HeldSets, hold_against
from planish.fit.calibrate.observe import observe
from planish.jobs.layouts import holds_cells, read_cells
from planish.jobs.stages import Stage, untold
from planish.measure.layout.sources import TABLES
from planish.measure.runs.columns import role_of
from planish.measure.runs.record import RunColumns

if TYPE_CHECKING:
    from planish.fit.calibrate.observed import Observed
    from planish.measure.sites.column_map import ColumnMap
    from planish.setup.given import SetupLike

CELL = 20e-6  # [m] of the maps of a layout, unless told


def observed_of(
    setup: SetupLike,
    files: Sequence[str | os.PathLike[str]],
    columns: ColumnMap | None = None,
    *,
    by_file: Mapping[str, ColumnMap] | None = None,
    told: RunColumns | None = None,
    time: float | None = None,
    wafer: str | None = None,
    layout: str | os.PathLike[str] | None = None,
    layer: str | None = None,
    cell: float = CELL,
    step: float | None = None,
    place: str | float = "centre",
    history: Mapping[str, Any] | None = None,
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
    by_file
        What single site files named in a table of runs do not say, by their names there.
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
    history
        Wafers beside those of files: where it is (``db``, the user's own where that is None), and filters as of
        :meth:`~planish.hold.history.history.History.wafers`.
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
    kept: list[Observed] = []
    if history is not None:
        from planish.hold.history.history import open_history  # loads the database's library

        filters = {name: value for name, value in history.items() if name != "db" and value is not None}
        with open_history(history["db"]) as opened:
            kept = opened.observed(setup, **filters)
        if not rest:
            return kept
    return kept + observe(
        setup,
        *rest,
        time=time,
        wafer=wafer,
        columns=columns,
        by_file=by_file,
        told=told,
        maps=maps,
        step=step,
        place=place,
    )


def held_against(setup: SetupLike, sets: Sequence[Observed], stage: Stage = untold) -> HeldSets:
    """Return sets of measured numbers beside what a setup says of them as it stands.

    Parameters
    ----------
    setup
        They were measured with.
    sets
        From :func:`observed_of`.
    stage
        Shows how far it is.

    Raises
    ------
    PlanishError
        Where the model has no answer to one of them.
    """
    with stage("predicting what was measured") as tell:
        return hold_against(setup, sets, tell=tell)


def told_runs(
    columns: Sequence[str] = (), leave_out: Sequence[str] = (), keep: Sequence[str] = (), **rest: str | None
) -> RunColumns:
    """Return what a user says of a table of runs, from words such as ``rate=Result``.

    Parameters
    ----------
    columns
        ``role=name`` each.
    leave_out
        Names of columns that are not looked at.
    keep
        Names of columns of figures that are kept as they stand.
    **rest
        Decimal and sheet of a :class:`~planish.measure.runs.record.RunColumns`.

    Raises
    ------
    DataError
        For words of another form and a role that there is not.
    """
    said: dict[str, str] = {}
    for word in columns:
        role, equals, name = word.partition("=")
        if not equals or not role.strip() or not name.strip():
            raise DataError(
                refuse("--column", word, "of the form role=name", "as --column rate='Result [nm/min]'")
            )
        if said.setdefault(role_of(role.strip()), name.strip()) != name.strip():
            raise DataError(refuse("--column", word, f"said once for {role.strip()}"))
    return RunColumns(columns=said, leave_out=tuple(leave_out), keep=tuple(keep), **rest)
