"""Which settings does a measured wafer ask for, and what is the setup with them?"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.errors import SetupError
from planish.jobs.changed import load_changed
from planish.setup.paths import PATH
from planish.tuning.tune import tune

if TYPE_CHECKING:
    from planish.tuning.tuned import Tuned


def settings_for(
    path: str | os.PathLike[str],
    settings: Sequence[str] = (),
    *,
    bounds: Sequence[str] = (),
    incoming: Path | None = None,
    profile: Path | None = None,
    **options: Any,
) -> Tuned:
    """Solve for the settings of a setup file.

    Parameters
    ----------
    path, settings
        As for :func:`~planish.jobs.changed.load_changed`.
    bounds
        Lines such as ``zone_pressure=1..6 psi``.
    incoming, profile
        Site files.
    **options
        As for :func:`~planish.tuning.tune.tune`.

    Returns
    -------
    Tuned
        The settings before and after.

    Raises
    ------
    PlanishError
        As these functions.
    """
    return tune(
        load_changed(path, settings),
        incoming=incoming,
        profile=profile,
        bounds=read_bounds(bounds),
        **options,
    )


def read_bounds(lines: Sequence[str]) -> Mapping[str, str]:
    """Return bounds by what they bound.

    Parameters
    ----------
    lines
        Such as ``zone_pressure=1..6 psi`` or ``recipe.step.main.time=..90 s``.

    Raises
    ------
    SetupError
        For a line without ``=``, and for one thing bound twice.
    """
    bounds: dict[str, str] = {}
    for line in lines:
        found = PATH.match(line)  # a name in quotes may hold the sign
        if found is None:
            raise SetupError(f"--bound {line}: must be what=low..high (as --bound 'zone_pressure=1..6 psi')")
        if found[1] in bounds:
            raise SetupError(f"--bound {found[1]}: given twice: must be given once")
        bounds[found[1]] = line[found.end() :].strip()
    return bounds
