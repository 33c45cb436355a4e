"""What a table of runs is read into, and what may be said of one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.given import of_kind
from planish.engine.record import Record, counted
from planish.errors import DataError, refuse
from planish.measure.runs.columns import ROLES, spellings

if TYPE_CHECKING:
    from planish.measure.sites.pairing import Paired


@dataclass(frozen=True, slots=True)
class RunColumns:
    """What is said of a table of runs that it does not say of itself.

    Attributes
    ----------
    columns
        Column by role (:data:`~planish.measure.runs.columns.ROLES`).
    leave_out
        Columns that are not looked at.
    decimal
        "point" or "comma"; found in the table where not said.
    sheet
        Of a workbook.
    keep
        Columns of figures of which no prediction knows, as dishing or defects: kept as they stand.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    leave_out: tuple[str, ...] = ()
    decimal: str | None = None
    sheet: str | None = None
    keep: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not isinstance(self.columns, Mapping):
            raise DataError(
                refuse("columns", self.columns, "names by role", "as {'rate': 'Result [nm/min]'}")
            )
        of_kind(self.leave_out, tuple, "leave_out", "a tuple of names of columns")
        for role in self.columns:
            if role not in ROLES:
                raise DataError(refuse("columns: role", role, f"one of {', '.join(spellings())}"))
        of_kind(self.keep, tuple, "keep", "a tuple of names of columns")
        for what in (*self.columns.values(), *self.leave_out, *self.keep):
            of_kind(what, str, "name of a column", "text")
        if self.sheet is not None:
            of_kind(self.sheet, str, "sheet", "text, or left out")
        if self.decimal not in (None, "point", "comma"):
            raise DataError(refuse("decimal", self.decimal, "point or comma"))


@dataclass(frozen=True, slots=True)
class Run:
    """A row, in SI; None where a cell is empty or there is no such column.

    Attributes
    ----------
    place
        File and line, for refusals.
    wafer, lot
        As written.
    before, after, removal
        Site files.
    time
        Of polishing [s].
    rate, cut
        Mean removal rate, and cut rate of the pad [m/s].
    sd
        Measurement error of what is measured [m/s] or, of sites, [m]; ``sd_is_rate`` says which.
    pad_wafers
        Polished on the pad before.
    pad_time, disk_time
        Polishing time of the pad and use of the disk before [s].
    ring_time
        Use of the retaining ring before [s].
    settings
        Text by path of a key of the setup, as it would stand in the file.
    words
        What no prediction knows of, by role: tool, head, platen, recipe, when, pad, disk, ring.
    kept
        Figures that are kept as they stand, by the name of their column.
    measured
        Its removal site by site, where that does not stand in files.
    """

    place: str
    wafer: str | None = None
    lot: str | None = None
    before: Path | None = None
    after: Path | None = None
    removal: Path | None = None
    time: float | None = None
    rate: float | None = None
    cut: float | None = None
    sd: float | None = None
    sd_is_rate: bool = False
    pad_wafers: int | None = None
    pad_time: float | None = None
    disk_time: float | None = None
    ring_time: float | None = None
    settings: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    kept: Mapping[str, float] = field(default_factory=dict)
    measured: Paired | None = None

    @property
    def name(self) -> str:
        """How a person calls it."""
        return f"wafer {self.wafer}" if self.wafer else self.place

    @property
    def files(self) -> tuple[Path, ...]:
        """Its site files, in the order in which they are paired."""
        return tuple(one for one in (self.removal, self.before, self.after) if one is not None)


@dataclass(frozen=True, slots=True, repr=False)
class RunTable(Record):
    """A table of runs as read.

    Attributes
    ----------
    path
        The file.
    runs
        Its rows.
    understood
        What its columns were taken for, in one line.
    files
        Name and SHA-256 of what stands for the table where it is no file; none where it is one.
    """

    path: str
    runs: tuple[Run, ...]
    understood: str
    files: tuple[tuple[str, str], ...] = ()

    def _told(self) -> str:
        return f"{counted(len(self.runs), 'run')}; {self.understood}"
