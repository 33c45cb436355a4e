"""Files as records of a history: tables of runs by the reader that fits read them with, and tables of events."""

from __future__ import annotations

import hashlib
import os
from collections import OrderedDict
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.hold.history.moments import moment
from planish.hold.history.records import Row, WaferRecord, event_row, wafer_record
from planish.measure.runs.read import read_runs
from planish.measure.runs.record import Run, RunColumns
from planish.measure.sites.by_wafer import sites_by_wafer
from planish.measure.tables.grid import read_grids
from planish.measure.tables.rows import Rows, read_rows
from planish.setup.fields import keys
from planish.setup.motions.known import MOTIONS

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap
    from planish.measure.sites.read import SiteMap

MOST_ROWS = 200_000
HELD = 4  # site files whose wafers are held at a time
_WORDS = ("tool", "head", "platen", "part", "note")


@dataclass(frozen=True, slots=True)
class Records:
    """What a file holds.

    Attributes
    ----------
    path, digest
        The file, and the SHA-256 of its bytes.
    wafers, events
        One of the two, in the order of time.
    places
        Of each event, for refusals.
    understood
        What its columns were taken for.
    """

    path: str
    digest: bytes
    wafers: tuple[WaferRecord, ...] = ()
    events: tuple[Row, ...] = ()
    places: tuple[str, ...] = ()
    understood: str = ""


def records_of(
    path: str | os.PathLike[str], columns: ColumnMap | None = None, told: RunColumns | None = None
) -> Records:
    """Return the records of a file.

    Parameters
    ----------
    path
        A table of runs (:func:`~planish.measure.runs.read.read_runs`) that names each wafer and says when it was polished; or
        one of events, with a column ``event``.
    columns, told
        What site files, and the table, do not say of themselves.

    Raises
    ------
    DataError
        Naming file, line and column of what cannot be used, and a wafer that stands twice with other figures.
    """
    file = Path(as_path(path, "records"))
    if _is_events(file):
        return _events(file, told or RunColumns())
    table = read_runs(file, told=told, is_key=is_key, most=MOST_ROWS)
    sites = _SiteFiles(columns)
    found: dict[bytes, WaferRecord] = {}
    for run in table.runs:
        record = wafer_record(run, *sites.maps(run))
        first = found.setdefault(record.row["key"], record)
        if first.row["digest"] != record.row["digest"]:
            raise DataError(
                f"{record.place}: wafer {run.wafer!r} stands at {first.place.rpartition(': ')[2]} too, of the same moment and "
                "with other figures: must stand once (one that was measured again has a moment of its own)"
            )
    ordered = sorted(found.values(), key=lambda one: (one.row["polished"], one.row["key"]))
    return Records(str(file), _digest(file), tuple(ordered), understood=table.understood)


def is_key(path: str) -> bool:
    """Return whether a path is that of a key of some setup, whatever its steps and films are called.

    Parameters
    ----------
    path
        With dots, as ``recipe.step.main.time``.
    """
    parts = tuple(path.replace("'", "").split("."))
    tries = [parts, parts[:-1]] if parts[-1].isdigit() else [parts]
    return any(
        len(one) == len(known) and all(b in ("*", a) for a, b in zip(one, known, strict=True))
        for one in tries
        for known in _known()
    )


@cache
def _known() -> frozenset[tuple[str, ...]]:
    return frozenset(tuple(info.path.split(".")) for motion in MOTIONS.names() for info in keys(motion))


@dataclass(slots=True)
class _SiteFiles:
    """The site files that a table names, each read once."""

    columns: ColumnMap | None
    held: OrderedDict[Path, dict[str, SiteMap]] = field(default_factory=OrderedDict)

    def maps(self, run: Run) -> tuple[SiteMap | None, SiteMap | None]:
        """Return before and after, or the removal and None, or neither."""
        found = [self._of(path, run) for path in run.files]
        return (found[0], found[1] if len(found) > 1 else None) if found else (None, None)

    def _of(self, path: Path, run: Run) -> SiteMap:
        if path not in self.held:
            self.held[path] = sites_by_wafer(path, self.columns)
            if len(self.held) > HELD:
                self.held.popitem(last=False)
        wafers = self.held[path]
        if len(wafers) == 1:
            return next(iter(wafers.values()))
        if run.wafer not in wafers:
            raise DataError(
                refuse(f"{run.place}: wafer of {path.name}", run.wafer, f"one of {', '.join([*wafers][:8])}")
            )
        return wafers[run.wafer]


def _is_events(file: Path) -> bool:
    grid = read_grids(file)[0]
    names = next((cells for _, cells in grid.rows if not (cells[0].startswith("#") and len(cells) == 1)), ())
    return any(name.strip().casefold() == "event" for name in names)


def _events(file: Path, told: RunColumns) -> Records:
    table = read_rows(file, sheet=told.sheet, decimal=told.decimal, columns=["event"])
    by_role = _columns(table)
    kinds, whens = table.index("event", "the column of events"), by_role["when"]
    found: dict[bytes, tuple[Row, str]] = {}
    for at, cells in enumerate(table.cells):
        place = f"{table.path}: {table.place} {table.lines[at]}"
        words = {role: cells[by_role[role]] for role in _WORDS if role in by_role}
        row = event_row(cells[kinds], moment(cells[whens], table.at(at, whens)), words, place)
        first = found.setdefault(row["key"], (row, place))
        if first[0]["digest"] != row["digest"]:
            raise DataError(f"{place}: the same event stands above with other words: must stand once")
    ordered = sorted(found.values(), key=lambda one: one[0]["key"])
    return Records(
        table.path,
        _digest(file),
        events=tuple(row for row, _ in ordered),
        places=tuple(place for _, place in ordered),
        understood=f"{file.name}: {len(ordered)} events",
    )


def _columns(table: Rows) -> dict[str, int]:
    """Return which column is what; a name that means nothing is refused."""
    from planish.measure.runs.columns import understood

    found: dict[str, int] = {}
    for at, name in enumerate(table.names):
        plain = name.strip().casefold()
        known = understood(name, lambda _: False)
        role = plain if plain in ("event", *_WORDS) else known.role if known is not None else ""
        role = {"pad": "part", "disk": "part", "ring": "part", "time": "when"}.get(role, role)
        if role not in ("event", "when", *_WORDS):
            raise DataError(
                refuse(
                    f"{table.path}: column of events", name[:40], f"one of event, when, {', '.join(_WORDS)}"
                )
            )
        if role in found:
            raise DataError(f"{table.path}: two columns could each be {role}: must be one (leave one out)")
        found[role] = at
    if "when" not in found:
        raise DataError(
            refuse(
                f"{table.path}: columns of events",
                ", ".join(table.names)[:80],
                "event and when, and what else is known",
            )
        )
    return found


def _digest(file: Path) -> bytes:
    with file.open("rb") as raw:
        return hashlib.file_digest(raw, "sha256").digest()
