"""A table of runs as sets of measured numbers: one a wafer with site maps, one for all rates measured alike."""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, PlanishError
from planish.fit.calibrate.cuts import observed_cuts
from planish.fit.calibrate.files import named_files
from planish.fit.calibrate.keys import key_names, key_test
from planish.fit.calibrate.lots import Age, observed_lot
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.calibrate.wafers import by_lot, observed_rates, observed_sites
from planish.fit.polished import check_same_wafer
from planish.fit.usable_sites import ring_of, usable
from planish.measure.runs.read import read_runs
from planish.measure.runs.record import Run, RunColumns, RunTable
from planish.measure.sites.pairing import Paired, paired
from planish.measure.sites.read import read_sites
from planish.setup.changes import change_lines, read_changes

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap
    from planish.measure.sites.read import SiteMap
    from planish.setup.models import Setup

Array = NDArray[np.float64]
T = TypeVar("T")


@dataclass(slots=True)
class _Group:
    """Rows that one prediction foretells together."""

    make: Callable[[_Table, list[Run]], Observed]
    runs: list[Run] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Table:
    """A table and what it is read for."""

    setup: Setup
    read: RunTable
    columns: ColumnMap | None
    by_file: Mapping[str, ColumnMap]

    def sites(self, path: Path, wafer: str | None) -> SiteMap:
        inside = path.relative_to(Path(self.read.path).parent).as_posix()
        return read_sites(path, columns=self.by_file.get(inside, self.columns), wafer=wafer)

    def said(self, runs: Sequence[Run]) -> list[str]:
        changes = change_lines(changes_of(runs[0]))
        who = runs[0].name if len(runs) == 1 else f"{len(runs)} rows"
        other = [f"{who}: set otherwise: {', '.join(changes)}"] if changes else []
        return [self.read.understood, *other]

    def files(self, runs: Iterable[Run]) -> tuple[tuple[str, str], ...]:
        if self.read.files:
            return self.read.files
        return named_files([Path(self.read.path), *(path for run in runs for path in run.files)])

    def heading(self, what: str, runs: Sequence[Run], said: Sequence[str] = ()) -> Heading:
        return Heading(
            self.name(what, runs), changes_of(runs[0]), self.files(runs), (*self.said(runs), *said)
        )

    def name(self, what: str, runs: Sequence[Run]) -> str:
        if len(runs) == 1:
            only = runs[0]
            files = f" ({only.files[-1].name})" if only.files else ""
            return f"{what} of {only.name}{files}" if not only.files else f"{only.name}{files}"
        count = f"{len(runs)} rows of {Path(self.read.path).name}"
        settings = ", ".join(change_lines(changes_of(runs[0])))
        lots = {run.lot for run in runs}
        lot = f", lot {runs[0].lot}" if len(lots) == 1 and runs[0].lot else ""
        return f"{what} in {count}{lot}" + (f" ({settings})" if settings else "")


def observed_runs(
    setup: Setup,
    path: str | os.PathLike[str],
    *,
    columns: ColumnMap | None = None,
    by_file: Mapping[str, ColumnMap] | None = None,
    told: RunColumns | None = None,
) -> list[Observed]:
    """Return the sets of measured numbers of a table of runs.

    Parameters
    ----------
    setup
        The runs were polished with, but for what their rows say.
    path
        The table; see :func:`~planish.measure.runs.read.read_runs`.
    columns
        What the site files do not say of themselves.
    by_file
        What single ones do not say, in its place: by their names as in the table, with ``/`` between folders.
    told
        What the table does not say of itself.

    Returns
    -------
    list[Observed]
        In the order of the rows. Site maps are a set each; rates, cut rates, and wafers at a stated age of pad or disk
        are a set for all that share recipe and time (and lot, where the age of a disk is stated), as one prediction
        foretells them.

    Raises
    ------
    PlanishError
        Naming line and column of what cannot be used.
    """
    read = read_runs(path, told=told, is_key=key_test(setup), keys=key_names(setup))
    return observed_table(setup, read, columns=columns, by_file=by_file)


def observed_table(
    setup: Setup,
    read: RunTable,
    *,
    columns: ColumnMap | None = None,
    by_file: Mapping[str, ColumnMap] | None = None,
) -> list[Observed]:
    """Return the sets of measured numbers of a table of runs that was read.

    Parameters
    ----------
    setup, columns, by_file
        As of :func:`observed_runs`.
    read
        The table.

    Returns
    -------
    list[Observed]
        As of :func:`observed_runs`.

    Raises
    ------
    PlanishError
        As :func:`observed_runs`.
    """
    table = _Table(setup, read, columns, by_file or {})
    groups: dict[Hashable, _Group] = {}
    for run in read.runs:
        _check_settings(setup, run)
        key, make = _kind(run)
        groups.setdefault(key, _Group(make)).runs.append(run)
    return [_placed(group.runs[0].place, partial(group.make, table, group.runs)) for group in groups.values()]


def changes_of(run: Run) -> dict[str, object]:
    """Return what a row set otherwise, as ``Setup.replace`` takes it.

    Parameters
    ----------
    run
        The row.
    """
    return dict(read_changes(f"{path}={text}" for path, text in run.settings.items()))


def _check_settings(setup: Setup, run: Run) -> None:
    if run.settings:
        _placed(run.place, partial(setup.replace, changes_of(run)))


def _placed(place: str, do: Callable[[], T]) -> T:
    """Return what ``do`` gives; a refusal that does not say its file gets the place of the row."""
    try:
        return do()
    except PlanishError as error:
        text = str(error)
        if text.startswith(place.split(":", 1)[0]) or place in text:
            raise
        raise type(error)(f"{place}: {text}") from None


def _kind(run: Run) -> tuple[Hashable, Callable[[_Table, list[Run]], Observed]]:
    """Return what a row goes together with, and what makes a set of such rows."""
    alike = (tuple(sorted(run.settings.items())), run.time)
    if run.cut is not None:
        return ("cut", alike[0]), _cuts
    aged = run.pad_wafers is not None or run.pad_time is not None or run.disk_time is not None
    if aged and run.pad_wafers is None and run.pad_time is None:
        raise DataError(
            f"{run.place}: the use of the disk is stated and no age of the pad: must be both (a column pad wafers or pad "
            "hours; 0 on a new pad)"
        )
    pad = run.lot if run.disk_time is not None else None
    if run.files or run.measured is not None:
        return (("maps", alike, pad), _lot_maps) if aged else (("map", run.place), _map)
    return (("lot", alike, pad), _lot_rates) if aged else (("rate", alike), _rates)


def _map(table: _Table, runs: list[Run]) -> Observed:
    run = runs[0]
    return observed_sites(
        table.setup,
        _removal(table, run),
        table.heading("removal", runs, _beside(run)),
        time=run.time,
        sd=run.sd or 0.0,
    )


def _rates(table: _Table, runs: list[Run]) -> Observed:
    return observed_rates(
        table.setup,
        np.array([run.rate for run in runs], dtype=np.float64),
        table.heading("rate", runs),
        time=runs[0].time,
        sd=_errors(runs),
        lots=[run.lot for run in runs],
    )


def _cuts(table: _Table, runs: list[Run]) -> Observed:
    for run in runs:
        if run.disk_time is None:
            raise DataError(
                f"{run.place}: a cut rate and no use of the disk: must be stated (a column disk hours; 0 for a new disk)"
            )
    return observed_cuts(
        table.setup,
        np.array([run.cut for run in runs], dtype=np.float64),
        np.array([run.disk_time for run in runs], dtype=np.float64),
        table.heading("cut rate", runs),
        sd=_errors(runs),
        lots=[run.lot for run in runs],
    )


def _lot_rates(table: _Table, runs: list[Run]) -> Observed:
    return observed_lot(
        table.setup,
        [np.array([run.rate], dtype=np.float64) for run in runs],
        [_age(run) for run in runs],
        [None] * len(runs),
        table.heading("rate", runs),
        groups=by_lot([run.lot for run in runs], len(runs)),
        sd=_errors(runs),
        time=runs[0].time,
    )


def _lot_maps(table: _Table, runs: list[Run]) -> Observed:
    changes = changes_of(runs[0])
    rig = (table.setup.replace(changes) if changes else table.setup).rig
    values: list[Array] = []
    radii: list[Array | None] = []
    groups: list[NDArray[np.int64]] = []
    sd: list[Array] = []
    notes: list[str] = []
    for run in runs:
        removal = _removal(table, run).removal
        check_same_wafer(rig, removal)
        chosen = usable(removal, rig.wafer.radius - rig.wafer.edge_exclusion)
        radius = np.asarray(removal.r[chosen.good])
        ring = ring_of(radius)
        groups.append(ring + (0 if not groups else 1 + int(groups[-1].max())))
        values.append(np.asarray(removal.value[chosen.good]))
        sd.append(np.full(radius.size, run.sd or 0.0))
        radii.append(radius)
        notes += [f"{run.name}: {note}" for note in (*chosen.notes, *_beside(run))]
    return observed_lot(
        table.setup,
        values,
        [_age(run) for run in runs],
        radii,
        table.heading("removal", runs, notes),
        groups=np.concatenate(groups),
        sd=np.concatenate(sd),
        time=runs[0].time,
    )


def _age(run: Run) -> Age:
    return Age(run.pad_wafers, run.pad_time, run.disk_time)


def _errors(runs: Sequence[Run]) -> Array:
    return np.array([run.sd or 0.0 for run in runs])


def _beside(run: Run) -> list[str]:
    """Say that a rate beside site files is not counted: it is of the same wafer."""
    if run.rate is None:
        return []
    return [
        "the rate beside the site files is not used: they tell of the same wafer, which would count twice"
    ]


def _removal(table: _Table, run: Run) -> Paired:
    """Return the removal of a row; of a file of several wafers the one that the row names."""
    if run.measured is not None:
        return run.measured
    first, after = run.files[0], run.files[1] if len(run.files) > 1 else None

    def read(wafer: str | None) -> Paired:
        return paired(table.sites(first, wafer), None if after is None else table.sites(after, wafer))

    try:
        return read(None)
    except DataError:
        if run.wafer is None:
            raise
        try:
            return read(run.wafer)
        except DataError:
            pass
        raise
