"""What did the fab measure, and does the setup foresee it?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import DataError, refuse
from planish.fit.against import WaferAgainst, wafer_against
from planish.jobs.site_files import SiteFile, removal_of
from planish.measure.sites.column_map import ColumnMap, read_column_map
from planish.measure.sites.outliers import SOURCES, Flag, flag_rows, read_rows
from planish.measure.sites.pairing import read_removal as read_removal

if TYPE_CHECKING:
    from planish.setup.models import Setup


def told_columns(
    columns: Sequence[str] = (),
    units: Sequence[str] = (),
    file: str | os.PathLike[str] | None = None,
    **rest: Any,
) -> ColumnMap:
    """Return what a user says of site files, from words such as ``x=Pos X``.

    Parameters
    ----------
    columns, units
        ``role=text`` each.
    file
        A column map remembered before; the words go before it.
    **rest
        Pitch, centre_die, site_plan, decimal, sheet, separator and names_line of a :class:`~planish.measure.sites.column_map.ColumnMap`.

    Returns
    -------
    ColumnMap
        Empty where nothing is said.

    Raises
    ------
    DataError
        For words of another form, a role that there is not, and a file that is no column map.
    """
    said = ColumnMap(
        columns=_by_role("--column", columns, "x='Pos X'"), units=_by_role("--unit", units, "x=mm"), **rest
    )
    return said if file is None else read_column_map(file).merged(said)


def _by_role(option: str, words: Sequence[str], example: str) -> dict[str, str]:
    out: dict[str, str] = {}
    for word in words:
        role, equals, text = word.partition("=")
        if not equals or not role.strip() or not text.strip():
            raise DataError(refuse(option, word, "of the form role=text", f"as {option} {example}"))
        if out.setdefault(role.strip(), text.strip()) != text.strip():
            raise DataError(refuse(option, word, f"said once for {role.strip()}"))
    return out


def measured_against(
    setup: Setup,
    before: str | os.PathLike[str] | SiteFile,
    after: str | os.PathLike[str] | SiteFile | None = None,
    time: float | None = None,
    columns: ColumnMap | None = None,
    wafer: str | None = None,
) -> WaferAgainst:
    """Read a measured wafer and hold it against the setup it was polished with.

    Parameters
    ----------
    setup
        As loaded.
    before, after
        As for :func:`read_removal`; or each with what is told of it alone.
    time
        Polish time [s]; see :func:`~planish.fit.against.wafer_against` for what goes without.
    columns, wafer
        As for :func:`read_removal`.

    Returns
    -------
    WaferAgainst
        Measured beside predicted.

    Raises
    ------
    PlanishError
        As :func:`read_removal` and :func:`~planish.fit.against.wafer_against`.
    """
    first, second = (
        one if one is None or isinstance(one, SiteFile) else SiteFile(one, columns, wafer)
        for one in (before, after)
    )
    assert first is not None
    return wafer_against(setup, removal_of(first, second), time)


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
