r"""What the data cannot tell: directions in which the free numbers may go together without the data minding.

With the derivatives whitened by the scatter and each coordinate counted in its scale (what was known of it before,
else a loose one), the singular values say how well the data alone tell each direction: to 1 / sigma of the scale. A
direction told no better than to a whole scale is not told. It is named by the numbers that go into it; where all of
them go by their logarithm, what is told in its place is a product of powers of them. Where one number's interval has no
end, that number is not told either, whatever the derivatives say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.fit.calibrate.doubt import Interval
from planish.fit.calibrate.parameters import Parameter
from planish.fit.calibrate.solve import Problem, Solution

Array = NDArray[np.float64]

#: A direction that the data tell to no less than this share of its scale is not told.
UNTOLD = 1.0
_TAKES_PART = 0.3  # of the largest component
_ALIKE = 0.1  # powers this near to 1 are taken for 1
_NOTHING = 1e-6  # of the largest singular value: less is nothing
_TIED = 0.99  # correlation by the data alone above which two numbers are hardly told apart
_WELL = 0.05  # of its scale: a number that the data tell this well is told, whatever it goes along with


@dataclass(frozen=True, slots=True)
class Untold:
    """One direction that the data do not tell.

    Attributes
    ----------
    paths
        Of the numbers that go into it.
    direction
        How far each goes, in coordinates (k,).
    doubt
        How far one may go along it, as a multiple of its scale; infinite where the data do not mind at all.
    words
        What that means.
    """

    paths: tuple[str, ...]
    direction: Array
    doubt: float
    words: str


def untold(problem: Problem, solution: Solution, found: Sequence[Interval] = ()) -> tuple[Untold, ...]:
    """Return the directions that the data alone do not tell, the least told first.

    Parameters
    ----------
    problem, solution
        Of the fit.
    found
        Intervals, for those without an end.
    """
    parameters = problem.model.parameters
    scales = problem.scales
    slope = solution.scatter.whitened(solution.jacobian) * scales
    _, sizes, ways = np.linalg.svd(slope, full_matrices=True)
    sizes = np.concatenate([sizes, np.zeros(len(parameters) - sizes.size)])
    out: list[Untold] = []
    for size, way in sorted(zip(sizes, ways, strict=True), key=lambda pair: float(pair[0])):
        if size > 0 and 1.0 / size < UNTOLD:
            continue
        doubt = math.inf if size <= _NOTHING * sizes.max() else 1.0 / size
        out.append(_named(parameters, way * scales, _parts(slope, way), doubt))
    out += _tied(parameters, slope, scales, out)
    return _ended(parameters, found, out)


def _ended(
    parameters: Sequence[Parameter], found: Sequence[Interval], known: Sequence[Untold]
) -> tuple[Untold, ...]:
    """Add what intervals without an end say."""
    out = list(known)
    together = {path for one in out if len(one.paths) > 1 for path in one.paths}
    for one, interval in zip(parameters, found, strict=False):
        if not (interval.open_low or interval.open_high) or one.path in together:
            continue
        side = "upwards" if interval.open_high else "downwards"
        beyond = "above" if interval.open_high else "below"
        side = "either way" if interval.open_low and interval.open_high else side
        words = f"the data allow any value of {one.path} {side}, to the bound of the search"
        if interval.low == interval.high:  # not even the bound itself is worse than what lies within
            words = f"{one.path} ends on the bound of the search: what the data ask for lies {beyond} it"
        same = next((at for at, each in enumerate(out) if each.paths == (one.path,)), None)
        if same is None:
            out.append(Untold((one.path,), np.ones(1), math.inf, words))
        else:
            out[same] = replace(out[same], words=f"{out[same].words}; {words}")
    return tuple(out)


def _tied(
    parameters: Sequence[Parameter], slope: Array, scales: Array, known: Sequence[Untold]
) -> list[Untold]:
    """Return pairs that the data alone hardly tell apart, though each direction is told."""
    information = slope.T @ slope
    if known or np.linalg.matrix_rank(information) < len(parameters):
        return []
    covariance = np.linalg.inv(information)
    errors = np.sqrt(np.diag(covariance))
    out = []
    for i in range(len(parameters)):
        for j in range(i):
            together = covariance[i, j] / (errors[i] * errors[j])
            if abs(together) > _TIED and max(errors[i], errors[j]) > _WELL:
                way = np.zeros(len(parameters))
                way[i], way[j] = errors[i], math.copysign(errors[j], together)
                way /= np.linalg.norm(way)
                size = float(np.hypot(errors[i], errors[j]))  # way times it: one standard error of both
                one = _named(parameters, way * scales, np.flatnonzero(way), float(errors[i]), size)
                words = one.words.replace("are not told apart", "are hardly told apart")
                out.append(
                    Untold(one.paths, one.direction, one.doubt, f"{words} (correlation {together:.3f})")
                )
    return out


def _parts(slope: Array, way: Array) -> NDArray[np.int64]:
    """Return which numbers go into a direction: those that go far in their scale, and those that make up for others.

    Where nothing happens along a direction although one number alone would do much, others undo that.
    """
    alone = np.linalg.norm(slope, axis=0) * np.abs(way)
    far = np.abs(way) > _TAKES_PART * np.abs(way).max()
    undo = (alone > 1.0) & (alone > _TAKES_PART * alone.max())
    return np.flatnonzero(far | undo)


def _named(
    parameters: Sequence[Parameter],
    direction: Array,
    part: NDArray[np.int64],
    doubt: float,
    most: float = math.inf,
) -> Untold:
    """Return a direction with its words; the example in them goes no further along it than ``most``."""
    part = part[
        np.argsort(-np.abs(direction[part] / [parameters[int(at)].scale for at in part]), kind="stable")
    ]
    some = [parameters[int(at)] for at in part]
    along = direction[part]
    paths = tuple(one.path for one in some)
    if len(some) == 1:
        one = some[0]
        much = "not at all" if math.isinf(doubt) else f"only to ± {_moved(one, doubt * one.scale)}"
        before = f", against ± {_moved(one, one.known)} stated before" if one.known is not None else ""
        return Untold(paths, along, doubt, f"{one.path} is not told by these data ({much}{before})")
    if along[0] < 0:
        along = -along
    small = along * min(_small(some, along) / float(np.abs(along).max()), most)
    hidden = ", ".join(
        f"{_changed(one, float(step))} {one.path}" for one, step in zip(some, small, strict=True)
    )
    words = f"{' and '.join(paths)} are not told apart: together {hidden} change next to nothing"
    if len(some) == 2 and all(one.log for one in some):
        words += f"; only {_product(paths, along)} is told"
    return Untold(paths, along, doubt, words)


def _small(some: Sequence[Parameter], along: Array) -> float:
    """Return how far the largest goes in an example: a tenth of a logarithm, or a fifth of a loose scale."""
    largest = some[int(np.argmax(np.abs(along)))]
    return 0.1 if largest.log else 0.2 * largest.loose


def _product(paths: tuple[str, ...], along: Array) -> str:
    """Return what of two numbers is told: the product of powers that stays along their direction."""
    power = -along[0] / along[1]
    size = abs(power)
    told = "" if abs(size - 1.0) < _ALIKE else f"^{size:.2g}"
    if power > 0:
        return f"the product {paths[0]} x {paths[1]}{told}"
    return f"the quotient {paths[0]} / {paths[1]}{told}"


def _changed(one: Parameter, step: float) -> str:
    if one.log:
        share = 100.0 * math.expm1(step)
        return f"{abs(share):.3g} % {'more' if share > 0 else 'less'}"
    return f"{_moved(one, abs(step))} {'more' if step > 0 else 'less'}"


def _moved(one: Parameter, size: float) -> str:
    """Return a change of a coordinate in words."""
    if one.log:
        return f"{100.0 * math.expm1(size):.3g} %"
    number = abs(one.shown(one.start + size) - one.shown(one.start))
    return f"{number:.3g} {units.pretty(one.unit)}".strip()
