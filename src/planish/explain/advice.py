"""What causes an uneven wafer and what would mend it: the solver's answers, tried on the model, in sentences.

Every setting that is told was polished with as it is written; every figure is one of that wafer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import PlanishError
from planish.explain.headlines import Headlines, headlines
from planish.explain.settings_of import setup_of
from planish.explain.worse import worse_by
from planish.predict.raised import CLEARED, EDGE_BAND
from planish.predict.wafer.counted import counted, cubic
from planish.predict.wafer.polish import polish
from planish.tuning.course import Course, settings_of
from planish.tuning.movers import NUDGE_PSI, Mover, movers
from planish.tuning.remedy import GAINED, GOOD, NoRemedy, Remedy, find_remedy
from planish.units import PSI

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.models import Setup

Array = NDArray[np.float64]
FigureOf = Callable[["WaferResult", Array], float]
EVEN_EDGE, EVEN_WAFER = 2.0, 3.0  # [%] departure near the edge, and 1 sigma, up to which a wafer is even
UNEVEN_FILM = 1e-3  # of what comes in, 1 sigma: from there on what is left is another matter than what goes


@dataclass(frozen=True, slots=True)
class Advice:
    """Sentences, and what they say in figures.

    Attributes
    ----------
    cause
        Which zone or ring moves the figure most; "" where none was found that a re-run bears out.
    remedy
        Settings and what a wafer polished with them shows, or why there are none.
    changes
        These settings (``Setup.replace``).
    promised
        Figure of a wafer's summary to its value before and with the changes.
    """

    cause: str = ""
    remedy: str = ""
    changes: Changes = field(default_factory=dict)
    promised: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)


def edge_figure_of(distance: float) -> FigureOf:
    """Return the figure of a place near the edge: its departure from where the band begins, as ``edge_extreme`` counts it.

    Parameters
    ----------
    distance
        Of the place from the rim [m].

    Returns
    -------
    FigureOf
        [%] of a wafer and a profile of what was removed.
    """

    def figure(wafer: WaferResult, removed: Array) -> float:
        rim = wafer.rig.wafer.radius
        read = cubic(wafer.radius, np.array([rim - EDGE_BAND, rim - distance])) @ removed
        middle = counted(wafer.radius, wafer.areas, 0.5 * rim).mean(removed)
        return 100.0 * float(read[1] - read[0]) / middle

    return figure


def spread_of(wafer: WaferResult, removed: Array) -> float:
    """Return how uneven a profile is inside the edge exclusion.

    Parameters
    ----------
    wafer
        Whose nodes and exclusion count.
    removed
        What was removed [m], (n_r,).

    Returns
    -------
    float
        Standard deviation over the mean [%].
    """
    return 100.0 * wafer.sigma(removed) / wafer.mean(removed)


def advise(result: WaferResult, figure: FigureOf, *, faster: bool) -> Advice:
    """Return what moves a figure of an uneven wafer most, and what would make the wafer even.

    Parameters
    ----------
    result
        The wafer.
    figure
        That is amiss.
    faster
        Whether the figure is how fast a place polishes; else it is how uneven the wafer is.

    Returns
    -------
    Advice
        Empty sentences where there is nothing to say.
    """
    setup = setup_of(result)
    if setup is None:
        return Advice(
            remedy="No settings are proposed: the wafer was polished from SI records, which hold no setup to change."
        )
    if result.cleared_share() >= CLEARED:
        return Advice(
            remedy="No settings are proposed: the films are gone, so what is left does not tell how to polish them."
        )
    if _badness(result) <= GOOD:
        return Advice(
            remedy="No settings are proposed: the film comes in uneven, and what is left is even as it is polished."
        )
    try:
        course = Course(setup.rig)
        wafer = result if result.radius.size == course.radius.size else polish(setup)
        run = course.run(settings_of(wafer))
        moving = movers(setup, wafer, course, run, figure)
        step = moving[0].step if moving else _longest(wafer)
        found = find_remedy(setup, wafer, course, run, step, _badness)
    except PlanishError as error:
        return Advice(remedy=f"No settings are proposed: the solver refused: {error}.")
    cause = _cause([mover for mover in moving if mover.agrees], faster)
    if isinstance(found, NoRemedy):
        return Advice(cause, _none(found, wafer, step))
    told = zip(Headlines._fields, headlines(wafer), headlines(found.after), strict=True)
    return Advice(
        cause,
        _told(setup, wafer, found),
        found.changes,
        {key: (before, after) for key, before, after in told},
    )


def _longest(wafer: WaferResult) -> int:
    """Return which step takes away most."""
    return max(range(len(wafer.steps)), key=lambda at: wafer.mean(wafer.steps[at].removed))


def _badness(wafer: WaferResult) -> float:
    """Return how uneven a wafer is: 1 where its edge, and what is left over all of it, are just called even."""
    edge = wafer.edge()["edge_extreme_percent"]
    left = 100.0 * wafer.sigma(wafer.remaining.sum(axis=0)) / wafer.mean(wafer.removed)
    return max(abs(edge or 0.0) / EVEN_EDGE, left / EVEN_WAFER)


def _cause(moving: list[Mover], faster: bool) -> str:
    if not moving:
        return ""
    most, *others = moving
    more = f"{NUDGE_PSI:g} psi more"
    also = "".join(f"; {more} of {other.name}, {_does(other, faster)} ({_slope(other)})" for other in others)
    return (
        f"What moves {'that place' if faster else 'that'} most is {most.name} in step {most.step_name}: {more} there makes "
        f"{'it' if faster else 'the wafer'} {_does(most, faster)} (points of the percentage above, run again; the solver's derivative is {_slope(most)}){also}."
    )


def _does(mover: Mover, faster: bool) -> str:
    """Return what the re-run of a small step showed."""
    by = NUDGE_PSI * PSI * mover.tried
    if faster:
        return f"{abs(by):.2g} points {'faster' if by > 0 else 'slower'}"
    return f"{abs(by):.2g} points (1σ) {'less' if by > 0 else 'more'} even"


def _slope(mover: Mover) -> str:
    return f"{abs(mover.slope) * PSI:.2g} points per psi"


def _none(found: NoRemedy, wafer: WaferResult, step: int) -> str:
    name = wafer.rig.steps[step].name
    if found.why == "nothing to set":
        return f"No settings are proposed: step {name} has no ring and no zones to set apart."
    if found.why == "refused" or found.best is None:
        return f"No settings are proposed: they were refused: {found.words}."
    best = headlines(found.best.after)
    why = (
        " The film comes in uneven: to leave it even, it may not be polished evenly."
        if _comes_in_uneven(wafer)
        else ""
    )
    edge = best.edge_extreme_percent
    at_edge = "" if edge is None else f"an edge of {_signed(edge)} % and "
    moved = {"ring": "the ring", "zones": "the zones", "zones and ring": "ring and zones"}[found.best.freed]
    within = (
        "usual ranges" if found.best.freed == "zones" else "usual ranges and the ring not below the wafer"
    )
    return (
        f"No settings are proposed: the most even film that {moved} in step {name} can leave, with {within}, comes with {at_edge}{best.wiwnu_sigma_percent:.2f} % (1σ) over the whole wafer, so less "
        f"than {100 * GAINED:.0f} % of what is amiss would go.{why}"
    )


def _told(setup: Setup, wafer: WaferResult, found: Remedy) -> str:
    was, now = headlines(wafer), headlines(found.after)
    parts = []
    if was.edge_extreme_percent is not None and now.edge_extreme_percent is not None:
        parts.append(f"edge {_signed(was.edge_extreme_percent)} → {_signed(now.edge_extreme_percent)} %")
    parts.append(f"whole wafer {was.wiwnu_sigma_percent:.2f} → {now.wiwnu_sigma_percent:.2f} % (1σ)")
    if _comes_in_uneven(wafer):
        left = [one.sigma(one.remaining.sum(axis=0)) for one in (wafer, found.after)]
        parts.append(f"what is left {1e9 * left[0]:.1f} → {1e9 * left[1]:.1f} nm (1σ)")
    parts.append(
        f"rate {was.mean_removal_rate_nm_per_min:.1f} → {now.mean_removal_rate_nm_per_min:.1f} nm/min"
    )
    parts.append(f"time {was.time_s:.1f} → {now.time_s:.1f} s")
    worse = worse_by(setup, wafer, found)
    tail = f" Worse by it: {', '.join(worse)}." if worse else ""
    return f"Set in step {wafer.rig.steps[found.step].name}: {_settings_told(wafer, found)}. Run again as written: {', '.join(parts)}.{tail}"


def _settings_told(wafer: WaferResult, found: Remedy) -> str:
    """Return what changes, before and after, as it is written."""
    parts = []
    for index, (old, new) in enumerate(zip(wafer.rig.steps, found.setup.rig.steps, strict=True)):
        here = []
        if not np.array_equal(old.zone_pressures, new.zone_pressures):
            was, now = (_psi(step.zone_pressures) for step in (old, new))
            here.append(
                f"zones from the centre out {was} → {now} psi"
                if old.zone_pressures.size > 1
                else f"pressure {was} → {now} psi"
            )
        if old.ring_pressure != new.ring_pressure:
            here.append(f"ring {_psi([old.ring_pressure])} → {_psi([new.ring_pressure])} psi")
        if new.stop == "time" and old.stop_value != new.stop_value:
            here.append(f"time {old.stop_value:.6g} → {new.stop_value:.6g} s")
        if here:
            parts.append(("" if index == found.step else f"in step {old.name} ") + " and ".join(here))
    return "; ".join(parts)


def _psi(pressures: Array | list[float]) -> str:
    """Return pressures as they are written; one where all are alike."""
    told = [f"{float(p) / PSI:.6g}" for p in pressures]
    return told[0] if len(set(told)) == 1 else " / ".join(told)


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def _comes_in_uneven(wafer: WaferResult) -> bool:
    coming = wafer.incoming.sum(axis=0)
    return wafer.sigma(coming) > UNEVEN_FILM * wafer.mean(coming)
