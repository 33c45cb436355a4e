"""A table of runs with its site files, each wherever it is kept: what does it hold, what may be fitted, and what comes of it?"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from planish.engine.files import second_name
from planish.errors import DataError, PlanishError
from planish.fit.calibrate.fitting import usual_number
from planish.fit.calibrate.keys import key_names, key_test
from planish.jobs.calibrated import fitted_to
from planish.jobs.settings import describe
from planish.measure.runs.read import files_named, read_runs

if TYPE_CHECKING:
    from planish.fit.calibrate.result import Calibrated
    from planish.jobs.site_files import SiteFile
    from planish.measure.runs.record import RunColumns
    from planish.setup.models import Setup


def runs_told(
    setup: Setup,
    table: Path,
    name: str,
    files: Mapping[str, SiteFile],
    scratch: Path,
    told: RunColumns | None = None,
) -> dict[str, Any]:
    """Return what a table of runs holds, which of its site files are missing, and which numbers may be free.

    Parameters
    ----------
    setup
        The runs were polished with.
    table, name
        The file and what a person calls it.
    files
        Site files by the names that a person calls them.
    scratch
        A folder that is made for this and gone after it.
    told
        What the table does not say of itself.

    Returns
    -------
    dict[str, Any]
        ``runs``, ``understood`` ("" while files are missing), ``names``, ``missing``, ``free``.

    Raises
    ------
    DataError
        As :func:`~planish.measure.runs.read.read_runs`.
    """
    with gathered(table, name, files, scratch, told, setup) as laid:
        out: dict[str, Any] = {"names": laid.names, "missing": laid.missing, "understood": "", "runs": None}
        if not laid.missing:
            read = read_runs(laid.table, told=told, is_key=key_test(setup), keys=key_names(setup))
            out |= {"understood": read.understood, "runs": len(read.runs)}
    return {**out, "free": may_be_free(setup), "numbers": _numbers(setup)}


def fit_runs(
    setup: Setup,
    table: Path,
    name: str,
    files: Mapping[str, SiteFile],
    scratch: Path,
    free: Sequence[str] = (),
    told: RunColumns | None = None,
    read: Callable[[], None] = lambda: None,
) -> Calibrated:
    """Fit numbers of a setup to a table of runs, as ``planish fit SETUP RUNS`` does.

    Parameters
    ----------
    setup, table, name, files, scratch, told
        As for :func:`runs_told`.
    free
        Dotted paths; the rate of the film on top unless given.
    read
        Called once the files are read.

    Raises
    ------
    PlanishError
        As :func:`~planish.jobs.calibrated.fitted_to`; for a site file that is missing.
    """
    with gathered(table, name, files, scratch, told, setup) as laid:
        if laid.missing:
            raise DataError(
                f"{name}: names site files that are not there: {', '.join(laid.missing[:12])} (bring them too)"
            )
        reading = {"told": told, "by_file": laid.by_file}
        return fitted_to(setup, [laid.table], free, reading=reading, read=read)


def may_be_free(setup: Setup) -> list[dict[str, Any]]:
    """Return the numbers of a setup that stand to be fitted: the usual one, and those of which a spread is stated.

    Parameters
    ----------
    setup
        As loaded.
    """
    usual = usual_number(setup)
    found = [
        one for one in describe(setup) if one["kind"] == "number" and (one["spread"] or one["path"] == usual)
    ]
    order = ("removal", "pad", "slurry", "conditioner", "head", "wafer")
    found.sort(key=lambda one: (one["path"] != usual, _place(one["path"].split(".")[0], order)))
    return [
        {
            "path": one["path"],
            "part": one["part"],
            "label": one["label"],
            "value": str(one["text"]),
            "spread": one["spread"],
            "usual": one["path"] == usual,
        }
        for one in found
    ]


def _numbers(setup: Setup) -> list[str]:
    return [one["path"] for one in describe(setup) if one["kind"] == "number"]


def _place(word: str, order: Sequence[str]) -> int:
    return order.index(word) if word in order else len(order)


class Laid:
    """A table with its site files beside it under the names that it has for them.

    ``names`` are all that it names, ``missing`` those that nobody brought, ``by_file`` what is told of each.
    """

    def __init__(self, table: Path, names: Sequence[str]) -> None:
        self.table, self.names = table, list(names)
        self.missing: list[str] = []
        self.by_file: dict[str, Any] = {}


@contextmanager
def gathered(
    table: Path,
    name: str,
    files: Mapping[str, SiteFile],
    scratch: Path,
    told: RunColumns | None,
    setup: Setup,
) -> Iterator[Laid]:
    """Lay a table of runs and its site files into one folder, for as long as they are read.

    Parameters
    ----------
    table, name, files, scratch, told, setup
        As for :func:`runs_told`. A file in a folder of the table's is known by its own name alone.

    Yields
    ------
    Laid
        In refusals, ``scratch`` is not shown.

    Raises
    ------
    DataError
        For a table that cannot be read.
    """
    scratch.mkdir(mode=0o700)
    try:
        laid = Laid(second_name(table, scratch / _plain(name)), [])
        laid.names = list(files_named(laid.table, told=told, is_key=key_test(setup)))
        for each in laid.names:
            inside = PurePosixPath(each.replace("\\", "/"))
            file = files.get(inside.name)
            if file is None:
                laid.missing.append(each)
            elif not inside.is_absolute() and ".." not in inside.parts:  # else the reader refuses the name
                place = scratch / inside
                place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                if not place.exists():
                    second_name(Path(file.path), place)
                if file.columns:
                    laid.by_file[inside.as_posix()] = file.columns
        yield laid
    except PlanishError as error:
        raise DataError(str(error).replace(f"{scratch}/", "").replace(str(scratch), "your files")) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _plain(name: str) -> str:
    """Return a person's name of a file without anything that leads elsewhere."""
    return Path(name.replace("\\", "/")).name or "runs.csv"
