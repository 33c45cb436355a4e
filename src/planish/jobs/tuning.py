"""Which settings does a measured wafer ask for, and what is the setup with them?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.jobs.changed import load_changed, read_ranges
from planish.setup.changes import change_lines, read_changes
from planish.setup.load import load
from planish.tuning.chance.meet import FIGURES
from planish.tuning.platens.options import changes_by_platen
from planish.tuning.tune import tune

if TYPE_CHECKING:
    from planish.tuning.platens.result import TunedPlatens
    from planish.tuning.tuned import Tuned


def figures_to_meet() -> list[dict[str, str]]:
    """Return the figures of what is left that wafers can be asked to meet: their keys, words and units.

    Returns
    -------
    list[dict[str, str]]
        In the order in which they are told.
    """
    return [{"key": key, "words": one.words, "unit": one.unit} for key, one in FIGURES.items()]


def settings_for(
    path: str | os.PathLike[str],
    settings: Sequence[str] = (),
    *,
    bounds: Sequence[str] = (),
    incoming: Sequence[Path] = (),
    profile: Path | None = None,
    meet: Sequence[str] = (),
    **options: Any,
) -> Tuned:
    """Solve for the settings of a setup file.

    Parameters
    ----------
    path, settings
        As for :func:`~planish.jobs.changed.load_changed`.
    bounds
        Lines such as ``zone_pressure=1..6 psi``.
    incoming
        Site files, folders of them or tables of runs, together the wafers that come in.
    profile
        Site file.
    meet
        Lines such as ``thickness=540..560 nm``.
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
        incoming=list(incoming) or None,
        profile=profile,
        bounds=read_ranges(bounds, "zone_pressure=1..6 psi"),
        meet=read_ranges(meet, "thickness=540..560 nm", named="--meet"),
        **options,
    )


def settings_in_turn(
    paths: Sequence[str | os.PathLike[str]],
    settings: Sequence[str] = (),
    *,
    bounds: Sequence[str] = (),
    incoming: Sequence[Path] = (),
    profile: Path | None = None,
    meet: Sequence[str] = (),
    **options: Any,
) -> TunedPlatens:
    """Solve for the settings of several setup files, platens that one wafer passes in turn.

    Parameters
    ----------
    paths
        Platen after platen.
    settings
        Lines such as ``platen.2.recipe.step.main.time=90 s``, or without the number for all platens.
    bounds
        Lines such as ``platen.2.zone_pressure=1..6 psi``, or without the number for all platens.
    incoming, profile, meet
        As for :func:`settings_for`; what comes in comes to the first platen.
    **options
        As for :func:`~planish.tuning.tune.tune`.

    Returns
    -------
    TunedPlatens
        The settings before and after.

    Raises
    ------
    PlanishError
        As these functions.
    """
    setups = [load(path) for path in paths]
    for number, changes in enumerate(changes_by_platen(read_changes(settings), setups)):
        if changes:
            told = (f"set for this run: {line}" for line in change_lines(changes))
            setups[number] = setups[number].replace(changes).with_notes(*told)
    options["meet"] = read_ranges(meet, "thickness=540..560 nm", named="--meet")
    return tune(
        setups,
        incoming=list(incoming) or None,
        profile=profile,
        bounds=read_ranges(bounds, "platen.2.zone_pressure=1..6 psi"),
        **options,
    )
