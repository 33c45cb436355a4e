"""All shapes of change weighed on the measured wafers: shares of the causes, the likeliest way of each, and how well it fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.hold.causes.noise import STATED, Noise, noise_of
from planish.hold.causes.posterior import Nuisance, Weighed, weigh
from planish.hold.causes.seen import EXTRAS, Seen
from planish.hold.causes.signatures import ASIDE, Course, Shapes
from planish.hold.causes.ways import CAUSES, Cause, Way

Array = NDArray[np.float64]
LEVEL = 30.0  # standard deviations that the level of a figure may be off: the model's level is not relied on
COURSE = 0.5  # share by which the ageing that the lot foretells may be off
BATCH = 0.02  # of the rate from batch to batch, as a lot's chance has it
# What could be measured beside: standard deviation of a wafer's reading (in the units of the figures).
OTHER = {**{name: STATED[name] for name in EXTRAS}, "groove": 10.0}


@dataclass(frozen=True, slots=True, repr=False)
class Held(Record):
    """The likeliest way of one cause.

    Attributes
    ----------
    cause
        Which.
    share
        Of the posterior, of all its ways and onsets.
    log_share
        Its natural logarithm.
    shape
        Number of its likeliest shape.
    size, sd
        Of that.
    onset_share
        Share of the cause's posterior that lies within one measured wafer of the onset told.
    misfit
        Chi-squared that is left with it.
    """

    cause: Cause
    share: float
    log_share: float
    shape: int
    size: float
    sd: float
    onset_share: float
    misfit: float


@dataclass(frozen=True, slots=True, repr=False)
class Judged(Record):
    """What the wafers say of all causes.

    Attributes
    ----------
    held
        Likeliest first.
    evidence
        Logarithm of the likelihood of a change of any kind over that of none.
    misfit, freedom
        Chi-squared of the wafers in the window with the likeliest cause, and of how many figures.
    plain
        That chi-squared without a change.
    noise
        Between wafers.
    residual
        (wafers, figures): measured less the model's course.
    whitened
        The shapes (figures of all wafers, K) as they were weighed.
    nuisance
        As they were weighed.
    """

    held: tuple[Held, ...]
    evidence: float
    misfit: float
    freedom: int
    plain: float
    noise: Noise
    residual: Array
    whitened: Array
    nuisance: Nuisance

    def fits(self, at_most: float) -> bool:
        """Return whether the likeliest cause leaves no more than so many times the expected chi-squared."""
        return self.misfit <= at_most * self.freedom


def picked(seen: Seen) -> NDArray[np.int64]:
    """Return which of the model's figures were measured."""
    count = 2 * seen.rings.radius.size
    return np.array([*range(count), *(count + ASIDE.index(name) for name in seen.extras)])


def judged(seen: Seen, course: Course, shapes: Shapes) -> Judged:
    """Weigh all shapes of change on the measured wafers.

    Parameters
    ----------
    seen
        The wafers.
    course
        When they were polished, what happened, and where the window begins.
    shapes
        What changes do.

    Returns
    -------
    Judged
        Shares of the causes.
    """
    columns = picked(seen)
    residual = seen.values - shapes.nominal[:, columns]
    directions = shapes.directions[:, columns]
    noise = noise_of(residual[: course.window], directions, seen.rings.sites, seen.extras)
    wafers, figures = residual.shape
    y = noise.whiten(residual - residual[: course.window].mean(axis=0))
    shape = noise.whiten(np.moveaxis(shapes.shape[:, columns], 2, 0))
    flat = shape.reshape(shape.shape[0], -1).T
    nuisance = _nuisance(noise, course, shapes.nominal[:, columns], directions[2])
    ways = [shapes.ways[number] for number in shapes.way]
    weighed = weigh(
        y.ravel(),
        flat,
        np.array([way.spread for way in ways]),
        np.array([way.one_sided for way in ways]),
        nuisance,
    )
    # Chi-squared of the window, foretold by the rows before it.
    head = y[: course.window].ravel()
    known = Nuisance(nuisance.columns[: head.size]).misfit(head)
    freedom = (wafers - course.window) * figures
    best = int(np.argmax(weighed.ratio + np.log(shapes.prior)))
    left = nuisance.misfit(y.ravel() - weighed.mean[best] * flat[:, best]) - known
    # What even the best leaves too much of, the model does not know: all evidence counts less by as much.
    logs = weighed.ratio / max(1.0, left / freedom) + np.log(shapes.prior)
    top = float(logs.max())
    evidence = top + float(np.log(np.exp(logs - top).sum()))
    logs = logs - evidence
    held = tuple(
        sorted(
            (_of(cause, shapes, ways, logs, weighed, y.ravel(), flat, nuisance, known) for cause in CAUSES
             if any(way.cause == cause for way in ways)),
            key=lambda one: -one.log_share,
        )
    )  # fmt: skip
    return Judged(
        held,
        evidence,
        held[0].misfit,
        freedom,
        nuisance.misfit(y.ravel()) - known,
        noise,
        residual,
        flat,
        nuisance,
    )


def _of(
    cause: Cause,
    shapes: Shapes,
    ways: Sequence[Way],
    logs: Array,
    weighed: Weighed,
    y: Array,
    flat: Array,
    nuisance: Nuisance,
    known: float,
) -> Held:
    mine = np.array([way.cause == cause for way in ways])
    own = np.where(mine, logs, -np.inf)  # as logarithms: a share may be too small for a number
    best = int(np.argmax(own))
    parts = np.exp(own - own[best])
    near = np.abs(shapes.onset - shapes.onset[best]) <= 1
    total = float(own[best] + np.log(parts.sum()))
    return Held(
        cause,
        float(np.exp(total)),
        total,
        best,
        float(weighed.mean[best]),
        float(weighed.sd[best]),
        float(parts[near].sum() / parts.sum()),
        nuisance.misfit(y - weighed.mean[best] * flat[:, best]) - known,
    )


def _nuisance(noise: Noise, course: Course, nominal: Array, rate: Array) -> Nuisance:
    """Return what changes anyway: levels, how much of the foretold ageing comes, and the rate from batch to batch."""
    wafers, figures = nominal.shape
    levels = LEVEL * np.kron(np.ones((wafers, 1)), np.eye(figures))
    columns = [levels, COURSE * noise.whiten(nominal - nominal.mean(axis=0)).reshape(-1, 1)]
    direction = noise.whiten(rate[None])[0]
    batches = sorted(
        {event.wafer - 1 for event in course.events if event.kind == "slurry" and event.value is None}
    )
    for at in batches:
        later = [other for other in batches if other > at]
        of = (course.at >= at) & (course.at < (later[0] if later else course.at[-1] + 1))
        columns.append(BATCH * np.kron(of[:, None], direction[:, None]))
    return Nuisance(np.concatenate(columns, axis=1))


def angle_between(found: Judged, one: Held, other: Held) -> float:
    """Return the angle [rad] between what two causes do, as the measured figures show it.

    Parameters
    ----------
    found
        All.
    one, other
        Two of its causes.
    """
    return found.nuisance.angle(found.whitened[:, one.shape], found.whitened[:, other.shape])


def telling(found: Judged, shapes: Shapes, seen: Seen, one: Held, other: Held) -> tuple[str, float] | None:
    """Return which figure that was not measured would tell two causes apart best, and by how many standard deviations.

    Parameters
    ----------
    found, shapes, seen
        What was weighed.
    one, other
        Two causes.

    Returns
    -------
    tuple or None
        Name of :data:`~planish.hold.causes.signatures.ASIDE`; None where all were measured.
    """
    first = 2 * seen.rings.radius.size
    apart = one.size * shapes.shape[:, first:, one.shape] - other.size * shapes.shape[:, first:, other.shape]
    # a level that is the same for both tells nothing, and the rows before the onset know it
    far = {
        name: float(np.linalg.norm(apart[:, number])) / OTHER[name]
        for number, name in enumerate(ASIDE)
        if name not in seen.extras
    }
    return max(far.items(), key=lambda each: each[1]) if far else None
