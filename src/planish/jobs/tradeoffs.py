"""Which trade-offs can a setup be asked for, and how long will the search take? Aims, knobs with ranges, parts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.errors import PlanishError
from planish.jobs.choices import pattern_maps
from planish.jobs.exchange import part_choices
from planish.jobs.settings import describe, number_unit, step_paths
from planish.predict.wafer.polish import polish
from planish.setup import paths
from planish.setup.fields import key_at
from planish.setup.motions.known import MOTIONS
from planish.tuning.tradeoffs.aims import KNOWN, Aim, Answer
from planish.tuning.tradeoffs.planned import planned
from planish.tuning.tradeoffs.predicted import Prediction, Predictor, figure_value
from planish.tuning.tradeoffs.search import has_library

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup

WAFERS = 25  # of a lot, unless another number is asked for
SECTIONS = ("pad", "conditioner", "slurry", "head", "polisher")  # whose parts a choice may be among
TABLES = ("recipe", *SECTIONS)  # whose keys can be knobs: what comes in and what a law fits are no choice
READ_FROM: dict[Answer, str] = {
    "wafer": "one wafer",
    "first": "the first wafer on a new pad",
    "lot": "a lot",
    "cost": "a lot",
    "die": "a die",
}
TOGETHER: tuple[set[Answer], ...] = ({"wafer"}, {"first"}, {"lot", "cost"}, {"die"})
NEAR = (0.6, 1.5)  # times the present value: where a knob's range is proposed to end, inside what is usual


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What a choice will take: ``each`` [s] a setup tried in one process, how many there are, how many will be tried."""

    each: float
    possible: float
    runs: int

    @property
    def seconds(self) -> float:
        """For all that will be tried, in one process [s]."""
        return self.each * self.runs

    def document(self) -> dict[str, Any]:
        """Return it as plain data; ``possible`` None where there is no end of setups."""
        return {
            "each_s": self.each,
            "possible": None if math.isinf(self.possible) else int(self.possible),
            "runs": self.runs,
            "seconds": self.seconds,
            "every": self.possible <= self.runs,
        }


def foreseen(
    setup: SetupLike,
    vary: Mapping[str, object],
    aims: Sequence[str],
    runs: int,
    *,
    limits: Mapping[str, str] | None = None,
    wafers: int = WAFERS,
    layout: str = "",
    place: str = "centre",
) -> Foreseen:
    """Say what a choice will take on this machine, once all that is asked for can be used.

    Parameters
    ----------
    setup, vary, aims, runs, limits, wafers, place
        As for :func:`planish.choose`; ``runs`` of any size.
    layout
        Name of a test layout, where an aim or a limit is of a die.

    Returns
    -------
    Foreseen
        By a few setups that were tried.

    Raises
    ------
    PlanishError
        As :func:`planish.choose`.
    """
    maps = pattern_maps(layout) if layout else None
    plan = planned(setup, vary, aims, dict(limits or {}), Predictor(wafers, maps, place), runs)
    return Foreseen(plan.time_of_one(), plan.possible, int(min(runs, plan.possible)))


def offered(setup: Setup) -> dict[str, Any]:
    """Return what a choice on a setup can be asked for.

    Parameters
    ----------
    setup
        That it starts from.

    Returns
    -------
    dict[str, Any]
        ``aims`` with their words, unit, direction and what they are read from; ``knobs`` with the range that is usual and one
        that is proposed, each in trade units and in SI, ``proposed`` for the few to begin with; ``parts`` by section, those
        that can stand in the setup as it is; ``search``: whether the library is there that looks between the values of lists.
    """
    return {
        "aims": [
            {
                "name": aim.name,
                "figure": aim.figure,
                "words": aim.words,
                "unit": aim.unit,
                "better": aim.better,
                "read_from": READ_FROM[aim.answer],
                "die": aim.answer == "die",
            }
            for aim in KNOWN
        ],
        "knobs": list(_knobs(setup)),
        "parts": dict(_parts(setup)),
        "search": has_library(),
    }


def present(
    setup: Setup, *, layout: str = "density-blocks", place: str = "centre"
) -> dict[str, dict[str, Any]]:
    """Return the figure of each aim as a setup stands.

    Parameters
    ----------
    setup
        As it is.
    layout, place
        Of the die that aims are predicted on.

    Returns
    -------
    dict[str, dict[str, Any]]
        By the aim's name its ``value`` in the aim's unit, None where there is none, and then why it is ``refused``.
    """
    predictor = Predictor(WAFERS, pattern_maps(layout), place)
    found: dict[Answer, Prediction] = {}
    refused: dict[Answer, str] = {}
    for answers in TOGETHER:
        try:
            found |= dict.fromkeys(answers, predictor.predicted(setup, answers))
        except PlanishError as error:
            refused |= dict.fromkeys(answers, str(error))
    told = {}
    for aim in KNOWN:
        value, why = _present(aim, found.get(aim.answer), refused.get(aim.answer, ""))
        told[aim.name] = {"value": value, "refused": why}
    return told


def _present(aim: Aim, found: Prediction | None, refused: str) -> tuple[float | None, str]:
    """Return the figure of the setup as it stands, or why there is none."""
    if found is None:
        return None, refused
    try:
        return figure_value(aim, found), ""
    except PlanishError as error:
        return None, str(error)


def _knobs(setup: Setup) -> Iterator[dict[str, Any]]:
    """Yield the keys that hold a quantity, those of the step that removes most first."""
    steps, main, tree = step_paths(setup), _main_step(setup), setup.tree
    drive = MOTIONS.get(setup.motion).machine.drive.key
    begin = [f"{steps[main]}.{key}" for key in ("zone_pressures", "ring_pressure", drive)]
    knobs = {}
    for field in [*_all_zones(setup, steps), *describe(setup)]:
        keys = paths.resolve(field["path"], tree, grow=True)
        if field["path"] in knobs or keys[0] not in TABLES or field["kind"] != "number":
            continue
        knob = _knob(setup, field, keys)
        if knob is not None:
            knobs[field["path"]] = {**knob, "proposed": field["path"] in begin}
    first = [path for path in knobs if path.startswith(f"{steps[main]}.")]
    for path in [*first, *(path for path in knobs if path not in first)]:
        yield knobs[path]


def _main_step(setup: Setup) -> int:
    """Return the place of the step that removes most."""
    try:
        wafer = polish(setup)
    except PlanishError:
        return 0
    amounts = [wafer.mean(step.removed) for step in wafer.steps]
    return amounts.index(max(amounts))


def _all_zones(setup: Setup, steps: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Yield one pressure for all zones, for steps that give each zone its own."""
    for at, (step, path) in enumerate(zip(setup.rig.steps, steps, strict=True)):
        if isinstance(setup.get(f"{path}.zone_pressures"), str) or len(step.zone_pressures) < 2:
            continue
        info = key_at(setup.motion, ("recipe", "step", at, "zone_pressures"))
        assert info is not None
        yield {
            "path": f"{path}.zone_pressures",
            "label": "pressure, all zones alike",
            "kind": "number",
            "dimension": info.dimension,
            "value": float(step.zone_pressures.mean()),
            "text": "each zone its own",
            "usual": f"{info.usual} ({info.source})",
            "typical": info.typical,
            "moves": True,
        }


def _knob(setup: Setup, field: Mapping[str, Any], keys: Sequence[paths.Key]) -> dict[str, Any] | None:
    """Return a setting as a knob; None for what moves nothing, or has no range to be offered."""
    if not field["moves"] or field["typical"] is None:
        return None
    value, (low, high) = float(field["value"]), field["typical"]
    near = (low, high)
    if value > 0 and field["dimension"] != "temperature":
        near = (max(NEAR[0] * value, min(low, value)), min(NEAR[1] * value, max(high, value)))
    ranges = {system: _shown(near, field["dimension"], system) for system in ("trade", "si")}
    if None in ranges.values():
        return None
    step = f"{setup.rig.steps[int(keys[2])].name}: " if keys[0] == "recipe" else ""
    return {
        "path": field["path"],
        "table": keys[0],
        "label": f"{step}{field['label']}",
        "now": field["text"],
        "usual": field["usual"],
        "range": ranges,
    }


def _shown(ends: tuple[float, float], dimension: str, system: str) -> dict[str, str] | None:
    """Return a range of SI numbers as it would be written, to two digits; None where it has no room."""
    unit = number_unit(dimension, system)
    low, high = (float(f"{(end - unit['offset']) / unit['factor']:.2g}") for end in ends)
    return {"low": f"{low:g}", "high": f"{high:g}", "unit": unit["write"]} if low < high else None


def _parts(setup: Setup) -> Iterator[tuple[str, dict[str, Any]]]:
    choices = part_choices(setup)
    for section in SECTIONS:
        options = [
            option
            for option in choices[section]["options"]
            if option["name"] != "none" and _stands(setup, section, option["name"])
        ]
        if len(options) > 1:
            yield section, {"chosen": choices[section]["chosen"], "options": options}


def _stands(setup: Setup, section: str, part: str) -> bool:
    """Return whether a part can stand in the setup with nothing else changed, as a choice would put it there."""
    try:
        setup.replace({f"{section}.part": part})
    except PlanishError:
        return False
    return True
