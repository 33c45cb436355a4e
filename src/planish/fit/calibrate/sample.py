r"""Draws of the free numbers, given the data and what was known before: how likely each value is, scatter and all.

An ensemble of walkers steps by the affine-invariant stretch move: walker X goes to Y + Z (X - Y), with Y another walker
and Z drawn with density proportional to 1/sqrt(z) from 1/a to a, a = 2; it stays with probability 1 - min(1, Z^(d-1)
p(new)/p(old)). The shares of the scatter are drawn with the numbers: that of single values with a density flat in its
logarithm, those of groups and sets flat in the share. None of the libraries that planish rests on has such a sampler.

The full model would be asked tens of thousands of times. In its place stand quadratics of all predictions, fitted to
the full model over the box of four standard errors either way, and held against the full model at some of the
draws: where they are off by more than a third of the scatter, a note says that the draws are not to be trusted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import FitError
from planish.fit.calibrate.scatter import Scatter

if TYPE_CHECKING:
    from planish.fit.calibrate.parameters import Parameter
    from planish.fit.calibrate.solve import Problem, Solution

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Ensemble of walkers with the stretch move: Goodman & Weare 2010, Comm. App. Math. Comp. Sci. 5, 65 "
    "(read as quoted in the manual of rgw)",
)
_STRETCH = 2.0
_BOX = 4.0  # standard errors either way that quadratics stand for
_THIN = 5  # steps between draws that are kept
_FIRST = 300  # steps that are thrown away
_CHECKED = 12  # draws at which the full model is asked
_GOOD = 1.0 / 3.0  # of the scatter, root mean square
_ENOUGH = 100.0  # draws that count as independent
_NONE = 1e-6  # of a share: there is none


@dataclass(frozen=True, slots=True)
class Sampled:
    """Draws of the free numbers.

    Attributes
    ----------
    draws
        Coordinates (m, p).
    level
        Of the intervals.
    accepted
        Share of the steps that were taken.
    independent
        How many of the draws count as independent, the least of all numbers.
    off
        Root mean square of what quadratics and full model differ by at some draws, over the scatter.
    said
        What is to be known of them.
    """

    draws: Array
    level: float
    accepted: float
    independent: float
    off: float
    said: tuple[str, ...]

    def rows(self, parameters: Sequence[Parameter]) -> list[dict[str, Any]]:
        """Return the median and the interval of each number, in the unit in which it is written."""
        ends = np.quantile(self.draws, [0.5 - self.level / 2, 0.5, 0.5 + self.level / 2], axis=0)
        return [
            {
                "parameter": one.path,
                "median": one.shown(one.value(float(ends[1, at]))),
                "low": one.shown(one.value(float(ends[0, at]))),
                "high": one.shown(one.value(float(ends[2, at]))),
                "unit": one.unit,
            }
            for at, one in enumerate(parameters)
        ]


def sample(problem: Problem, solution: Solution, level: float, wanted: int, seed: int) -> Sampled:
    """Return draws of the free numbers.

    Parameters
    ----------
    problem, solution
        Of the fit.
    level
        Of the intervals.
    wanted
        How many draws.
    seed
        Of the draws.

    Raises
    ------
    FitError
        Where the model has too few answers around the fit to stand quadratics on.
    """
    rng = np.random.default_rng(seed)
    errors = np.sqrt(np.maximum(np.diag(solution.estimated.covariance), 1e-300))
    low, high = problem.bounds
    low, high = (
        np.maximum(low, solution.point - _BOX * errors),
        np.minimum(high, solution.point + _BOX * errors),
    )
    foretold = _quadratics(problem, solution, low, high)
    base = solution.scatter
    active = [(int(k), int(c)) for k, c in np.argwhere(base.shares > _NONE)]
    free = solution.point.size
    measured, known = problem.model.measured, problem.precision
    start = problem.model.start

    def likely(at: Array) -> float:
        point, logs = at[:free], at[free:]
        if np.any(point < low) or np.any(point > high) or np.any(np.abs(logs) > 20.0):
            return -np.inf
        shares = base.shares.copy()
        flat = 0.0
        for (kind, column), each in zip(active, logs, strict=True):
            shares[kind, column] = np.exp(each)
            flat += float(each) if column > 0 else 0.0
        scatter = Scatter(base.where, shares, base.widened, base.weights)
        products, size = scatter.products((foretold(point) - measured)[:, None])
        before = float(np.sum(known * (point - start) ** 2))
        return -0.5 * (size + float(products[0, 0]) + before) + flat

    middle = np.concatenate([solution.point, [np.log(base.shares[one]) for one in active]])
    wide = np.concatenate([0.5 * errors, np.full(len(active), 0.1)])
    walkers = 2 * max(2 * middle.size, 12)
    begin = middle + wide * rng.standard_normal((walkers, middle.size))
    begin[:, :free] = np.clip(begin[:, :free], low, high)
    steps = _THIN * -(-wanted // walkers)
    chain, accepted = walk(likely, begin, _FIRST + steps, rng)
    kept = chain[_FIRST:]
    draws = kept[_THIN - 1 :: _THIN, :, :free].reshape(-1, free)[:wanted]
    independent = min(_independent(kept[:, :, at]) for at in range(free))
    off = _off(problem, solution, foretold, draws, rng)
    said = [
        f"draws: {len(draws)} of {walkers} walkers, of which about {independent:.0f} count as independent; quadratics in place "
        f"of the full model are off by {off:.2g} of the scatter at {min(_CHECKED, len(draws))} of them"
    ]
    if off > _GOOD:
        said.append(
            "the quadratics in place of the full model are not good enough: do not trust the draws, the intervals of the "
            "fit rest on the full model"
        )
    if independent < _ENOUGH:
        said.append(f"fewer than {_ENOUGH:g} independent draws: ask for more")
    return Sampled(draws, level, accepted, independent, off, tuple(said))


def walk(
    likely: Callable[[Array], float], begin: Array, steps: int, rng: np.random.Generator
) -> tuple[Array, float]:
    """Let an ensemble of walkers step by the stretch move.

    Parameters
    ----------
    likely
        Logarithm of the density at a place, (d,).
    begin
        Where the walkers stand, (w, d), w even and more than d.
    steps
        How many each takes.
    rng
        Where the numbers are drawn from.

    Returns
    -------
    tuple[Array, float]
        Places after each step, (steps, w, d), and the share of moves that were taken.
    """
    here = begin.copy()
    count, size = here.shape
    half = count // 2
    density = np.array([likely(each) for each in here])
    chain = np.empty((steps, count, size))
    taken = 0
    for step in range(steps):
        for mine, others in (
            (np.arange(half), np.arange(half, count)),
            (np.arange(half, count), np.arange(half)),
        ):
            stretch = ((_STRETCH - 1.0) * rng.random(mine.size) + 1.0) ** 2 / _STRETCH
            partner = here[others[rng.integers(others.size, size=mine.size)]]
            there = partner + stretch[:, None] * (here[mine] - partner)
            new = np.array([likely(each) for each in there])
            gain = (size - 1) * np.log(stretch) + new - density[mine]
            go = np.log(rng.random(mine.size)) < gain
            here[mine[go]], density[mine[go]] = there[go], new[go]
            taken += int(go.sum())
        chain[step] = here
    return chain, taken / (steps * count)


def _quadratics(problem: Problem, solution: Solution, low: Array, high: Array) -> Callable[[Array], Array]:
    """Return quadratics of all predictions, fitted to the full model over a box."""
    from scipy.stats import qmc

    free = solution.point.size
    terms = 1 + free + free * (free + 1) // 2
    draws = qmc.Sobol(free, scramble=False).random(2 ** int(np.ceil(np.log2(2 * terms + 1))))[1:]
    points = np.concatenate([low + draws * (high - low), solution.point[None, :]])
    found = problem.model.predictions(list(points))
    good = [index for index, each in enumerate(found) if not isinstance(each, str)]
    if len(good) < terms + free:
        raise FitError(
            f"samples: the model has an answer at {len(good)} of {len(points)} places around the fit: must be at least "
            f"{terms + free} to draw from it (give narrower bounds, or fit without draws)"
        )
    half = np.where(high > low, 0.5 * (high - low), 1.0)
    middle = 0.5 * (high + low)
    pairs = np.triu_indices(free)

    def basis(some: Array) -> Array:
        scaled = (some - middle) / half
        return np.concatenate(
            [np.ones((len(some), 1)), scaled, scaled[:, pairs[0]] * scaled[:, pairs[1]]], axis=1
        )

    values = np.stack([np.asarray(found[index]) for index in good])
    factors = np.linalg.lstsq(basis(points[good]), values, rcond=None)[0]
    return lambda point: np.asarray((basis(point[None, :]) @ factors)[0])


def _off(
    problem: Problem,
    solution: Solution,
    foretold: Callable[[Array], Array],
    draws: Array,
    rng: np.random.Generator,
) -> float:
    """Return by how much quadratics and full model differ at some draws, over the scatter."""
    some = draws[rng.choice(len(draws), size=min(_CHECKED, len(draws)), replace=False)]
    found = problem.model.predictions(list(some))
    apart = [
        solution.scatter.whitened(foretold(point) - each)
        for point, each in zip(some, found, strict=True)
        if not isinstance(each, str)
    ]
    return float(np.sqrt(np.mean(np.concatenate(apart) ** 2))) if apart else float("inf")


def _independent(chain: Array) -> float:
    """Return how many of the places of walkers count as independent, (steps, w), by the time over which they hang together.

    The sum of the autocorrelations of the walkers' mean is taken up to five times itself (Sokal's rule, from memory).
    """
    steps, walkers = chain.shape
    centred = chain - chain.mean()
    spectrum = np.fft.rfft(centred, n=2 * steps, axis=0)
    together = np.fft.irfft(np.abs(spectrum) ** 2, axis=0)[:steps].mean(axis=1)
    if not together[0] > 0:
        return 0.0
    times = 2.0 * np.cumsum(together / together[0]) - 1.0
    window = np.flatnonzero(np.arange(steps) >= 5.0 * times)
    time = float(times[window[0]] if window.size else times[-1])
    return float(steps * walkers / max(time, 1.0))
