"""The search for a front: of any function of numbers in ranges and of places in lists, by NSGA-II (pymoo).

Points are asked for a generation at a time and told back, so that who evaluates them may share them among processes; the
search sees outcomes alone. Numbers are rounded before they are evaluated: what is found is what is printed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from planish.errors import PlanishError

Point = tuple[float, ...]
BEYOND_ALL = 1e6  # violation of a point that has no outcome: farther off than any limit tells
STEPS = 500  # of a range at least, between which a number is rounded to a round one
IDLE = 20  # generations without a new point, after which all there are were tried
PER_GENERATION = 0.8  # times the root of all runs: many generations of few points get nearer than few of many
FEWEST, MOST = 8, 200  # points of a generation
FIRST = 0.25  # of all runs are spread evenly before anything is searched
SOURCES = (
    "NSGA-II: Deb, Pratap, Agarwal & Meyarivan, IEEE Trans. Evol. Comput. 6 (2002) 182 "
    "(read as quoted in the manual of nsga2R), computed by pymoo",
)


@dataclass(frozen=True, slots=True)
class Axis:
    """What one number of a point may be: from ``low`` to ``high`` in round ``step``, or a place among ``count``.

    ``count`` 0 for a range. Places of an ``ordered`` list are near one another, those of an unordered one are not.
    """

    low: float = 0.0
    high: float = 1.0
    count: int = 0
    ordered: bool = False

    @property
    def step(self) -> float:
        """The round number that values of a range are multiples of."""
        return float(10.0 ** math.floor(math.log10((self.high - self.low) / STEPS)))

    def rounded(self, value: float) -> float:
        """Return the value that is meant: on the round step, or the place."""
        if self.count:
            return float(min(max(round(float(value)), 0), self.count - 1))
        step = self.step
        return min(max(round(float(value) / step) * step, self.low), self.high)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a point: values, lower is better, None where there are none; by how much it is beyond limits."""

    values: tuple[float, ...] | None
    beyond: float = 0.0

    @property
    def counts(self) -> bool:
        """Whether it may lie on the front."""
        return self.values is not None and self.beyond <= 0.0


Evaluate = Callable[[Sequence[Point]], Sequence[Outcome]]


def search(
    axes: Sequence[Axis], aims: int, evaluate: Evaluate, *, runs: int, seed: int = 0
) -> dict[Point, Outcome]:
    """Return all points that were tried on the way to the front, with their outcomes, in order.

    Parameters
    ----------
    axes
        Of a point.
    aims
        How many values an outcome has.
    evaluate
        Gives the outcomes of points, in their order.
    runs
        How many points at most; where no more than that are possible at all, every one is tried.
    seed
        Of chance.

    Returns
    -------
    dict[Point, Outcome]
        No point twice.

    Raises
    ------
    PlanishError
        Where the library for it is missing.
    """
    if possible(axes) <= runs:
        every = list(itertools.product(*(map(float, range(axis.count)) for axis in axes)))
        return dict(zip(every, evaluate(every), strict=True))
    tried: dict[Point, Outcome] = {}
    idle = 0
    for points, tell in _generations(axes, aims, runs, seed):
        fresh = list(dict.fromkeys(point for point in points if point not in tried))[: runs - len(tried)]
        tried.update(zip(fresh, evaluate(fresh), strict=True))
        idle = 0 if fresh else idle + 1
        if len(tried) >= runs or idle >= IDLE:
            break
        tell([tried[point] for point in points])
    return tried


def possible(axes: Sequence[Axis]) -> float:
    """Return how many points there are, infinite where one lies in a range."""
    return math.prod(axis.count for axis in axes) if all(axis.count for axis in axes) else math.inf


def needs_library(axes: Sequence[Axis], runs: int) -> None:
    """Refuse a search that the library is missing for, before anything is computed.

    Parameters
    ----------
    axes
        Of a point.
    runs
        As for :func:`search`.

    Raises
    ------
    PlanishError
        Where it is missing.
    """
    if possible(axes) > runs:
        _library()


def has_library() -> bool:
    """Return whether the library that searches is there."""
    try:
        _library()
    except PlanishError:
        return False
    return True


def generation_size(runs: int) -> int:
    """Return how many points a generation has: even, so that parents come in pairs."""
    size = min(max(round(PER_GENERATION * math.sqrt(runs)), FEWEST), MOST)
    return size + size % 2


def _library() -> Any:
    try:
        from pymoo.algorithms.moo import nsga2
        from pymoo.core import mixed
        from pymoo.operators.selection import tournament
    except ImportError:
        raise PlanishError(
            "choose: the library that searches is missing: must be installed (pip install 'planish[choose]')"
        ) from None
    return nsga2, mixed, tournament


def _generations(
    axes: Sequence[Axis], aims: int, runs: int, seed: int
) -> Iterator[tuple[list[Point], Callable[[list[Outcome]], None]]]:
    """Yield points to try, and what takes their outcomes, until nothing more is asked for."""
    nsga2, mixed, tournament = _library()
    problem = _problem(axes, aims)
    names = [str(at) for at in range(len(axes))]
    same = mixed.MixedVariableDuplicateElimination()
    algorithm = nsga2.NSGA2(
        pop_size=generation_size(runs),
        sampling=_spread(axes, names, runs, seed),
        mating=mixed.MixedVariableMating(
            selection=tournament.TournamentSelection(func_comp=nsga2.binary_tournament),
            eliminate_duplicates=same,
        ),
        eliminate_duplicates=same,
    )
    algorithm.setup(problem, termination=("n_gen", 10 * runs), seed=seed, verbose=False)
    while algorithm.has_next():
        asked = algorithm.ask()
        if asked is None or not len(asked):
            return
        points = [
            tuple(axis.rounded(one.X[name]) for axis, name in zip(axes, names, strict=True)) for one in asked
        ]
        for one, point in zip(asked, points, strict=True):  # what comes of it is of the rounded point
            one.X = {
                name: value if not axis.count else int(value)
                for axis, name, value in zip(axes, names, point, strict=True)
            }

        def tell(outcomes: list[Outcome], asked: Any = asked) -> None:
            for one, outcome in zip(asked, outcomes, strict=True):
                values = (0.0,) * aims if outcome.values is None else outcome.values
                beyond = BEYOND_ALL if outcome.values is None else outcome.beyond
                for name, column in (("F", values), ("G", (beyond,)), ("H", ())):
                    one.set(name, np.array(column, dtype=np.float64))
                one.evaluated.update(("F", "G", "H"))
            algorithm.tell(infills=asked)

        yield points, tell


def _spread(axes: Sequence[Axis], names: Sequence[str], runs: int, seed: int) -> Any:
    """Return the points that are tried first: each axis in as many even parts as there are points, one point in each."""
    from pymoo.core.population import Population

    count = max(generation_size(runs), round(FIRST * runs))
    chance = np.random.default_rng(seed)
    shares = [(chance.permutation(count) + chance.random(count)) / count for _ in axes]
    held = []
    for at in range(count):
        one = {}
        for axis, name, share in zip(axes, names, shares, strict=True):
            one[name] = (
                min(int(share[at] * axis.count), axis.count - 1)
                if axis.count
                else float(axis.low + share[at] * (axis.high - axis.low))
            )
        held.append(one)
    return Population.new(X=held)


def _problem(axes: Sequence[Axis], aims: int) -> Any:
    from pymoo.core.problem import Problem
    from pymoo.core.variable import Choice, Integer, Real

    held: dict[str, Any] = {}
    for at, axis in enumerate(axes):
        if not axis.count:
            held[str(at)] = Real(bounds=(axis.low, axis.high))
        elif axis.ordered:
            held[str(at)] = Integer(bounds=(0, axis.count - 1))
        else:
            held[str(at)] = Choice(options=list(range(axis.count)))
    return Problem(vars=held, n_obj=aims, n_ieq_constr=1)
