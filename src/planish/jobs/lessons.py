"""Which of two choices is better, and why? Guided comparisons: a question, the setups that answer it, the answer.

The words of an answer are put together from the numbers of the model; none is written down beforehand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.errors import SetupError
from planish.jobs.choices import pattern_maps
from planish.jobs.exchange import choose, with_motion, without_conditioner
from planish.jobs.wafers import polished
from planish.setup.motions.known import MOTIONS
from planish.units import NM_PER_MIN, PSI, RPM

if TYPE_CHECKING:
    from planish.setup.models import Setup

LOT_WAFERS = 100


@dataclass(frozen=True, slots=True)
class Figure:
    """One number that is set side by side: where it is found, and what to call it."""

    scale: str  # wafer, die or lot
    key: str
    name: str
    unit: str
    digits: int = 1


@dataclass(frozen=True, slots=True)
class Lesson:
    """One comparison. ``cases`` makes the setups to set side by side from the present one."""

    id: str
    title: str
    question: str
    look: str
    curve: str  # what is drawn: removed, pressure, speed, lot-rate
    figures: tuple[Figure, ...]
    cases: Callable[[Setup], dict[str, Setup]]


@dataclass(frozen=True, slots=True)
class Told:
    """One figure of an answer: its value in each case, None where there is none, and what they say."""

    figure: Figure
    values: dict[str, float | None]
    sentence: str


@dataclass(frozen=True, slots=True)
class Curve:
    """What is drawn of one case, with the words at its axes."""

    x: Sequence[float]
    y: Sequence[float]
    x_name: str
    y_name: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The computed answer of one comparison: the setup and the curve of each case, and the figures."""

    setups: dict[str, Setup]
    told: tuple[Told, ...]
    curves: dict[str, Curve]


RATE = Figure("wafer", "mean_removal_rate_nm_per_min", "removal rate", "nm/min", 0)
SIGMA = Figure("wafer", "wiwnu_sigma_percent", "non-uniformity across the wafer (1σ)", "%")
EDGE = Figure("wafer", "edge_extreme_percent", "edge against the middle", "%")
SPREAD = Figure("wafer", "speed_spread_percent", "spread of sliding speed over the wafer", "%")
REAL = Figure("wafer", "real_contact_percent", "real contact area", "%", 2)
DIE = Figure("die", "within_die_range_nm", "thickness range within a die", "nm", 0)
LAST = Figure("lot", "rate_kept_percent", f"rate of wafer {LOT_WAFERS} against wafer 1", "%", 1)
WEAR = Figure("lot", "pad_worn_um", f"pad cut away after {LOT_WAFERS} wafers", "µm", 1)
SCRATCH = Figure("lot", "last_scratch_index_relative", "scratch index, relative", "", 2)


def _three_motions(setup: Setup) -> dict[str, Setup]:
    return {motion: with_motion(setup, motion) for motion in MOTIONS.names()}


def _pads(setup: Setup) -> dict[str, Setup]:
    return {"hard pad": choose(setup, "pad", "hard-solid"), "soft pad": choose(setup, "pad", "soft-felt")}


def _roughness(setup: Setup) -> dict[str, Setup]:
    """Half and twice the decay length of the tail of high summits, which carries the load."""
    tail = setup.model.pad.surface.tail_length
    body = setup.model.pad.surface.height_sd

    def scaled(factor: float) -> Setup:
        return setup.replace(
            {
                "pad.surface.tail_length": f"{tail * factor * 1e6:.6g} um",
                "pad.surface.height_sd": f"{body * factor * 1e6:.6g} um",
            }
        )

    return {"smooth pad surface": scaled(0.5), "rough pad surface": scaled(2.0)}


def _conditioned(setup: Setup) -> dict[str, Setup]:
    kept = setup if setup.model.conditioner else choose(setup, "conditioner", "electroplated-100-grit")
    return {"conditioned": kept, "never conditioned": without_conditioner(kept)}


def _disks(setup: Setup) -> dict[str, Setup]:
    return {
        "coarse electroplated disk": choose(setup, "conditioner", "electroplated-100-grit"),
        "fine grown-film disk": choose(setup, "conditioner", "cvd-film-fine"),
    }


def _ring(setup: Setup) -> dict[str, Setup]:
    def scaled(factor: float) -> Setup:
        changes = {
            f"recipe.step.{i}.ring_pressure": f"{step.ring_pressure * factor / PSI:.6g} psi"
            for i, step in enumerate(setup.model.recipe.step, start=1)
        }
        return setup.replace(changes)

    return {"ring at half pressure": scaled(0.5), "ring as set": setup, "ring at one and a half": scaled(1.5)}


def _speeds(setup: Setup) -> dict[str, Setup]:
    """The carrier at the platen's speed, and at a third of it; other motions are first put on a platen."""
    rotary = with_motion(setup, "rotary")

    def at(factor: float) -> Setup:
        changes = {
            f"recipe.step.{i}.carrier_speed": f"{(step.platen_speed or 0.0) * factor / RPM:.6g} rpm"
            for i, step in enumerate(rotary.model.recipe.step, start=1)
        }
        return rotary.replace(changes)

    return {"carrier as fast as the platen": at(1.0), "carrier at a third of the platen": at(1 / 3)}


LESSONS: tuple[Lesson, ...] = (
    Lesson(
        "motions",
        "Three ways to move the pad",
        "Same wafer, head, pad and slurry. On which machine does every place of the wafer slide at the same speed?",
        "the mean sliding speed from the centre (left) to the edge",
        "speed",
        (SPREAD, RATE, SIGMA),
        _three_motions,
    ),
    Lesson(
        "hardness",
        "Hard pad or soft pad",
        "A soft pad follows the wafer. Which pad leaves the die flatter, and which one evens out the wafer?",
        "the removal from the centre to the edge",
        "removed",
        (DIE, SIGMA, EDGE),
        _pads,
    ),
    Lesson(
        "roughness",
        "Rough or smooth pad surface",
        "The wafer rests only on the highest summits. What happens to the true contact area when they stand out further?",
        "the removal from the centre to the edge",
        "removed",
        (REAL, RATE, DIE),
        _roughness,
    ),
    Lesson(
        "conditioning",
        "With and without conditioning",
        f"The disk is taken away. What is left of the removal rate after {LOT_WAFERS} wafers?",
        "the removal rate, wafer after wafer",
        "lot-rate",
        (LAST, WEAR, SCRATCH),
        _conditioned,
    ),
    Lesson(
        "disks",
        "Two kinds of disk",
        "Coarse diamonds in nickel, or a grown film of fine ones. Which one eats the pad faster, and what does the rate do?",
        "the removal rate, wafer after wafer",
        "lot-rate",
        (WEAR, LAST, SCRATCH),
        _disks,
    ),
    Lesson(
        "ring",
        "Pressure on the retaining ring",
        "The ring presses the pad down beside the wafer. Does more ring pressure make the edge faster or slower?",
        "the contact pressure towards the edge",
        "pressure",
        (EDGE, SIGMA, RATE),
        _ring,
    ),
    Lesson(
        "speeds",
        "Equal and unequal speeds",
        "Platen and carrier turn the same way. What is gained when they turn equally fast?",
        "the mean sliding speed from the centre (left) to the edge",
        "speed",
        (SPREAD, SIGMA, RATE),
        _speeds,
    ),
)


def lesson(name: str) -> Lesson:
    """Return the comparison of a name.

    Raises
    ------
    SetupError
        For a name that there is not.
    """
    found = next((one for one in LESSONS if one.id == name), None)
    if found is None:
        raise SetupError(f"lesson = {name!r}: must be one of {', '.join(one.id for one in LESSONS)}")
    return found


def answer(asked: Lesson, setup: Setup) -> Answer:
    """Return the computed answer of one comparison: figures, curves and a sentence for each figure.

    Parameters
    ----------
    asked
        The comparison.
    setup
        From which its cases are made.

    Returns
    -------
    Answer
        Of the model.

    Raises
    ------
    SetupError
        Where a case would not be a valid setup.
    """
    cases = asked.cases(setup)
    needed = {figure.scale for figure in asked.figures}
    found = {name: _figures(case, needed) for name, case in cases.items()}
    told = []
    for figure in asked.figures:
        values = {name: found[name][figure.scale].get(figure.key) for name in cases}
        told.append(Told(figure, values, sentence(figure, values)))
    curves = {name: _curve(asked.curve, case, found[name]) for name, case in cases.items()}
    return Answer(cases, tuple(told), curves)


def sentence(figure: Figure, values: Mapping[str, float | None]) -> str:
    """Return what the numbers say, in words.

    Parameters
    ----------
    figure
        What they are of.
    values
        Of each case, None or not finite where it has none.

    Returns
    -------
    str
        One sentence: the least and the most.
    """
    known = {name: value for name, value in values.items() if value is not None and np.isfinite(value)}
    if len(known) < 2:
        return f"{figure.name}: not defined for all of them."

    def shown(value: float) -> str:
        return f"{value:.{figure.digits}f} {figure.unit}".strip()

    low, high = min(known, key=lambda name: known[name]), max(known, key=lambda name: known[name])
    name = figure.name[0].upper() + figure.name[1:]
    if shown(known[low]) == shown(known[high]):
        return f"{name}: {shown(known[low])} for all of them."
    told = known[low] > 0 and known[high] >= 1.15 * known[low] and figure.unit != "°C"
    ratio = f", {known[high] / known[low]:.2g} times as much" if told else ""
    return (
        f"{name}: least with “{low}” ({shown(known[low])}), most with “{high}” ({shown(known[high])}{ratio})."
    )


def _figures(setup: Setup, needed: set[str]) -> dict[str, dict[str, Any]]:
    result = polished(setup)
    main = max(result.steps, key=lambda step: step.duration)
    wafer: dict[str, Any] = result.document()
    wafer["speed_spread_percent"] = 100 * float(np.ptp(main.speed)) / float(main.speed.mean())
    out: dict[str, dict[str, Any]] = {"wafer": wafer}
    if "die" in needed:
        from planish.predict.die.polish import polish_die

        out["die"] = polish_die(setup, pattern_maps("density-blocks"), place="centre").document()
    if "lot" in needed:
        from planish.predict.lot.run import polish_lot
        from planish.predict.lot.variation import Variation

        lot = polish_lot(setup, LOT_WAFERS, variation=Variation.none())
        rate = lot.records.rate
        out["lot"] = {
            **lot.document(),
            "rate_kept_percent": 100 * float(rate[-1] / rate[0]) if rate[0] > 0 else None,
            "pad_worn_um": float(lot.records.worn[-1].max()) * 1e6,
            "series": (rate * NM_PER_MIN).tolist(),
        }
    return out


def _curve(kind: str, setup: Setup, found: dict[str, dict[str, Any]]) -> Curve:
    if kind == "lot-rate":
        rates = found["lot"]["series"]
        return Curve(range(1, len(rates) + 1), rates, "wafer", "removal rate [nm/min]")
    result = polished(setup)
    main = max(result.steps, key=lambda step: step.duration)
    values, words = {
        "removed": (result.removed * 1e9, "removed [nm]"),
        "pressure": (main.pressure / PSI, "pressure on the wafer [psi]"),
        "speed": (main.speed, "mean sliding speed [m/s]"),
    }[kind]
    return Curve((result.radius * 1e3).tolist(), values.tolist(), "distance from the centre [mm]", words)
