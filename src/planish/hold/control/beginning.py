"""Put a step under control: its gains, what is foretold of it, its limits and its estimator, kept in a folder."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from planish.errors import DataError, refuse
from planish.hold.control.ageing import ageing_of
from planish.hold.control.belief import Spreads, read_spreads
from planish.hold.control.journal import Entry, JournalFile
from planish.hold.control.kept import PLAN, ControlledStep
from planish.hold.control.loop import SUSPECT, Loop
from planish.hold.control.plan import ControlPlan, make_estimator, write_plan
from planish.hold.control.steered import Limits, output_weights, read_limits, steered
from planish.hold.control.stopping import JOURNAL, one_line
from planish.hold.control.weighted import DRIFT_WEIGHT, WEIGHT
from planish.setup.given import as_rig, as_setup

if TYPE_CHECKING:
    from planish.setup.models import Setup

LIFE = 600  # wafers that a pad or a disk lasts, unless said


def begin_control(
    setup: Setup | str | os.PathLike[str],
    folder: str | os.PathLike[str],
    *,
    by: str,
    when: str,
    why: str = "",
    estimator: str = "kalman",
    weight: float = WEIGHT,
    drift_weight: float = DRIFT_WEIGHT,
    spreads: Spreads | Mapping[str, float | str] | None = None,
    physics: bool = True,
    zones: bool = False,
    target: float | str | None = None,
    limits: Limits | Mapping[str, str] | None = None,
    pad_life: int = LIFE,
    disk_life: int = LIFE,
    suspect: float = SUSPECT,
    progress: Callable[[float], None] | None = None,
) -> ControlledStep:
    """Put the longest step of a setup under control, in advice.

    Parameters
    ----------
    setup
        A loaded setup or its file.
    folder
        Where plan and journal are kept; it must not hold one.
    by, when, why
        Who says so, when as text, and for what reason.
    estimator, weight, drift_weight, spreads, physics
        As of :func:`~planish.hold.control.plan.make_estimator`.
    zones, target
        As of :func:`~planish.hold.control.trial.try_control`.
    limits
        Of settings and their change, as :func:`~planish.hold.control.steered.read_limits` takes them.
    pad_life, disk_life
        Most wafers that one sees: so far the lot is foretold.
    suspect
        Standard deviations beyond which a measurement is held off.
    progress
        Called with the share done.

    Returns
    -------
    ControlledStep
        In that folder.

    Raises
    ------
    DataError
        For a folder that holds one, and for numbers that cannot be.
    """
    where = Path(folder)
    if (where / PLAN).exists() or (where / JOURNAL).exists():
        raise DataError(f"{where}: a step is controlled there already: name another folder")
    if isinstance(suspect, bool) or not isinstance(suspect, int | float) or not 2 <= suspect <= 100:
        raise DataError(refuse("suspect [standard deviations]", suspect, "2 to 100", "4 is usual"))
    entry = Entry(
        "begun",
        one_line("when", when),
        one_line("by", by),
        one_line("why", why, empty=True),
        {"mode": "advice"},
    )
    given = as_setup(setup)
    rig = as_rig(given)
    made = make_estimator(estimator, weight, drift_weight, read_spreads(spreads), physics)
    step = steered(given, zones=zones, target=target)
    room = step.room(read_limits(limits))
    weights = output_weights(rig, zones=zones)
    ageing = ageing_of(rig, step, weights, pad_life, disk_life, progress)
    plan = ControlPlan(given.name, given.digest(), step, ageing, Loop(step.gain, room, made, float(suspect)))
    write_plan(plan, where / PLAN)
    journal = JournalFile(where / JOURNAL)
    journal.add(entry)
    return ControlledStep(plan, journal)
