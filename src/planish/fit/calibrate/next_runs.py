r"""What to measure next: the runs that would tell most about the free numbers, by derivatives at the fit.

Offered are wafers polished with the main step's pressure, speed, time and ring pressure, or the temperature of the slurry,
at the ends of the range that can be set at once: half to twice what the setup says, temperatures 10 K either way, and
always within the usual range of the key; pressure and speed at both ends together too. A run measures what the data did: the rate at nine
radii, five sites each, where site maps were given, else one mean rate; it scatters as those data did. The best run
makes the determinant of the information on all free numbers largest (D-optimality); a second is chosen beside the first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError, PlanishError
from planish.fit.calibrate.model import Model
from planish.fit.calibrate.observed import Observed
from planish.fit.calibrate.scatter import USUAL, Scatter, layout
from planish.predict.wafer.polish import polish
from planish.setup.changes import quantity_text
from planish.setup.fields import keys
from planish.setup.paths import show
from planish.setup.recipe import SPEEDS

if TYPE_CHECKING:
    from planish.fit.calibrate.solve import Problem, Solution
    from planish.setup.models import Setup

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Most telling runs by the determinant of the information: Atkinson, Donev & Tobias, Optimum Experimental Designs, "
    "2007 (from memory)",
)
CARE = (
    "a model's proposal: check it against the tool maker's limits, safety data sheets and local codes, with qualified "
    "staff, on monitor wafers, before product"
)
RADII, SITES = 9, 5  # of a map that is offered: radii, and sites on each
_WARMER = 10.0  # [K]
_SLIGHT = 1e-12  # of a direction of which nothing is known, so that it can be compared


@dataclass(frozen=True, slots=True)
class NextRun:
    """One run that would tell much.

    Attributes
    ----------
    changes
        Its settings, for ``Setup.replace``.
    words
        The same as a person says it.
    gain
        Half the logarithm by which the determinant of the information grows.
    left
        By path of each free number, the share of its interval's width that would be left.
    """

    changes: Mapping[str, object]
    words: str
    gain: float
    left: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Polished:
    """What a polished wafer would be measured to: its rate at some radii, or its mean rate."""

    settings: tuple[tuple[str, object], ...]
    maps: bool

    def __call__(self, setup: Setup) -> Array:
        """Return the rate [m/s] at nine radii inside the edge exclusion, (9,), or its mean, (1,)."""
        wafer = polish(setup.replace({path: _plain(value) for path, value in self.settings}))
        if not self.maps:
            return np.array([wafer.mean(wafer.removed) / wafer.time])
        reach = wafer.rig.wafer.radius - wafer.rig.wafer.edge_exclusion
        places = np.linspace(0.0, reach, RADII)
        return np.asarray(np.interp(places, wafer.radius, wafer.removed) / wafer.time)


def _plain(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


def next_runs(problem: Problem, solution: Solution, wanted: int) -> tuple[NextRun, ...]:
    """Return the runs that would tell most, the best first.

    Parameters
    ----------
    problem, solution
        Of the fit.
    wanted
        How many runs more; each is chosen beside those before it.

    Returns
    -------
    tuple[NextRun, ...]
        Fewer where no run offered tells anything.
    """
    model = problem.model
    scales = problem.scales
    offers = []
    for words, settings in _offered(model):
        told = _information(problem, solution, settings)
        if told is not None:
            offers.append((words, settings, told * np.outer(scales, scales)))
    slope = solution.scatter.whitened(solution.jacobian) * scales
    known = slope.T @ slope + np.diag(solution.precision * scales**2)
    known = known + _SLIGHT * np.trace(known) * np.eye(scales.size)
    before = np.sqrt(np.diag(np.linalg.inv(known)))
    out: list[NextRun] = []
    for _ in range(wanted):
        gains = [
            0.5 * float(np.linalg.slogdet(known + each)[1] - np.linalg.slogdet(known)[1])
            for *_, each in offers
        ]
        if not gains or max(gains) < 1e-3:
            break
        words, settings, each = offers[int(np.argmax(gains))]
        known = known + each
        after = np.sqrt(np.diag(np.linalg.inv(known)))
        left = {one.path: float(a / b) for one, a, b in zip(model.parameters, after, before, strict=True)}
        again = sum(one.changes == dict(settings) for one in out)
        if again:
            words = f"{words}, {'once' if again == 1 else f'{again} times'} more on another wafer"
        out.append(NextRun(dict(settings), words, max(gains), left))
    return tuple(out)


def _offered(model: Model) -> list[tuple[str, tuple[tuple[str, object], ...]]]:
    """Return the runs that can be had, each in words and as changes."""
    setup = model.setup
    try:
        wafer = polish(setup)
    except PlanishError:
        return []
    main = int(np.argmax([float(np.mean(step.removed)) for step in wafer.steps]))
    step = setup.model.recipe.step[main]
    place = show(("recipe", "step", main), setup.tree)
    free = {one.path for one in model.parameters}
    ends: dict[str, list[tuple[str, tuple[tuple[str, object], ...]]]] = {}

    def offer(name: str, values: Sequence[tuple[str, tuple[tuple[str, object], ...]]]) -> None:
        kept = [one for one in values if not any(path in free for path, _ in one[1])]
        if kept:
            ends[name] = kept

    zones = wafer.rig.steps[main].zone_pressures
    low, high = _factors(setup, "recipe.step.*.zone_pressures", zones)
    offer("pressure", [
        (f"pressures of step {step.name} times {factor:.3g}",
         ((f"{place}.zone_pressures", tuple(quantity_text(float(p) * factor, "pressure") for p in zones)),))
        for factor in (low, high) if factor != 1.0
    ])  # fmt: skip
    for key, name in ((next((k for k in SPEEDS if getattr(step, k) is not None), ""), "speed"), ("time", "time"),
                      ("ring_pressure", "ring pressure")):  # fmt: skip
        value = getattr(step, key) if key else None
        if value:
            info = next(one for one in keys(setup.motion) if one.path == f"recipe.step.*.{key}")
            factors = _factors(setup, info.path, np.array([abs(value)]))
            texts = [quantity_text(value * factor, info.dimension) for factor in factors if factor != 1.0]
            words = f"{key.replace('_', ' ')} of step {step.name}"
            offer(name, [(f"{words} {text}", ((f"{place}.{key}", text),)) for text in texts])
    warm = next(one for one in keys(setup.motion) if one.path == "slurry.temperature")
    here = setup.model.slurry.temperature
    usual = warm.typical or (here, here)
    texts = [
        quantity_text(each, "temperature")
        for each in (max(here - _WARMER, usual[0]), min(here + _WARMER, usual[1]))
        if abs(each - here) > 1.0
    ]
    named = () if "slurry" in setup.document else (("slurry.part", setup.parts["slurry"]),)
    offer("temperature", [(f"slurry at {text}", (*named, ("slurry.temperature", text))) for text in texts])
    runs = [("the same settings again", ()), *(one for some in ends.values() for one in some)]
    for words, settings in ends.get("pressure", []):
        runs += [(f"{words}, {also}", (*settings, *more)) for also, more in ends.get("speed", [])]
    return runs


def _factors(setup: Setup, path: str, values: Array) -> tuple[float, float]:
    """Return by which factors settings may go down and up: a half and two, within the usual range."""
    info = next(one for one in keys(setup.motion) if one.path == path)
    low, high = info.typical or (0.0, math.inf)
    some = values[values > 0]
    if some.size == 0:
        return 1.0, 1.0
    return min(max(0.5, low / float(some.min())), 1.0), max(min(2.0, high / float(some.max())), 1.0)


def _information(
    problem: Problem, solution: Solution, settings: tuple[tuple[str, object], ...]
) -> Array | None:
    """Return what one run would tell of the coordinates, (p, p); None where it cannot be predicted."""
    model, maps, shares = problem.model, "sites" in problem.where.kinds, _shares(solution.scatter)
    run = Polished(settings, maps)
    nothing = np.zeros(RADII if maps else 1)
    one = Observed("next", "run", nothing, nothing, "m/s", np.arange(nothing.size), run, (), (), {})
    there = Model(model.setup, (one,), model.parameters, model.workers, model.runs)
    try:
        rates = there.at(solution.point)
        if isinstance(rates, str) or not np.all(rates > 0):
            return None
        slope = there.jacobian(solution.point)
    except FitError:
        return None
    measured = Observed("next", "run", rates, nothing, "m/s", one.groups, run, (), (), {})
    scatter = Scatter(layout([measured]), shares[None, :], np.ones(1), np.ones(rates.size))
    return scatter.products(slope)[0]


def _shares(scatter: Scatter) -> Array:
    """Return how a run would scatter: as the site maps did, else as the rates, else as is usual; (3,)."""
    where = scatter.where
    kind = next((where.kinds.index(name) for name in ("sites", "rate") if name in where.kinds), None)
    if kind is None:
        return np.array([USUAL, 0.0, 0.0])
    mine = where.kind == kind
    alone = float(np.sqrt(np.median(scatter.variances()[mine] / where.size[mine] ** 2)))
    _, together, whole = scatter.shares[kind]
    if where.kinds[kind] == "rate":
        return np.array([math.hypot(alone, together, whole), 0.0, 0.0])
    return np.array([math.hypot(alone / math.sqrt(SITES), together), 0.0, whole])
