"""Which settings does a measured wafer ask for, and what is the setup with them?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.jobs.changed import load_changed, read_ranges
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
        bounds=read_ranges(bounds, "zone_pressure=1..6 psi"),
        **options,
    )
