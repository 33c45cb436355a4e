"""Which planarization length and blanket rate do the steps measured at test structures of a die show?"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

from planish.errors import DataError
from planish.fit.planarization import PlanarizationFit, fit_planarization
from planish.measure.steps import StepTable, read_steps

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps


def read_measured_steps(
    path: str | os.PathLike[str], step: float | None = None, *, named: str = "step before polishing"
) -> StepTable:
    """Return a table of measured steps that says what the step was before polishing.

    Parameters
    ----------
    path
        The table.
    step
        Before polishing [m]; it goes before one in the table.
    named
        What a refusal calls it.

    Raises
    ------
    DataError
        For a table that cannot be used, or where neither says what the step was.
    """
    table = read_steps(path)
    before = table.step_before if step is None else step
    if before is None:
        raise DataError(f"{named}: not given: must be the step before polishing, or a column step_before_nm")
    return replace(table, step_before=before)


def fit_steps(maps: LayoutMaps, table: StepTable) -> PlanarizationFit:
    """Fit planarization length, blanket rate and contact height to measured steps.

    Parameters
    ----------
    maps
        Of the layout on which they were measured.
    table
        From :func:`read_measured_steps`.

    Raises
    ------
    FitError
        As :func:`~planish.fit.planarization.fit_planarization`.
    """
    assert table.step_before is not None  # it was read so
    return fit_planarization(maps, table, step=table.step_before)
