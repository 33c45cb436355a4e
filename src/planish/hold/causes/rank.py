"""What changed? Six kinds of causes ranked by how likely the model of a setup finds the measured wafers with each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.causes import read
from planish.hold.causes.judge import Held, Judged, judged, picked
from planish.hold.causes.result import CARE, Ranked, RankedCauses
from planish.hold.causes.seen import Seen, gathered
from planish.hold.causes.signatures import Course, Shapes, shapes_of
from planish.hold.causes.told import headlines, moved, none_explains, verdicts
from planish.hold.causes.ways import AT_DISK_CHANGE, AT_PAD_CHANGE
from planish.predict.lot.plan import planned_time
from planish.setup.given import as_described, as_rig
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.hold.charts.samples import Data
    from planish.measure.sites.column_map import ColumnMap
    from planish.measure.sites.read import SiteMap
    from planish.predict.lot.events import EventLike
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

Array = NDArray[np.float64]
CELLS = 48
LEAST_BASELINE, LEAST_WINDOW = 5, 2


def rank_causes(
    setup: SetupLike,
    before: read.Maps,
    after: read.Maps,
    *,
    baseline: int,
    table: Data | None = None,
    time: str | None = None,
    temperature: str | None = None,
    friction: str | None = None,
    torque: str | None = None,
    pad: str | None = None,
    disk: str | None = None,
    events: Iterable[EventLike] = (),
    columns: ColumnMap | str | os.PathLike[str] | None = None,
    site_plan: str | None = None,
    sheet: str | None = None,
    decimal: str | None = None,
    cells: int = CELLS,
    progress: Callable[[int, int], None] | None = None,
) -> RankedCauses:
    """Rank what may have changed by how likely it is to show as the measured wafers do.

    Parameters
    ----------
    setup
        That the wafers were polished with while all was well: a loaded setup, its SI records, or a file.
    before, after
        Thickness at the sites of each wafer: files with a row a wafer (or a site), folders of files, or maps, in the order of
        polishing.
    baseline
        So many first wafers were good.
    table
        With a row a wafer, for the columns that follow; each may be left out.
    time
        Column of the polish time; needed where the recipe ends on an amount.
    temperature
        Column of the pad's mean temperature.
    friction, torque
        Column of the coefficient of friction, or of the motor's torque or current, in any unit; one of the two.
    pad
        Column of wafers (or, with a unit of time in brackets, the time) that the pad had polished before. A fall is a new pad.
    disk
        Column of the disk's use before [h]. A fall is a new disk.
    events
        What happened before which row, as ``"31 pad"``, ``"40 disk"``, ``"52 slurry"``.
    columns
        How the site files are written, as ``read_sites`` takes it.
    site_plan
        Where the sites of a row a wafer lie, as ``"49, 300 mm, 3 mm"``, where rows or ``columns`` do not say it.
    sheet, decimal
        Of the table.
    cells
        Wafer nodes of the pressure solution.
    progress
        Called with (changes followed, changes in all).

    Returns
    -------
    RankedCauses
        Likeliest first.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    ModelError
        Where the setup has no solution.
    """
    described = as_described(setup)
    rig = as_rig(described)
    named = {
        "time": time,
        "temperature": temperature,
        "friction": friction,
        "torque": torque,
        "pad": pad,
        "disk": disk,
    }
    told = read.given(before, after, table, named, events, columns, site_plan, sheet, decimal)
    at, happened = read.placed(told, sum(planned_time(step) for step in rig.steps))
    extras, said = _extras(told, rig)
    after_maps, more = _for_the_planned_time(told, rig)
    seen, left = gathered(
        told.before,
        after_maps,
        rig.wafer.radius - rig.wafer.edge_exclusion,
        extras,
        torque="torque" in told.columns,
    )
    window = _window(baseline, seen, told.source)
    course = Course(at[seen.rows - 1], happened, window)
    shapes = shapes_of(rig, course, seen.rings, torque=seen.torque, cells=cells, progress=progress)
    found = judged(seen, course, shapes)
    notes = [*told.said, *left, *said, *more, *shapes.said, *_assumed(course, shapes, told)]
    return _answer(found, seen, course, shapes, notes, rig)


def _window(baseline: int, seen: Seen, source: str) -> int:
    as_whole(baseline, "baseline", LEAST_BASELINE, int(seen.rows[-1]))
    window = int(np.searchsorted(seen.rows, baseline, side="right"))
    if window < LEAST_BASELINE:
        raise DataError(
            refuse(
                "baseline",
                baseline,
                f"rows with {LEAST_BASELINE} whole wafers or more, of which there are {window}",
            )
        )
    if seen.rows.size - window < LEAST_WINDOW:
        raise DataError(
            f"{source}: {seen.rows.size - window} wafers after the baseline of {baseline}: must be {LEAST_WINDOW} or more"
        )
    return window


def _extras(told: read.Given, rig: Rig) -> tuple[dict[str, Array], list[str]]:
    found: dict[str, Array] = {}
    said = []
    timed = all(step.stop == "time" for step in rig.steps)
    if "time" in told.columns and not timed:
        found["time"] = 100 * np.log(told.columns["time"])
    if "temperature" in told.columns:
        found["temperature"] = told.columns["temperature"]
    for name in ("friction", "torque"):
        if name in told.columns:
            found["friction"] = 100 * np.log(told.columns[name])
    if not timed and "time" not in told.columns:
        said.append(
            "the recipe ends on an amount and no polish time is told: a change of the rate cannot be seen"
        )
    return found, said


def _for_the_planned_time(told: read.Given, rig: Rig) -> tuple[list[SiteMap | None], list[str]]:
    """Return the maps after the polish as they would be after the recipe's own time, where it ends on a time."""
    from dataclasses import replace

    after = list(told.after)
    time = told.columns.get("time")
    if time is None or any(step.stop != "time" for step in rig.steps):
        return after, []
    planned = sum(step.stop_value for step in rig.steps)
    if np.nanmax(np.abs(time / planned - 1.0)) < 1e-3:
        return after, []
    changed: list[SiteMap | None] = []
    for one, other, seconds in zip(told.before, after, time, strict=True):
        if other is None or not np.isfinite(seconds) or other.value.size != one.value.size:
            changed.append(None)
            continue
        changed.append(replace(other, value=one.value - (one.value - other.value) * planned / float(seconds)))
    return changed, [
        f"removal is taken for the recipe's {planned:.4g} s: that of a wafer times this over its own time"
    ]


def _assumed(course: Course, shapes: Shapes, told: read.Given) -> list[str]:
    said = [
        "before the data all causes count alike, and the ways of each; a pad's change begins at a new pad with "
        f"{100 * AT_PAD_CHANGE:.0f} %, a disk's at a new disk with {100 * AT_DISK_CHANGE:.0f} %, else anywhere (assumed, no source)",
        "one change at a time is looked for",
    ]
    if "pad" not in told.columns:
        said.append("the pad is taken as new at the first row, and the disk with it unless its use is told")
    present = {shapes.ways[number].cause for number in shapes.way}
    if "disk" not in present:
        said.append("the setup has no disk: none is looked at")
    if not course.changes("pad"):
        said.append("no new pad in the rows looked at: a pad that differs in stiffness is not looked for")
    return said


def _answer(
    found: Judged, seen: Seen, course: Course, shapes: Shapes, notes: list[str], rig: Rig
) -> RankedCauses:
    first = found.held[0]
    columns = picked(seen)
    explained = first.size * shapes.shape[:, columns, first.shape]
    figures = moved(found, seen, course, shapes, explained)
    names, table = headlines(seen)
    onset = int(shapes.onset[first.shape])
    base = found.residual[: course.window].mean(axis=0)
    rings = seen.rings.radius.size

    def of_rings(values: Array) -> Array:
        return np.asarray(1e-9 * values[: 2 * rings].reshape(2, rings))

    return RankedCauses(
        tuple(_ranked(one, found, seen, shapes) for one in found.held),
        found.evidence,
        not none_explains(found),
        (*verdicts(found, seen, shapes, figures), CARE),
        tuple(figures),
        seen.rows,
        course.window,
        table @ (found.residual - base).T,
        table @ explained.T,
        tuple(f"{name} [{unit}]" for name, unit in names),
        seen.rings.radius,
        of_rings(found.residual[onset:].mean(axis=0) - base),
        of_rings(explained[onset:].mean(axis=0)),
        tuple(notes),
        tuple(rig.sources),
    )


def _ranked(one: Held, found: Judged, seen: Seen, shapes: Shapes) -> Ranked:
    way = shapes.ways[int(shapes.way[one.shape])]
    return Ranked(
        one.cause,
        one.share,
        way.told(one.size, one.sd),
        way.beyond + way.per_unit * one.size,
        abs(way.per_unit) * one.sd,
        way.unit,
        int(seen.rows[shapes.onset[one.shape]]),
        one.onset_share,
        one.misfit / found.freedom,
        way.first,
    )
