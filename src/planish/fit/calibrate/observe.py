"""What somebody measured, whatever file it is in, as sets of numbers with the way in which the model foretells them."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.given import as_path, of_kind
from planish.errors import DataError, PlanishError
from planish.fit.calibrate.dies import observed_steps
from planish.fit.calibrate.files import named_files
from planish.fit.calibrate.keys import key_test
from planish.fit.calibrate.observed import Heading, Observed
from planish.fit.calibrate.runs import observed_runs
from planish.fit.calibrate.wafers import observed_sites
from planish.measure.runs.read import IsKey, holds_runs
from planish.measure.runs.record import RunColumns
from planish.measure.sites.column_map import ColumnMap, column_map
from planish.measure.sites.pairing import read_removal
from planish.measure.sites.wafer import polish_time
from planish.measure.steps import holds_steps, read_steps
from planish.setup.given import as_setup
from planish.units import as_si

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup


@dataclass(slots=True)
class _Files:
    """The files by what they hold."""

    sites: list[Path] = field(default_factory=list)
    runs: list[Path] = field(default_factory=list)
    steps: list[Path] = field(default_factory=list)


def observe(
    setup: SetupLike,
    *files: str | os.PathLike[str],
    time: float | str | None = None,
    wafer: str | None = None,
    columns: ColumnMap | Mapping[str, str | Mapping[str, str]] | str | os.PathLike[str] | None = None,
    by_file: Mapping[str, ColumnMap] | None = None,
    told: RunColumns | None = None,
    maps: LayoutMaps | None = None,
    step: float | str | None = None,
    place: str | float = "centre",
) -> list[Observed]:
    """Read measurements as sets of numbers that the full model foretells.

    Parameters
    ----------
    setup
        They were made with, but for what a table of runs says of its rows.
    *files
        Site files of one wafer (before and after, or the removal); tables of runs; tables of steps at test
        structures. What each is, its column names say.
    time
        Of polishing [s] or text as ``"60 s"``: for the wafer of the site files.
    wafer
        Which one, where the site files hold several.
    columns
        What site files do not say of themselves.
    by_file
        What single site files named in a table of runs do not say, in place of ``columns``; by their names there.
    told
        What tables of runs do not say of themselves.
    maps
        Of the layout on which steps were measured.
    step
        Before polishing [m], or text as ``"800 nm"``, where the table of steps does not say it.
    place
        Of the die on the wafer: "centre", "mid", "edge" or a radius [m].

    Returns
    -------
    list[Observed]
        One or more sets.

    Raises
    ------
    PlanishError
        For a file that cannot be read as any of these, more site files than those of one wafer, steps without a
        layout, and what the readers refuse.
    """
    described = as_setup(setup)
    if not files:
        raise DataError(
            "measurements: no file given: must be a site file of one wafer or the two before and after, a table of runs, "
            "or a table of steps"
        )
    if told is not None:
        of_kind(told, RunColumns, "told", "a RunColumns record (planish.measure.runs.record)")
    found = _sorted(described, [Path(as_path(file, "measurements")) for file in files], told)
    told_sites = column_map(columns)
    out: list[Observed] = []
    if found.sites:
        out.append(_wafer(described, found.sites, time, wafer, told_sites))
    elif time is not None or wafer is not None:
        what = "time" if time is not None else "wafer"
        raise DataError(
            f"{what}: given, and no site file: must stand with the site files of one wafer (a table says its own)"
        )
    for path in found.runs:
        out += observed_runs(described, path, columns=told_sites, by_file=by_file, told=told)
    for path in found.steps:
        out.append(_steps(described, path, maps, step, place))
    if told is not None and told != RunColumns() and not found.runs:
        raise DataError(
            "columns of a table of runs are told, and no such table is given: must be one among the files"
        )
    return out


def _sorted(setup: Setup, paths: Sequence[Path], told: RunColumns | None) -> _Files:
    found = _Files()
    is_key = key_test(setup)
    for path in paths:
        if holds_steps(path):
            found.steps.append(path)
        elif _is_runs(path, is_key, told):
            found.runs.append(path)
        else:
            found.sites.append(path)
    if len(found.sites) > 2:
        names = ", ".join(path.name for path in found.sites[:6])
        raise DataError(
            f"measurements: {len(found.sites)} site files ({names}): must be one of the removal, or two of one wafer (name "
            "those of several wafers in a table of runs: columns wafer, pre file, post file)"
        )
    return found


def _is_runs(path: Path, is_key: IsKey, told: RunColumns | None) -> bool:
    try:
        return holds_runs(path, is_key, told)
    except DataError:
        return False  # no such table; the reader of sites says what is wrong with it


def _wafer(
    setup: Setup, paths: Sequence[Path], time: float | str | None, wafer: str | None, columns: ColumnMap
) -> Observed:
    try:
        paired = read_removal(paths[0], paths[1] if len(paths) > 1 else None, columns, wafer)
    except PlanishError as error:
        if any(word in str(error) for word in ("column names", "no site positions", "no column of")):
            raise DataError(
                f"{error}; nor is it a table of runs (columns such as pre file and post file, rate, or cut rate) or of steps "
                "(up_loss, step_left)"
            ) from None
        raise
    seconds = None if time is None else polish_time(time)
    called = f"wafer {wafer}" if wafer else "wafer"
    heading = Heading(f"{called} ({paths[-1].name})", files=named_files(paths))
    return observed_sites(setup, paired, heading, time=seconds)


def _steps(
    setup: Setup, path: Path, maps: LayoutMaps | None, step: float | str | None, place: str | float
) -> Observed:
    if maps is None:
        raise DataError(f"{path}: a table of steps: must stand with the layout on which they were measured")
    table = read_steps(path)
    if step is not None:
        table = replace(table, step_before=as_si(step, "thickness", "step before polishing"))
    heading = Heading(f"steps ({path.name})", files=named_files([path]))
    return observed_steps(setup, maps, table, heading, place=place)
