"""How what is left of a drawn wafer answers to settings, near a setting, without polishing it.

What is removed at a place is taken as R(u) exp(e(u)): R what is removed from the mean wafer with nothing moved, a
quadratic in doses u by the derivatives of the full model; e what the draw adds to its logarithm. Of each spread, e has a
part in the amount it is moved by and one in its square, from the full model with the spread one standard deviation up and
down, and both have a slope in doses, from the derivatives of those runs. A step that stops on an amount takes with
every draw the amount that it takes with nothing moved, and so as much more of it as doses move. Spreads add in e, so they multiply in what is
removed. The wafer that comes in, and the age of the pad, add to e what the full model says of each at the setting.
It is good for a search; what is printed is counted on the full model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import PlanishError
from planish.predict.wafer.bands import Moved, drawn
from planish.tuning.amounts import amounts_at, amounts_for
from planish.tuning.chance.draws import Draws
from planish.tuning.course import Course
from planish.tuning.doses import Doses
from planish.tuning.incoming import with_top
from planish.tuning.influence import influence, influence_and_bends

if TYPE_CHECKING:
    from planish.setup.models import Setup
    from planish.setup.si import Film
    from planish.tuning.course import Amounts, Run, Settings
    from planish.tuning.limits import Freedom

Array = NDArray[np.float64]
NM = 1e-9
_LEAST = 1e-3  # nm: what is removed at a place is taken as no less
_NOTHING = 1e-9  # relative: a spread that changes what is removed by less does nothing


class Sides:
    """The recipe with every spread moved one standard deviation up and down, alone; set up once, polished often.

    Attributes
    ----------
    moved
        The spreads that do something to what is removed.
    idle
        The names of those that do nothing.
    """

    def __init__(self, setup: Setup, moved: Sequence[Moved], middle: Course, settings: Settings) -> None:
        self.middle = middle
        amounts = amounts_for(middle, settings)
        base = self._removed(self.middle, settings, amounts)
        kept: list[tuple[Moved, Course | None, Course | None]] = []
        self.idle: list[str] = []
        for one in moved:
            up, down = (self._side(setup, one, sign, middle.rig.wafer.films[0]) for sign in (1.0, -1.0))
            acts = any(
                side is not None
                and float(np.abs(self._removed(side, settings, amounts) / base - 1.0).max()) > _NOTHING
                for side in (up, down)
            )
            if acts:
                kept.append((one, up, down))
            else:
                self.idle.append(one.name)
        self.moved = tuple(one for one, _, _ in kept)
        self.courses = [(up, down) for _, up, down in kept]

    @staticmethod
    def _side(setup: Setup, one: Moved, amount: float, top: Film) -> Course | None:
        try:
            return Course(with_top(drawn(setup, [one], [amount]), top))
        except PlanishError:
            return None  # the other side tells of both

    @staticmethod
    def _removed(course: Course, settings: Settings, amounts: Amounts) -> Array:
        run = course.run(settings, amounts=amounts)
        away = course.counted.read @ (course.incoming.sum(axis=0) - run.stack)
        return np.asarray(np.maximum(away / NM, _LEAST))


@dataclass(frozen=True, slots=True)
class Response:
    """Of many draws near a setting, over the places that count (m,) and doses (n,).

    ``removed`` (m,) [nm] there, with its ``slopes`` (m, n) and ``bends`` (m, n, n); ``coming`` (d, m) [nm] of each draw;
    ``log`` (d, m) what each adds to the logarithm of what is removed, by ``weights`` (d, k) times ``turns`` (k, m, n) with
    doses; ``doses`` there and ``shares`` of the area.
    """

    doses: Array
    removed: Array
    slopes: Array
    bends: Array
    coming: Array
    log: Array
    weights: Array
    turns: Array
    shares: Array

    def left(self, by: Array) -> Array:
        """Return what is left of each draw [nm], (d, m), for doses moved by (n,)."""
        return np.maximum(self.coming - self._taken(by)[0], 0.0)

    def _taken(self, by: Array) -> tuple[Array, Array, Array]:
        """Return what is removed of each draw, and R with its slopes."""
        slopes = self.slopes + self.bends @ by
        plain = self.removed + 0.5 * (self.slopes + slopes) @ by
        return plain * np.exp(self.log + self.weights @ (self.turns @ by)), plain, slopes

    def nominal(self, by: Array) -> tuple[float, Array]:
        """Return the mean removed from the mean wafer with nothing moved [nm], and its slopes (n,)."""
        _, plain, slopes = self._taken(by)
        return float(self.shares @ plain), np.asarray(self.shares @ slopes)

    def pulled(self, by: Array, slope: Array) -> Array:
        """Return the gradient by doses of a sum over draws and places.

        Parameters
        ----------
        by
            By how much doses are moved, (n,).
        slope
            Of the sum by what is left, (d, m).

        Returns
        -------
        Array
            (n,).
        """
        taken, plain, slopes = self._taken(by)
        pull = -slope * taken * (self.coming > taken)
        by_plain = (pull.sum(axis=0) / np.maximum(plain, _LEAST)) @ slopes
        by_turn = np.einsum("km,kmn->n", self.weights.T @ pull, self.turns, optimize=True)
        return np.asarray(by_plain + by_turn)


def response(
    sides: Sides,
    freedom: Freedom,
    doses: Doses,
    settings: Settings,
    draws: Draws,
    tops: Sequence[Film],
    pace: Array,
) -> Response:
    """Return how draws answer near settings.

    Parameters
    ----------
    sides
        The recipe with each spread moved.
    freedom, doses
        What may move.
    settings
        Where.
    draws
        Of the spreads of ``sides``, of the wafers and of the ages.
    tops
        The films that may come in.
    pace
        Of each age, (ages, n_r).

    Returns
    -------
    Response
        Of all draws.
    """
    course, free = sides.middle, freedom.free
    read, at = course.counted.read / NM, doses.pack(settings)
    run = course.run(settings)
    stops = amounts_at(course, run)
    answers = influence_and_bends(course, run, free)
    alone = _with_times(free, stops)
    nominal = answers.first if np.array_equal(alone, free) else influence(course, run, alone)
    removed = np.maximum(read @ (course.incoming.sum(axis=0) - run.stack), _LEAST)
    slopes, bends = -doses.slopes(at, read, answers.first), -doses.bends(at, read, answers)

    def log_of(other: Course) -> tuple[Array, Array]:
        there = other.run(settings, run, amounts=stops)
        taken = np.maximum(read @ (other.incoming.sum(axis=0) - there.stack), _LEAST)
        first = _as_much(influence(other, there, alone), nominal, stops, course.counted.weights)
        steep = -doses.slopes(at, read, first)
        return np.log(taken / removed), steep / taken[:, None] - slopes / removed[:, None]

    none = np.zeros(removed.size), np.zeros(slopes.shape)
    first, second, turns = [], [], []
    for up, down in sides.courses:
        high, low = (None if side is None else log_of(side) for side in (up, down))
        if high is None or low is None:  # one side alone: straight
            only, sign = (low, -1.0) if high is None else (high, 1.0)
            value, turn = only if only is not None else none
            high, low = (sign * value, sign * turn), (-sign * value, -sign * turn)
        first.append(0.5 * (high[0] - low[0]))
        second.append(0.5 * (high[0] + low[0]))
        turns += [0.5 * (high[1] - low[1]), 0.5 * (high[1] + low[1])]
    amounts = draws.amounts
    weights = np.stack([amounts, amounts**2], axis=2).reshape(amounts.shape[0], -1)
    by_wafer, coming = [], []
    for top in tops:
        other = Course(with_top(course.rig, top))
        there = other.run(settings, run, amounts=stops)
        came = read @ other.incoming.sum(axis=0)
        coming.append(came)
        by_wafer.append(np.log(np.maximum(came - read @ there.stack, _LEAST) / removed))
    log = np.array(by_wafer)[draws.wafer]
    if first:
        log = log + amounts @ np.array(first) + amounts**2 @ np.array(second)
    if pace.shape[0]:
        old = _aged(course, run, stops, pace) @ read.T
        aged = np.log(np.maximum(old, _LEAST) / removed)
        log = log + np.where((draws.age > 0)[:, None], aged[draws.age - 1], 0.0)
    return Response(
        doses=at,
        removed=removed,
        slopes=slopes,
        bends=bends,
        coming=np.array(coming)[draws.wafer],
        log=log,
        weights=weights,
        turns=np.array(turns) if turns else np.zeros((0, *slopes.shape)),
        shares=course.counted.shares,
    )


def _aged(course: Course, run: Run, amounts: Amounts, pace: Array) -> Array:
    """Return what is removed as pad and disk age, where steps that stop on amounts still do, (ages, n_r) [m]."""
    weights, begins = course.counted.weights, [passed.left.sum(axis=0) for passed in run.steps]
    made, nominal = np.zeros((pace.shape[0], weights.size)), np.zeros(weights.size)
    for step, amount, begin, end in zip(
        course.rig.steps, amounts, begins, [*begins[1:], run.stack], strict=True
    ):
        taken = begin - end
        own = pace * taken
        if amount is not None:
            wanted = np.full(pace.shape[0], float(taken @ weights))
            if step.stop == "remaining":  # and so makes up for what the steps before took more or less
                wanted = wanted + float(nominal @ weights) - made @ weights
            own = own * (wanted / np.maximum(own @ weights, 1e-15))[:, None]
        made, nominal = made + own, nominal + taken
    return made


def _with_times(free: NDArray[np.bool_], amounts: Amounts) -> NDArray[np.bool_]:
    """Return what is free, and the times of steps that stop on amounts."""
    alone = free.copy()
    alone[:, -1] |= [amount is not None for amount in amounts]
    return alone


def _as_much(first: Array, nominal: Array, amounts: Amounts, weights: Array) -> Array:
    """Return influences of a drawn recipe whose steps that stop on an amount follow the amount of the nominal one.

    Parameters
    ----------
    first
        At the drawn recipe's own pressures and times, (steps, zones + 2, n_r).
    nominal
        The same with nothing moved.
    amounts
        On which steps stop.
    weights
        Of the mean, (n_r,).

    Returns
    -------
    Array
        As ``first``: where a setting changes what the nominal step takes, in the mean, the drawn one's time makes up for what
        it would take otherwise.
    """
    made = first.copy()
    for step, amount in enumerate(amounts):
        if amount is None:
            continue
        by_time, wanted = made[step, -1].copy(), nominal[step] @ weights
        mean = float(by_time @ weights)
        if not mean < 0.0:
            continue
        made[step, -1] = 0.0
        made[step] += np.outer((wanted - made[step] @ weights) / mean, by_time)
    return made
