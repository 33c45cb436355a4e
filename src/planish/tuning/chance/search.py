"""The settings with the highest chance of meeting all limits, as far as draws answer as foreseen near a setting.

A count of draws is flat between its steps, so what is made large is a smooth one: the mean over draws of the product over
limits of the normal distribution of the room to each limit, over a width that shrinks. It is made large by SciPy's SLSQP
within the limits of the settings; then the draws' answers are worked out anew at what was found, and it is tried again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.tuning.chance.meet import Meet, figures, met

if TYPE_CHECKING:
    from planish.tuning.chance.response import Response
    from planish.tuning.course import Settings
    from planish.tuning.doses import Doses

Array = NDArray[np.float64]
WIDTHS = (1.0, 0.4, 0.15)  # of the room to a limit, over the figure's own scatter
REACH = (2.0, 1.0)  # how far doses may move at once, in their scales: in the first rounds, and in those after
ROUNDS = 4
_LEAST_SCALE = 1e-3  # nm or %: no figure scatters by less


@dataclass(frozen=True, slots=True)
class Best:
    """Settings, the chance foreseen there, and how often it was foreseen anew."""

    settings: Settings
    foreseen: float
    rounds: int


def highest(
    answers: Callable[[Settings], Response],
    doses: Doses,
    start: Settings,
    limits: Sequence[Meet],
    *,
    hold_mean: bool,
) -> Best:
    """Return the settings with the highest chance that a search from here leads to.

    Parameters
    ----------
    answers
        How draws answer near settings; the same draws each time.
    doses
        What the search moves in, with the limits of the settings.
    start
        Within these.
    limits
        To be met.
    hold_mean
        Whether what is removed from the mean wafer stays as it is, where no limit holds the thickness.

    Returns
    -------
    Best
        Never foreseen worse than the start.
    """
    here = answers(start)
    scales = _scales(here, limits)
    best = Best(start, chance(here, np.zeros(here.doses.size), limits), 1)
    mean = here.nominal(np.zeros(here.doses.size))[0]
    for count in range(ROUNDS):
        by = _climbed(
            here, doses, limits, scales, reach=REACH[min(count, 1)], mean=mean if hold_mean else None
        )
        settings = doses.unpack(here.doses + by)
        there = answers(settings)
        found = chance(there, np.zeros(by.size), limits)
        if found <= best.foreseen:
            return Best(best.settings, best.foreseen, count + 2)
        best, here = Best(settings, found, count + 2), there
    return best


def chance(at: Response, by: Array, limits: Sequence[Meet]) -> float:
    """Return the share of draws that are foreseen to meet all limits.

    Parameters
    ----------
    at
        How draws answer.
    by
        By how much doses are moved, (n,).
    limits
        To be met.
    """
    values = figures(limits, at.left(by), at.shares)
    return float(met(limits, values).all(axis=1).mean())


def _scales(at: Response, limits: Sequence[Meet]) -> list[float]:
    values = figures(limits, at.left(np.zeros(at.doses.size)), at.shares)
    return [max(float(one), _LEAST_SCALE) for one in values.std(axis=0)]


def _climbed(
    at: Response,
    doses: Doses,
    limits: Sequence[Meet],
    scales: Sequence[float],
    *,
    reach: float,
    mean: float | None,
) -> Array:
    """Return by how much doses are moved for the highest chance foreseen."""
    from scipy.optimize import minimize

    best = np.zeros(at.doses.size)
    highest_yet = chance(at, best, limits)
    rows, room = doses.matrix, doses.most - doses.matrix @ at.doses
    held: list[dict[str, Any]] = [
        {"type": "ineq", "fun": lambda by: room - rows @ by, "jac": lambda _: -rows}
    ]
    if mean is not None:
        held.append(
            {
                "type": "eq",
                "fun": lambda by: at.nominal(by)[0] - mean,
                "jac": lambda by: at.nominal(by)[1][None],
            }
        )
    by = best
    for width in WIDTHS:
        found = minimize(
            lambda one, width=width: _unlikely(at, one, limits, scales, width),
            by,
            jac=True,
            method="SLSQP",
            bounds=[(-reach, reach)] * by.size,
            constraints=held,
            options={"maxiter": 60, "ftol": 1e-6},
        )
        if not np.all(np.isfinite(found.x)):
            break
        by = np.clip(found.x, -reach, reach)
        share = chance(at, by, limits)
        if share > highest_yet and np.all(rows @ by <= room + 1e-7):
            best, highest_yet = by, share
    return best


def _unlikely(
    at: Response, by: Array, limits: Sequence[Meet], scales: Sequence[float], width: float
) -> tuple[float, Array]:
    """Return minus the smooth chance, and its gradient by doses."""
    from scipy.special import ndtr

    left = at.left(by)
    kept = np.ones(left.shape[0])
    parts: list[
        tuple[Array, Array]
    ] = []  # the factor of each end, and the slope of its logarithm by what is left
    for limit, scale in zip(limits, scales, strict=True):
        values = limit.figure.of(left, at.shares)
        for end, sign in ((limit.low, 1.0), (limit.high, -1.0)):
            if not np.isfinite(end):
                continue
            room = sign * (values.value - end) / (width * scale)
            factor = np.maximum(ndtr(room), 1e-300)
            density = np.exp(-0.5 * room**2) / np.sqrt(2.0 * np.pi)
            kept = kept * factor
            parts.append((density / factor * sign / (width * scale), values.slope))
    slope = np.zeros_like(left)
    for steep, by_left in parts:
        slope += (kept * steep)[:, None] * by_left
    count = float(left.shape[0])
    return -float(kept.mean()), -at.pulled(by, slope / count)
