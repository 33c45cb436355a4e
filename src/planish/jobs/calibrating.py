"""What was measured, in whatever files, that any number of the model can be fitted to?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.fit.calibrate.observe import observe
from planish.jobs.layouts import holds_cells, read_cells
from planish.jobs.stages import Stage, untold
from planish.measure.layout.sources import TABLES
from planish.measure.runs.read import RunColumns
from planish.results.plain import unique
from planish.setup.given import as_setup
from planish.units import NM_PER_MIN

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


@dataclass(frozen=True, slots=True)
class SetAgainst:
    """A set of measured numbers beside what the model says of it.

    Attributes
    ----------
    observed
        The set.
    predicted
        As many numbers, in its unit.
    """

    observed: Observed
    predicted: NDArray[np.float64]

    def row(self) -> dict[str, Any]:
        """Return its figures in units of the trade, as JSON can hold them."""
        one = self.observed
        scale, unit = (1e9, "nm") if one.unit == "m" else (NM_PER_MIN, "nm/min")
        if one.kind == "cut":
            scale, unit = 3.6e9, "um/h"
        rms = float(np.sqrt(np.mean((one.values - self.predicted) ** 2)))
        return {
            "name": one.name,
            "kind": one.kind,
            "numbers": int(one.values.size),
            "unit": unit,
            "measured_mean": float(one.values.mean()) * scale,
            "predicted_mean": float(self.predicted.mean()) * scale,
            "misfit_rms": rms * scale,
            "misfit_percent": 100 * rms / float(np.abs(one.values).mean()),
            "changes": dict(one.changes),
        }


@dataclass(frozen=True, slots=True)
class SetsAgainst:
    """All that was measured beside what a setup says of it, before anything is fitted.

    Attributes
    ----------
    sets
        In the order of the files.
    """

    sets: tuple[SetAgainst, ...]

    def document(self) -> dict[str, Any]:
        """Return the figures of each set, what was understood of the files, and the files, as JSON can hold them."""
        all_of = [one.observed for one in self.sets]
        return {
            "sets": [one.row() for one in self.sets],
            "understood": unique([line for one in all_of for line in one.understood]),
            "files": [
                {"name": name, "sha256": mark}
                for name, mark in dict.fromkeys(file for one in all_of for file in one.files)
            ],
        }


def sets_against(setup: SetupLike, observed: Sequence[Observed], *, stage: Stage = untold) -> SetsAgainst:
    """Hold sets of measured numbers against the model as it stands.

    Parameters
    ----------
    setup
        They were measured with.
    observed
        From :func:`observed_of`.
    stage
        Shows how far it is.

    Raises
    ------
    PlanishError
        Where the model has no answer to one of them.
    """
    described = as_setup(setup)
    made = []
    with stage("predicting what was measured") as tell:
        for number, one in enumerate(observed, start=1):
            made.append(SetAgainst(one, one.predict(described)))
            tell(number / len(observed))
    return SetsAgainst(tuple(made))


def told_runs(columns: Sequence[str] = (), leave_out: Sequence[str] = (), **rest: str | None) -> RunColumns:
    """Return what a user says of a table of runs, from words such as ``rate=Result``.

    Parameters
    ----------
    columns
        ``role=name`` each.
    leave_out
        Names of columns that are not looked at.
    **rest
        Decimal and sheet of a :class:`~planish.measure.runs.read.RunColumns`.

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
        if said.setdefault(role.strip(), name.strip()) != name.strip():
            raise DataError(refuse("--column", word, f"said once for {role.strip()}"))
    return RunColumns(columns=said, leave_out=tuple(leave_out), **rest)
