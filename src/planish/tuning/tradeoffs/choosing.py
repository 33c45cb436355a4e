"""Choose among many setups: the front of several aims over knobs and parts, each point of it verified as printed."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.execute import Cancel, Progress
from planish.errors import SetupError, refuse
from planish.results.plain import unique
from planish.setup.changes import change_lines, read_changes
from planish.setup.given import asked_of
from planish.tuning.tradeoffs import front
from planish.tuning.tradeoffs.knobs import changes_of
from planish.tuning.tradeoffs.planned import planned
from planish.tuning.tradeoffs.predicted import Prediction, Predictor, Seen, Trial
from planish.tuning.tradeoffs.result import Choice, Count, Start, TradeOff
from planish.tuning.tradeoffs.search import SOURCES, Outcome, Point, possible, search
from planish.tuning.tradeoffs.tried import maps_digest, tries
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.given import SetupLike

RUNS, WAFERS, POINTS = 400, 25, 20
MOST_RUNS, MOST_POINTS = 1_000_000, 1000
SAME = 1e-9  # relative: what a figure may differ by where it is predicted again
CARE = (
    "a model's proposals: check them against the tool maker's limits, safety data sheets and local codes, with "
    "qualified staff, on monitor wafers, before product"
)


def choose(
    setup: SetupLike,
    vary: Mapping[str, object],
    aims: Sequence[str],
    *,
    limits: Mapping[str, str] | None = None,
    runs: int = RUNS,
    points: int = POINTS,
    seed: int = 0,
    wafers: int = WAFERS,
    maps: LayoutMaps | None = None,
    place: str | float = "centre",
    folder: str | os.PathLike[str] | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> TradeOff:
    """Find the setups of which none is better in one aim without being worse in another.

    Parameters
    ----------
    setup
        A loaded setup, or the path of a setup file: where the choice starts, and one of the candidates as it stands.
    vary
        Key to the values that it may take: ``{"recipe.step.main.ring_pressure": "2..6 psi", "pad.part": "hard-solid,
        hard-microporous"}``; a range with a number of values (``2..6 psi/9``) is a list of so many.
    aims
        Two or more: names of `planish.tuning.tradeoffs.aims.KNOWN`, or keys of a summary with a direction
        (``"peak_temperature_C=lower"``).
    limits
        Aim or key of a summary to the range that every point must keep, in the figure's own unit:
        ``{"wiwnu_sigma_percent": "..3"}``.
    runs
        How many setups are tried at most; all there are, where there are no more.
    points
        Of the front, how many are shown at most; ends and knee are always among them.
    seed
        Of the search.
    wafers
        Of the lots that drift, lives and costs are read from, on one pad and without chance; 2 or more.
    maps
        Layout of the die, where an aim or a limit is of a die.
    place
        Of that die on the wafer: "centre", "mid", "edge" or a radius [m].
    folder
        Keeps plan and runs as they come. The same call with the same folder goes on where it was stopped or killed.
    workers
        Processes (default: one a core). The numbers do not depend on it.
    progress
        Called with (setups tried, most).
    cancel
        Stops between two generations.

    Returns
    -------
    TradeOff
        The front, with the changes of each point and figures of the full model at just these.

    Raises
    ------
    SetupError
        For an aim, a limit or a key that there is not, or where no setup that was tried keeps all limits.
    DataError
        For a folder that holds another choice.
    PlanishError
        Where the library that searches is missing.
    CancelledError
        If it was stopped; says how to go on.
    """
    as_whole(runs, "runs", 2, MOST_RUNS)
    as_whole(points, "points", 2, MOST_POINTS)
    as_whole(seed, "seed", 0, 2**32 - 1)
    predictor = Predictor(as_whole(wafers, "wafers", 2, 100_000), maps, place)
    given = {} if limits is None else dict(limits)
    plan = planned(setup, vary, aims, given, predictor, runs)
    described, knobs, trial, start = plan.described, plan.knobs, plan.trial, plan.start
    axes, stands = plan.axes, plan.stands
    seen: dict[Point, Seen] = {}
    every = possible(axes) <= runs
    most = int(min(runs, possible(axes)))
    in_order = [[path, _kept(values)] for path, values in vary.items()]
    question = {
        "vary": in_order,
        "aims": [aims] if isinstance(aims, str) else list(aims),
        "limits": sorted(given.items()),
        "runs": runs,
        "seed": seed,
        "wafers": wafers,
        "maps": None if maps is None else maps_digest(maps),
        "place": place,
        "search": None if every else version("pymoo"),
    }
    with tries(trial, question, folder, workers=workers, cancel=cancel) as tried:

        def evaluate(asked: Sequence[Point]) -> list[Outcome]:
            fresh = tried.of(
                [changes_of(knobs, point) for point in asked],
                None if progress is None else lambda done: progress(done, most),
            )
            seen.update(zip(asked, fresh, strict=True))
            return [one.outcome(trial.aims) for one in fresh]

        search(axes, len(trial.aims), evaluate, runs=runs, seed=seed)
    candidates = [(changes_of(knobs, point), one) for point, one in seen.items()]
    shown, size, on_front = _front(trial, [({}, start), *candidates], points)
    rests_on = () if stands is None else stands.sources
    return TradeOff(
        aims=trial.aims,
        limits=trial.limits,
        knobs=knobs,
        start=Start(described, start, on_front),
        points=tuple(shown),
        count=_count([one for _, one in candidates], size),
        seed=seed,
        wafers=wafers if trial.answers & {"lot", "cost"} else None,
        every=every,
        said=tuple(_said(stands, trial)),
        rests_on=tuple(unique([*rests_on, *SOURCES, *front.SOURCES])),
        asked=asked_of(
            [described],
            seed=seed,
            options={
                "vary": {path: _kept(values) for path, values in vary.items()},
                "aims": [aims] if isinstance(aims, str) else list(aims),
                "limits": given,
                "runs": runs,
                "points": points,
                "wafers": wafers,
                "maps": maps,
                "place": place,
            },
        ),
    )


def _kept(values: object) -> object:
    return values.tolist() if isinstance(values, np.ndarray) else values


def _front(
    trial: Trial, candidates: list[tuple[dict[str, Any], Seen]], most: int
) -> tuple[list[Choice], int, bool]:
    """Return the points to show, verified and by the first aim; how many the front has; whether the start is one.

    The start stands first among the candidates.
    """
    outcomes = [one.outcome(trial.aims) for _, one in candidates]
    able = [at for at, one in enumerate(outcomes) if one.counts]
    if not able:
        raise SetupError(_none(trial, [one for _, one in candidates[1:]]))
    values = np.array([outcomes[at].values for at in able], dtype=np.float64)
    places = front.unbeaten(values)
    values = values[places]
    ends, knee = front.ends(values), front.knee(values)
    kept = {*ends, *([] if knee is None else [knee]), *_about_start(values, outcomes[0])}
    shown = []
    by_first = sorted(front.spread_out(values, most, sorted(kept)), key=lambda at: tuple(values[at]))
    for number, at in enumerate(by_first, start=1):
        changes, seen = candidates[able[places[at]]]
        assert seen.figures is not None
        best = tuple(aim.name for aim, end in zip(trial.aims, ends, strict=True) if end == at)
        shown.append(
            Choice(number, changes, seen.figures, best, at == knee, _verified(trial, changes, seen.figures))
        )
    return shown, len(places), bool(able[places[0]] == 0)


def _about_start(values: Any, start: Outcome) -> list[int]:
    """Return the point of the front that is the start, or beats it by most in the aim in which it does so least."""
    if start.values is None:
        return []
    own = np.array(start.values)
    same = np.flatnonzero(np.all(values == own, axis=1))
    better = np.flatnonzero(front.beats(values, own))
    if same.size or not better.size:
        return [int(at) for at in same]
    wide = np.where(np.ptp(values, axis=0) > 0, np.ptp(values, axis=0), 1.0)
    least = ((own - values[better]) / wide).min(axis=1)
    return [int(better[np.argmax(least)])]


def _verified(trial: Trial, changes: dict[str, Any], figures: tuple[float, ...]) -> float:
    """Predict a point again from its lines as they are printed; return by which share a figure differs at most."""
    again = trial.seen(read_changes(change_lines(changes)))
    if again.figures is None:
        raise SetupError(
            f"point {', '.join(change_lines(changes))}: refused where it is read back: {again.refused}"
        )
    off = [abs(a - b) / max(abs(b), 1e-300) for a, b in zip(again.figures, figures, strict=True)]
    if max(off) > SAME:
        raise SetupError(
            refuse(
                f"point {', '.join(change_lines(changes))}",
                f"{max(off):.2g} off where it is read back",
                f"the same figures to {SAME:g}",
            )
        )
    return max(off)


def _none(trial: Trial, seen: list[Seen]) -> str:
    """Say why no setup that was tried can be chosen."""
    refused = [one.refused for one in seen if one.figures is None]
    broken = [words for one in seen for words in one.broken]
    told = []
    if refused:
        told.append(f"{len(refused)} of {len(seen)} have no answer, the first: {refused[0]}")
    told += [f"{broken.count(words)} are beyond {words}" for words in unique(broken)]
    nearest = _nearest(trial, seen)
    return (
        f"choose: none of the {len(seen)} setups tried can be chosen: {'; '.join(told)} (must be at least one: widen "
        f"limits or ranges{nearest})"
    )


def _nearest(trial: Trial, seen: list[Seen]) -> str:
    known = [one for one in seen if one.figures is not None]
    if not known:
        return ""
    best = min(known, key=lambda one: one.beyond)
    assert best.figures is not None
    figures = ", ".join(
        f"{aim.name} {aim.told(value)}" for aim, value in zip(trial.aims, best.figures, strict=True)
    )
    return f"; the nearest has {figures}"


def _count(seen: list[Seen], front_size: int) -> Count:
    refusals: dict[str, int] = {}
    for one in seen:
        if one.figures is None:
            refusals[one.refused] = refusals.get(one.refused, 0) + 1
    broken = [words for one in seen for words in one.broken]
    return Count(
        runs=len(seen),
        refused=sum(refusals.values()),
        beyond=sum(one.figures is not None and one.beyond > 0 for one in seen),
        front=front_size,
        refusals=tuple(sorted(refusals.items(), key=lambda item: -item[1])),
        broken=tuple((words, broken.count(words)) for words in unique(broken)),
    )


def _said(stands: Prediction | None, trial: Trial) -> list[str]:
    lines = [] if stands is None else [f"as it stands: {note}" for note in stands.notes]
    answers = trial.answers
    if answers & {"lot", "cost"}:
        lines.append(
            f"drift, lives and cost as lots of {trial.predictor.wafers} wafers on one pad without chance show them; what "
            "wears is drawn on beyond them"
        )
    if "die" in answers:
        lines.append(f"within the die: one die of the layout, at {trial.predictor.place}")
    return [*lines, CARE]
