"""Findings: what a predicted wafer says, in plain sentences, with the change that would even it out computed."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from planish.predict.raised import CLEARED, STEEP_EDGE, UNEVEN
from planish.predict.wafer.step_plan import speeds
from planish.setup import paths
from planish.setup.changes import Changes, quantity_text
from planish.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from planish.predict.raised import Raised
    from planish.predict.wafer.result import WaferResult
    from planish.setup.si import Rig

Weight = Literal["good", "look", "act"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence about one subject.

    Attributes
    ----------
    subject
        What it is about.
    weight
        Whether it is good, deserves a look, or calls for a change.
    text
        The sentence.
    """

    subject: str
    weight: Weight
    text: str
    changes: Changes = field(default_factory=dict)


def findings(result: WaferResult, *, remedies: bool = True) -> list[Finding]:
    """Return what deserves saying about a wafer, the most pressing first.

    Parameters
    ----------
    result
        The wafer.
    remedies
        Search for the ring pressure that would even the edge, by running the model.

    Returns
    -------
    list[Finding]
        One sentence a subject.
    """
    found = [
        *_edge(result, remedies),
        *_uniformity(result),
        *_speed(result),
        *_standing_still(result),
        *_temperature(result),
        *_slurry(result),
        *_films(result),
        *_retrace(result.rig),
    ]
    order = {"act": 0, "look": 1, "good": 2}
    return sorted(found, key=lambda item: order[item.weight])


def _edge(result: WaferResult, remedies: bool) -> list[Finding]:
    edge = result.edge()
    height, where = edge["edge_extreme_percent"], edge["edge_extreme_from_edge_mm"]
    if height is None or where is None:
        return []
    if abs(height) < 2.0:
        even = f"The edge polishes within {abs(height):.1f} % of the level 15 mm further in"
        if result.cleared_share() >= CLEARED:
            return [
                Finding("edge", "look", f"{even}: the film is gone there, so this is how even it came in.")
            ]
        return [Finding("edge", "good", f"{even}.")]
    changes: Changes = {}
    text = f"The edge polishes {abs(height):.1f} % {'fast' if height > 0 else 'slow'}, {where:.1f} mm from the rim."
    if remedies and result.rig.head.ring is not None:
        best = even_ring(result.rig)
        if best is not None:
            factor, left = best
            changes = _ring_changes(result.rig, factor)
            change = f"{100 * abs(factor - 1.0):.3g} % {'higher' if factor > 1 else 'lower'}"
            text += f" Ring pressure {change} in every step would bring that to {left:.1f} %."
        else:
            text += " No ring pressure within 0.3 to 3 times the present one does better."
    return [Finding("edge", "act" if abs(height) > STEEP_EDGE else "look", text, changes)]


def _ring_changes(rig: Rig, factor: float) -> Changes:
    """Return the changes that scale the ring pressure of every step."""
    named = [{"name": step.name} for step in rig.steps]
    return {
        f"recipe.step.{paths.entry(named, at)}.ring_pressure": quantity_text(
            step.ring_pressure * factor, "pressure"
        )
        for at, step in enumerate(rig.steps)
    }


def even_ring(rig: Rig) -> tuple[float, float] | None:
    """Return the factor on the ring pressure of all steps that makes the edge most even.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    tuple[float, float] | None
        The factor, between 0.3 and 3, and the extreme left [%]; None if nothing beats the present.
    """
    from scipy.optimize import minimize_scalar

    from planish.predict.wafer.polish import polish

    mean_ring = float(np.mean([step.ring_pressure for step in rig.steps]))
    if not mean_ring > 0:
        return None

    def extreme(log_factor: float) -> float:
        steps = tuple(
            replace(step, ring_pressure=step.ring_pressure * np.exp(log_factor)) for step in rig.steps
        )
        value = polish(replace(rig, steps=steps)).edge()["edge_extreme_percent"]
        return abs(value) if value is not None else np.inf

    now = extreme(0.0)
    trials = np.log(np.geomspace(0.3, 3.0, 9))
    values = [extreme(trial) for trial in trials]
    at = int(np.argmin(values))
    low, high = trials[max(at - 1, 0)], trials[min(at + 1, trials.size - 1)]
    best = minimize_scalar(
        extreme, bounds=(low, high), method="bounded", options={"xatol": 0.02, "maxiter": 12}
    )
    if not best.fun < 0.9 * now:
        return None
    return float(np.exp(best.x)), float(best.fun)


def _uniformity(result: WaferResult) -> list[Finding]:
    mean = result.mean(result.removed)
    if not mean > 0:
        return [Finding("rate", "act", one.words) for one in _called(result, "rate")]
    sigma = 100 * result.sigma(result.removed) / mean
    spread = 100 * result.half_range(result.removed) / mean
    weight: Weight = "good" if sigma < 3 else "look" if sigma < UNEVEN else "act"
    text = f"Removal is even within {sigma:.1f} % (1σ) and ±{spread:.1f} % (range) inside the edge exclusion."
    if result.cleared_share() >= CLEARED:
        weight = "act" if weight == "act" else "look"
        text += " Films are gone all over: this is how even they came in, not how evenly they were polished."
    inner = result.radius <= 0.5 * result.rig.wafer.radius
    outer = result.inside() & (result.radius >= 0.7 * result.rig.wafer.radius)
    tilt = 100 * (
        np.average(result.removed[outer], weights=result.areas[outer])
        / np.average(result.removed[inner], weights=result.areas[inner])
        - 1
    )
    if abs(tilt) > 1:
        text += (
            f" The outer third removes {abs(tilt):.1f} % {'more' if tilt > 0 else 'less'} than the middle."
        )
    return [Finding("uniformity", weight, text)]


def _speed(result: WaferResult) -> list[Finding]:
    worst = max(result.steps, key=lambda step: float(np.ptp(step.speed)))
    spread = 100 * float(np.ptp(worst.speed)) / float(worst.speed.mean())
    if spread < 1:
        return [
            Finding("speed", "good", "Every place on the wafer slides at the same mean speed within 1 %.")
        ]
    fast = "edge" if worst.speed[-1] > worst.speed[0] else "centre"
    return [
        Finding(
            "speed",
            "look" if spread > 4 else "good",
            f"In step {worst.name} the {fast} slides {spread:.1f} % faster than the slowest place.",
        )
    ]


def _standing_still(result: WaferResult) -> list[Finding]:
    told = (one.words for one in result.raised() if (one.kind, one.subject) == ("happened", "speed"))
    return [Finding("speed", "look", f"{words[0].upper()}{words[1:]}.") for words in told]


def _temperature(result: WaferResult) -> list[Finding]:
    start = float(result.temperatures[0])
    peak = max(step.peak_temperature for step in result.steps)
    if peak - start < 0.5:
        return [
            Finding("temperature", "good", f"The pad under the wafer stays at {start - ZERO_CELSIUS:.0f} °C.")
        ]
    mean = float(result.temperatures.max())
    text = (
        f"Friction warms the pad under the wafer from {start - ZERO_CELSIUS:.0f} °C to {mean - ZERO_CELSIUS:.0f} °C on "
        f"average, its surface to {peak - ZERO_CELSIUS:.0f} °C where a pass ends at its warmest place."
    )
    return [Finding("temperature", "look" if mean - start > 20 else "good", text)]


def _slurry(result: WaferResult) -> list[Finding]:
    return [Finding("slurry", "act", one.words) for one in _called(result, "slurry")]


def _called(result: WaferResult, subject: str) -> list[Raised]:
    """Return what calls for a change, as a lot would tell it too."""
    return [one for one in result.raised() if one.kind == "act" and one.subject == subject]


def _films(result: WaferResult) -> list[Finding]:
    found = []
    for index, film in enumerate(result.films):
        gone = np.isfinite(result.cleared[index]) & result.inside()
        share = float(result.areas[gone].sum() / result.areas[result.inside()].sum())
        if share == 0:
            break
        if share >= 0.9999:
            first, last = float(result.cleared[index][gone].min()), float(result.cleared[index][gone].max())
            text = f"Film {film} clears first at {first:.0f} s and last at {last:.0f} s."
            found.append(Finding("clearing", "look", text))
        else:
            found.append(
                Finding(
                    "clearing",
                    "look",
                    f"Film {film} is gone from {100 * share:.0f} % of the area inside the exclusion.",
                )
            )
    return found


def _retrace(rig: Rig) -> list[Finding]:
    found = []
    for step in rig.steps:
        ratio = rig.polisher.retrace(*speeds(rig, step))
        if ratio is not None:
            text = f"In step {step.name} {rig.polisher.drive.part} and carrier turn in a small whole-number ratio, so each wafer point retraces one path on the pad; a slightly different carrier speed spreads the wear."
            found.append(Finding("speed", "look", text))
    return found
