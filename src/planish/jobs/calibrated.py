"""Which values of a setup's uncertain numbers meet what was measured, how sure is that, and what is the setup with them?"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.engine.files import write_whole
from planish.errors import DataError, SetupError, refuse
from planish.fit.calibrate.fitting import calibrate
from planish.jobs.calibrating import observed_of
from planish.jobs.changed import load_changed, read_ranges
from planish.setup.paths import parse

if TYPE_CHECKING:
    from planish.fit.calibrate.result import Calibrated
    from planish.measure.sites.column_map import ColumnMap
    from planish.setup.models import Setup


def calibrated(
    path: str | os.PathLike[str],
    files: Sequence[str | os.PathLike[str]],
    free: Sequence[str] = (),
    *,
    settings: Sequence[str] = (),
    columns: ColumnMap | None = None,
    reading: dict[str, Any] | None = None,
    bounds: Sequence[str] = (),
    **options: Any,
) -> Calibrated:
    """Fit numbers of a setup file to files of measurements.

    Parameters
    ----------
    path, settings
        As for :func:`~planish.jobs.changed.load_changed`.
    files
        As :func:`~planish.jobs.calibrating.observed_of` takes them.
    free
        Dotted paths, several in one text with commas between; the rate of the film on top unless given.
    columns, reading
        What the files do not say of themselves: a column map, and other options of ``observed_of`` by name.
    bounds
        Lines such as ``removal.oxide.rate=100..400 nm/min``.
    **options
        As for :func:`~planish.fit.calibrate.fitting.calibrate`.

    Returns
    -------
    Calibrated
        Values with their doubt.

    Raises
    ------
    PlanishError
        As these functions.
    """
    if not files and not (reading or {}).get("history"):
        raise DataError(
            "fit: no data given: must be SETUP and one or more files of measurements, or a history (--db)"
        )
    setup = load_changed(path, settings)
    return fitted_to(setup, files, free, columns=columns, reading=reading, bounds=bounds, **options)


def fitted_to(
    setup: Setup,
    files: Sequence[str | os.PathLike[str]],
    free: Sequence[str] = (),
    *,
    columns: ColumnMap | None = None,
    reading: dict[str, Any] | None = None,
    bounds: Sequence[str] = (),
    read: Callable[[], None] = lambda: None,
    **options: Any,
) -> Calibrated:
    """Fit numbers of a loaded setup to files of measurements.

    Parameters
    ----------
    setup
        As loaded.
    files, free, columns, reading, bounds, **options
        As for :func:`calibrated`.
    read
        Called once the files are read.

    Returns
    -------
    Calibrated
        Values with their doubt.

    Raises
    ------
    PlanishError
        As for :func:`calibrated`.
    """
    observed = observed_of(setup, files, columns, **(reading or {}))
    read()
    return calibrate(
        setup,
        observed,
        read_free(free),
        bounds=read_ranges(bounds, "removal.oxide.rate=100..400 nm/min"),
        **options,
    )


def read_free(words: Sequence[str], *, named: str = "--free") -> list[str]:
    """Return dotted paths out of words that may hold several with commas between.

    Parameters
    ----------
    words
        As the user wrote them.
    named
        What the door calls its field or option.

    Raises
    ------
    SetupError
        For a word that names nothing, and for a path that cannot be read.
    """
    found: list[str] = []
    for word in words:
        pieces = [piece.strip() for piece in word.split(",")]
        if not all(pieces):
            raise SetupError(refuse(named, word, "dotted paths with commas between", "as removal.oxide.rate"))
        for piece in pieces:
            parse(piece)
        found += pieces
    return found


def sentences(figures: Mapping[str, Any]) -> list[str]:
    """Return what a fit says beside its numbers, a sentence each: how well it fits, what it cannot tell, what is next.

    Parameters
    ----------
    figures
        Of the fit's ``document()``.
    """
    sets = figures["sets"]
    out = [
        f"{figures['values']} values in {sets} set{'s' * (sets > 1)}, misfit {figures['misfit_rms_percent']:.3g} % RMS, "
        f"{figures['far_off']} values far off count less, the model was asked {figures['model_runs']} times"
    ]
    out += [f"cannot tell: {row['words']}" for row in figures["cannot_tell"]]
    if not figures["cannot_tell"]:
        out.append("these data tell every free number")
    out += [
        f"measure next ({row['run']}): {row['settings']}: leaves of the intervals {row['interval_left']}"
        for row in figures["next_runs"]
    ]
    return out


def write_fitted(found: Calibrated, out: Path) -> Path:
    """Write the fitted setup file, whole or not at all; returns its path.

    Parameters
    ----------
    found
        The fit.
    out
        The file; its folder must exist.

    Raises
    ------
    DataError
        Where it cannot be written.
    """
    try:
        write_whole(out, found.to_toml().encode())
    except OSError as exc:
        raise DataError(f"--out {out}: cannot be written ({exc.strerror}); name another") from None
    return out
