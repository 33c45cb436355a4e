"""Is the step still where it was? A control chart of measured rows, with what changed at each alarm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.hold.charts.ageing import without_ageing
from planish.hold.charts.causes import changes, words
from planish.hold.charts.groups import group_means
from planish.hold.charts.individuals import individuals
from planish.hold.charts.options import Options, make_options
from planish.hold.charts.part import Panel, Part
from planish.hold.charts.result import CAUSES, RULES, SOURCES, Alarm, ControlChart, Phase
from planish.hold.charts.samples import Data, Samples, read_samples
from planish.hold.charts.several import several
from planish.hold.charts.sums import sums
from planish.hold.charts.weighted import weighted
from planish.hold.run_length.mean import Mean

if TYPE_CHECKING:
    from planish.setup.given import SetupLike

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
FEW = 100  # points behind limits: with fewer their own doubt is told


def hold_chart(
    data: Data,
    value: str | Sequence[str],
    chart: str = "individuals",
    *,
    group: str | None = None,
    phase: str | None = None,
    new_phase: Sequence[int] = (),
    baseline: int | None = None,
    centre: float | None = None,
    sigma: float | None = None,
    limit: float | None = None,
    arl: float | None = None,
    weight: float | None = None,
    settling: bool = False,
    reference: float | None = None,
    head_start: float | None = None,
    rules: Sequence[str] = (),
    alpha: float | None = None,
    widen: bool = False,
    model: SetupLike | None = None,
    age: str | None = None,
    name: str | None = None,
    sheet: str | None = None,
    decimal: str | None = None,
    source: str = "",
) -> ControlChart:
    """Draw a control chart of measured rows and judge each.

    Parameters
    ----------
    data
        A table (text with any usual separator and decimal sign, Parquet, a workbook), or columns by name.
    value
        The measured column; several for "t2".
    chart
        "individuals" with moving ranges; "xbar", means and standard deviations of groups; "ewma"; "cusum"; "t2".
    group
        Column that says which rows are one group, for "xbar".
    phase
        Column of labels; where it changes, as with another pad or disk, limits are taken anew.
    new_phase
        Rows, counted from 1, at which a phase begins too.
    baseline
        Points at the begin of each phase that limits are taken from; all unless given.
    centre, sigma
        Of the process, where they are known, in the unit of the values.
    limit
        [standard deviations]: 3, or 5 for a CUSUM, unless given.
    arl
        In place of a limit: the average run length on target that it is solved for.
    weight
        Of the newest sample of an EWMA; 0.2 unless given.
    settling
        Limits of an EWMA start narrow.
    reference, head_start
        Of a CUSUM: its k (0.5 unless given) [standard deviations] and the share of its limit at which sums start.
    rules
        Run rules in words beside the limits, or the names of sets (:mod:`planish.hold.rules`).
    alpha
        Share of false alarms of "t2"; 0.0027 unless given.
    widen
        Limits allow for their own estimation.
    model, age
        A setup, and the column that says how many wafers the pad had polished before the row's: removal rates are judged
        without what the lot model foretells for that age.
    name
        Column that says what each row is called, as the wafer: told with its alarms.
    sheet, decimal
        Of a workbook with several sheets, and "point" or "comma" where the table leaves it open.
    source
        What columns that are given by name come from, for refusals.

    Returns
    -------
    ControlChart
        Limits, points, and alarms with the rule that was met and what changed.

    Raises
    ------
    DataError
        Naming the place of what cannot be used.
    ModelError
        Where the model's pad does not last as long as a row's.
    """
    options = make_options(
        chart,
        baseline,
        centre,
        sigma,
        limit,
        arl,
        weight,
        settling,
        reference,
        head_start,
        rules,
        alpha,
        widen,
    )
    if (group is not None) != (chart == "xbar"):
        told = (
            "the column of groups for the chart 'xbar'"
            if chart == "xbar"
            else "left out but for the chart 'xbar'"
        )
        raise DataError(refuse("group", group, told))
    if chart != "t2" and not isinstance(value, str):
        if len(value) != 1:
            raise DataError(refuse("value", list(value), "one column", "several are for the chart 't2'"))
        value = value[0]
    if (model is None) != (age is None):
        raise DataError(refuse("model, age", (model is not None, age), "both, or neither"))
    samples = read_samples(
        data,
        value,
        group=group,
        phase=phase,
        new_phase=new_phase,
        age=age,
        name=name,
        sheet=sheet,
        decimal=decimal,
        source=source,
    )
    if model is not None:
        if chart == "t2":
            raise DataError(refuse("model", "given", "left out for the chart 't2'"))
        samples = without_ageing(samples, model)
    parts, first, last, off = _parts(chart, samples, options)
    panels = _joined(parts)
    lengths = [part.z.size for part in parts]
    number = np.repeat(np.arange(len(parts)), lengths)
    starts = np.concatenate([[0], np.cumsum(lengths)])
    alarms: list[Alarm] = []
    called = dict(zip(samples.rows.tolist(), samples.called, strict=True)) if samples.called else {}
    for at, part in enumerate(parts):
        own = slice(starts[at], starts[at + 1])
        names = samples.group_names if chart == "xbar" else ()
        alarms += _alarms(
            part, (first[own], last[own]), int(starts[at]), off[at], samples.names, names, called
        )
    alarms.sort(key=lambda alarm: (alarm.point, alarm.panel, alarm.rule))
    phases = tuple(
        Phase(
            name,
            int(first[starts[at]]),
            int(last[starts[at + 1] - 1]),
            lengths[at],
            part.centre,
            part.sigma,
            part.lower,
            part.upper,
            part.taken_from,
            part.widened,
        )
        for at, (name, part) in enumerate(zip(samples.phases, parts, strict=True))
    )
    expected, error, said = _run_length(options)
    return ControlChart(
        chart,
        samples.names,
        panels,
        last,
        number.astype(np.int64),
        phases,
        tuple(alarms),
        _settings(chart, options),
        expected,
        error,
        (*samples.said, *said, *_notes(chart, phases, options)),
        (SOURCES[chart], *((RULES,) if options.rules else ()), CAUSES),
    )


def _parts(
    chart: str, samples: Samples, options: Options
) -> tuple[list[Part], Whole, Whole, list[Array | None]]:
    """Return the phases, the first and last row of each point, and what rows are off in each column (T squared)."""
    parts: list[Part] = []
    first: list[Whole] = []
    last: list[Whole] = []
    off: list[Array | None] = []
    for number, name in enumerate(samples.phases):
        inside = samples.phase == number
        values, rows = samples.values[inside], samples.rows[inside]
        what = samples.source if len(samples.phases) == 1 else f"{samples.source}: phase {name[:60]!r}"
        others: Array | None = None
        if chart == "t2":
            part, others = several(values, samples.names, options, what)
        elif chart == "xbar":
            assert samples.groups is not None
            present, own = np.unique(samples.groups[inside], return_inverse=True)
            _undivided(samples, present, inside)
            called = [samples.group_names[each] for each in present]
            part = group_means(values[:, 0], own.astype(np.int64), called, options, what)
            first.append(_each(np.minimum, rows, own, present.size))
            last.append(_each(np.maximum, rows, own, present.size))
        else:
            make = {"individuals": individuals, "ewma": weighted, "cusum": sums}[chart]
            part = make(values[:, 0], options, what)
        if chart != "xbar":
            first.append(rows)
            last.append(rows)
        parts.append(part)
        off.append(others)
    return parts, np.concatenate(first), np.concatenate(last), off


def _each(which: np.ufunc, rows: Whole, groups: NDArray[np.int64], count: int) -> Whole:
    """Return the lowest or highest row of each group."""
    out = np.full(count, rows[0])
    out[groups] = rows
    which.at(out, groups, rows)
    return out


def _undivided(samples: Samples, present: Whole, inside: NDArray[np.bool_]) -> None:
    assert samples.groups is not None
    outside = np.isin(samples.groups[~inside], present)
    if np.any(outside):
        name = samples.group_names[int(samples.groups[~inside][outside][0])]
        raise DataError(f"{samples.source}: group {name[:40]!r} lies in two phases: must lie in one")


def _joined(parts: list[Part]) -> tuple[Panel, ...]:
    out = []
    for panels in zip(*(part.panels for part in parts), strict=True):
        joined = {
            field: np.concatenate([getattr(panel, field) for panel in panels])
            for field in ("centre", "lower", "upper")
        }
        series = np.concatenate([panel.series for panel in panels], axis=1)
        out.append(Panel(panels[0].name, series, joined["centre"], joined["lower"], joined["upper"]))
    return tuple(out)


def _alarms(
    part: Part,
    rows: tuple[Whole, Whole],
    before: int,
    off: Array | None,
    columns: Sequence[str],
    groups: Sequence[str],
    called: Mapping[int, str],
) -> list[Alarm]:
    out: list[Alarm] = []
    begins, ends = rows
    flagged = [
        (panel, rule, np.flatnonzero(flags))
        for panel, each in enumerate(part.panels)
        for rule, flags in each.met
    ]
    places = np.unique(
        np.concatenate([at for _, _, at in flagged]) if flagged else np.empty(0, dtype=np.int64)
    )
    if not places.size:
        return out
    told: dict[int, tuple[str, str, float, int, int]] = {}
    if off is None:
        for place, change in zip(places, changes(part.z, places), strict=True):
            first = int(begins[place - change.points + 1])
            said = words(change, part.point_sigma, first)
            told[int(place)] = (said, change.kind, change.size, first, change.points)
    else:
        worst = np.argmax(np.abs(off[places]), axis=1)
        for column in np.unique(worst):
            own = places[worst == column]
            for place, change in zip(own, changes(off[:, column], own), strict=True):
                first = int(begins[place - change.points + 1])
                said = words(change, float("nan"), first, f"{columns[column]}, given the others,")
                told[int(place)] = (said, change.kind, change.size, first, change.points)
    for panel, rule, at in flagged:
        for place in at:
            cause, kind, size, first, points = told[int(place)]
            group = groups[before + int(place)] if groups else ""
            row = int(ends[place])
            told_of = (kind, size, first, points, before + int(place), panel, group, called.get(row, ""))
            out.append(Alarm(row, rule, cause, *told_of))
    return out


def _run_length(options: Options) -> tuple[float | None, float | None, tuple[str, ...]]:
    """Return the run length on target of the chart's own panel; none for rules that no chain knows."""
    if options.design is None:
        return 1 / options.alpha, 0.0, ()
    if any(rule.kind in ("trend", "alternating") for rule in options.rules):
        return None, None, ("rules that look at rises and falls have no run length here",)
    length = options.design.length(Mean())
    return length.mean, length.error, ()


def _settings(chart: str, options: Options) -> tuple[tuple[str, object], ...]:
    design = options.design
    found: dict[str, Any] = {"baseline": options.baseline, "widened": options.widen}
    if design is None:
        found["alpha"] = options.alpha
    else:
        found["limit"] = design.limit
        found["rules"] = [rule.name for rule in design.rules]
        if chart == "ewma":
            found |= {"weight": design.weight, "settling": design.settling}
        if chart == "cusum":
            found |= {"reference": design.reference, "head_start": design.head_start}
    return tuple(found.items())


def _notes(chart: str, phases: Sequence[Phase], options: Options) -> tuple[str, ...]:
    found = []
    few = [phase for phase in phases if 0 < phase.taken_from < FEW]
    if few and few[-1].widened is not None and not options.widen:
        last, (low, high) = few[-1], few[-1].widened
        found.append(
            f"limits rest on {last.taken_from} points: to alarm falsely no more often than limits that are known they would "
            f"stand at {low:.5g} and {high:.5g} (widen)"
        )
    elif few and chart == "cusum":
        found.append(
            f"limits rest on {few[-1].taken_from} points: it alarms falsely more often than arl_on_target says"
        )
    short = [phase for phase in phases if options.baseline is not None and phase.points <= options.baseline]
    if short:
        found.append(
            f"baseline = {options.baseline}: {short[0].name} has {counted(short[0].points, 'point')}: limits are taken from all of "
            "them, and these are judged by their own limits"
        )
    if options.baseline is None and chart != "t2" and (options.centre is None or options.sigma is None):
        found.append(
            "limits are taken from the same rows that are judged: a change in them widens or moves the limits too"
        )
    if chart in ("individuals", "xbar"):
        found.append("arl_on_target is of the first panel alone: ranges or spreads alarm beside it")
    if chart == "cusum":
        found.append("lower and upper are limits of the cumulated sums; centre is the target")
    if chart == "t2":
        found.append("centre is what a row on target has of T squared on average")
    found.append("values are taken to be independent and close to normal, their spread the same all the time")
    return tuple(found)
