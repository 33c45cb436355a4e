"""What did the fab measure, and does the setup foresee it?"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, refuse
from planish.fit.against import WaferAgainst, wafer_against
from planish.measure.sites.outliers import SOURCES, Flag, flag_rows, read_rows
from planish.measure.sites.pairing import Paired, pair
from planish.measure.sites.read import read_sites

if TYPE_CHECKING:
    from planish.setup.models import Setup


def read_removal(before: str | os.PathLike[str], after: str | os.PathLike[str] | None = None) -> Paired:
    """Return the measured removal of one wafer from its site files.

    Parameters
    ----------
    before, after
        Site files of the thickness before and after the polish; or one file that holds the removal.

    Returns
    -------
    Paired
        At the sites that both have.

    Raises
    ------
    DataError
        For a file that cannot be used, two that do not pair up, or one alone that holds no removal.
    """
    first = read_sites(Path(before))
    if after is not None:
        return pair(first, read_sites(Path(after)))
    if first.quantity != "removal":
        raise DataError(
            refuse(
                f"{first.source}: measured quantity",
                first.quantity,
                "removal, where no second file is given",
                "give the file from after the polish too",
            )
        )
    return Paired(first, (), (), "site name")


def measured_against(
    setup: Setup,
    before: str | os.PathLike[str],
    after: str | os.PathLike[str] | None = None,
    time: float | None = None,
) -> WaferAgainst:
    """Read a measured wafer and hold it against the setup it was polished with.

    Parameters
    ----------
    setup
        As loaded.
    before, after
        As for :func:`read_removal`.
    time
        Polish time [s]; see :func:`~planish.fit.against.wafer_against` for what goes without.

    Returns
    -------
    WaferAgainst
        Measured beside predicted.

    Raises
    ------
    PlanishError
        As :func:`read_removal` and :func:`~planish.fit.against.wafer_against`.
    """
    return wafer_against(setup, read_removal(before, after), time)


@dataclass(frozen=True, slots=True)
class OddRows:
    """Which rows of a table of wafers or batches stand out.

    Attributes
    ----------
    rows, columns
        How many the table has.
    flags
        Why, a row at a time; one row may have several.
    """

    rows: int
    columns: int
    flags: tuple[Flag, ...]

    def document(self) -> dict[str, Any]:
        """Return the flags, rows counted from 1, and what they rest on, as JSON can hold them."""
        told = [{"row": flag.row + 1, "reason": flag.reason, "score": flag.score} for flag in self.flags]
        return {"rows": self.rows, "columns": self.columns, "flags": told, "sources": list(SOURCES)}


def odd_rows(path: str | os.PathLike[str]) -> OddRows:
    """Read a table, a wafer or batch a row and a site a column, and flag the rows that stand out.

    Parameters
    ----------
    path
        The table, all numbers in one unit.

    Raises
    ------
    DataError
        For a table that cannot be used.
    """
    table = read_rows(Path(path))
    return OddRows(len(table), table.shape[1], flag_rows(table))
