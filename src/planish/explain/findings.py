"""Findings: what a predicted wafer says, in plain sentences, with what causes it and the settings that would mend it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from planish.explain.advice import EVEN_EDGE, EVEN_WAFER, Advice, advise, edge_figure_of, spread_of
from planish.explain.retracing import other_speed, retracing_steps
from planish.physics.surface.softening import HOTTEST
from planish.predict.raised import CLEARED, STEEP_EDGE, UNEVEN
from planish.setup.changes import Changes
from planish.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from planish.predict.raised import Raised
    from planish.predict.wafer.result import WaferResult

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
    changes
        Settings that it proposes, as they were run (``Setup.replace``); none where it proposes none.
    promised
        Figure of a wafer's summary to its value before and with the changes, as that run gave it.
    """

    subject: str
    weight: Weight
    text: str
    changes: Changes = field(default_factory=dict)
    promised: dict[str, tuple[float | None, float | None]] = field(default_factory=dict)


def findings(result: WaferResult, *, remedies: bool = True) -> list[Finding]:
    """Return what deserves saying about a wafer, the most pressing first.

    Parameters
    ----------
    result
        The wafer.
    remedies
        Look for what causes an uneven wafer and for settings that would mend it, by running the model.

    Returns
    -------
    list[Finding]
        One sentence a subject.
    """
    found = [
        *_edge(result, remedies),
        *_uniformity(result, remedies),
        *_speed(result),
        *_standing_still(result),
        *_temperature(result),
        *_slurry(result),
        *_films(result),
        *_retrace(result, remedies),
    ]
    order = {"act": 0, "look": 1, "good": 2}
    return sorted(found, key=lambda item: order[item.weight])


def _edge(result: WaferResult, remedies: bool) -> list[Finding]:
    edge = result.edge()
    height, where = edge["edge_extreme_percent"], edge["edge_extreme_from_edge_mm"]
    if height is None or where is None:
        return []
    if abs(height) < EVEN_EDGE:
        even = f"The edge polishes within {abs(height):.1f} % of the level 15 mm further in"
        if result.cleared_share() >= CLEARED:
            return [
                Finding("edge", "look", f"{even}: the film is gone there, so this is how even it came in.")
            ]
        return [Finding("edge", "good", f"{even}.")]
    text = f"The edge polishes {abs(height):.1f} % {'fast' if height > 0 else 'slow'}, {where:.1f} mm from the rim."
    weight: Weight = "act" if abs(height) > STEEP_EDGE else "look"
    if not remedies:
        return [Finding("edge", weight, text)]
    return [_advised("edge", weight, text, advise(result, edge_figure_of(1e-3 * where), faster=True))]


def _advised(subject: str, weight: Weight, text: str, advice: Advice) -> Finding:
    """Return a finding with what causes it and what would mend it."""
    told = " ".join(part for part in (text, advice.cause, advice.remedy) if part)
    return Finding(subject, weight, told, advice.changes, advice.promised)


def _uniformity(result: WaferResult, remedies: bool) -> list[Finding]:
    mean = result.mean(result.removed)
    if not mean > 0:
        return [Finding("rate", "act", one.words) for one in _called(result, "rate")]
    sigma = spread_of(result, result.removed)
    spread = 100 * result.half_range(result.removed) / mean
    weight: Weight = "good" if sigma < EVEN_WAFER else "look" if sigma < UNEVEN else "act"
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
    edge = result.edge()["edge_extreme_percent"]
    if (
        not remedies or sigma < EVEN_WAFER or abs(edge or 0.0) >= EVEN_EDGE
    ):  # one remedy: the edge's tells of both
        return [Finding("uniformity", weight, text)]
    return [_advised("uniformity", weight, text, advise(result, spread_of, faster=False))]


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
    if peak > HOTTEST:
        text += (
            " Water would boil off there, which the model does not follow: its figures of that step are not to be relied "
            "on. Press less, turn slower or cool the pad before this is tried."
        )
        return [Finding("temperature", "act", text)]
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


def _retrace(result: WaferResult, remedies: bool) -> list[Finding]:
    found, part = [], result.rig.polisher.drive.part
    for at in retracing_steps(result.rig):
        text = f"In step {result.rig.steps[at].name} {part} and carrier turn in a small whole-number ratio, so each wafer point retraces one path on the pad."
        other = other_speed(result, at) if remedies else None
        told, changes, promised = ("", {}, {}) if other is None else other
        found.append(Finding("speed", "look", text + told, changes, promised))
    return found
