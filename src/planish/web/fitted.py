"""Fits to people's tables of runs: what a table holds, and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.results.plain import clean
from planish.web.answers import setup_of
from planish.web.own_data import file_as_told, named

if TYPE_CHECKING:
    from planish.jobs.site_files import SiteFile

READ = 0.2  # the share of a job at which its files are read


def runs_looked(
    document: Mapping[str, Any],
    path: str,
    name: str,
    files: Mapping[str, Mapping[str, Any]],
    scratch: str,
    words: tuple[Sequence[str], Sequence[str]],
) -> dict[str, Any]:
    """Return what a table of runs holds, which of its files are missing, and which numbers may be free.

    ``files`` are a person's by name; ``words`` say what the table does not say of itself, as ``--column`` and
    ``--leave-out`` do.
    """
    from planish.jobs.calibrating import told_runs
    from planish.jobs.run_fits import runs_told

    with named(path, name):
        found = runs_told(
            setup_of(document), Path(path), name, _files(files), Path(scratch), told_runs(*words)
        )
    return dict(clean(found))


def fitted(
    options: Mapping[str, Any], scratch: Path, tell: Callable[[float], None]
) -> tuple[dict[str, Any], str]:
    """Return the figures of a fit as the command has them, with the fitted setup; and that setup as TOML."""
    from planish.jobs.calibrated import read_free, sentences
    from planish.jobs.calibrating import told_runs
    from planish.jobs.run_fits import fit_runs

    setup = setup_of(options["document"])
    name = str(options["file_name"])
    told = told_runs(options["column"], options["leave_out"])
    free = read_free(options["free"], named="free numbers")
    with named(options["file"], name):
        found = fit_runs(
            setup,
            Path(options["file"]),
            name,
            _files(options["files"]),
            scratch,
            free,
            told,
            read=lambda: tell(READ),
        )
    document = found.fitted().document  # first: its notes say what of the held spreads could not be followed
    figures: dict[str, Any] = found.document()
    header = {
        **figures,
        "sentences": sentences(figures),
        "fitted_for": setup.digest(),
        "document": document,
    }
    return dict(clean(header)), found.to_toml()


def _files(files: Mapping[str, Mapping[str, Any]]) -> dict[str, SiteFile]:
    return {name: file_as_told(one["path"], one) for name, one in files.items()}
