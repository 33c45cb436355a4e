"""How wrong may the gain be before the loop swings up: margins by theory, with the delay counted.

The gain of the real step is b, the one reckoned with is b^, their ratio r = b/b^. A wafer's departure is
y - b^ u - foretold = a + (r - 1) b^ u, and b^ u = goal - forecast, so each forecast is fed back times (1 - r).

*One weighted average* (weight w, metrology d wafers late): A_m = (1 - w) A_{m-1} + w (a + (r - 1)(goal - A_{m-d-1})), so

    z^(d+1) - (1 - w) z^d + w (r - 1) = 0.

d = 0 gives z = 1 - w r, stable for 0 < w r < 2 (Ingolfsson & Sachs 1993). At the limit z = exp(i t) and
d t + arg(exp(i t) - (1 - w)) = pi, whose one root gives r = 1 + |exp(i t) - (1 - w)|/w: never below 2, whatever the delay,
since each measurement is held against the settings of its own wafer.

*Moving on from the last setting* (u' = u - w/b^ (y_late - goal)) gives z^(d+1) - z^d + w r = 0 instead: at the limit
exp(i d t)(exp(i t) - 1) = -w r with |exp(i t) - 1| = 2 sin(t/2) and d t + (pi + t)/2 = pi, so t = pi/(2 d + 1) and
w r < 2 sin(pi/(2(2 d + 1))): 2 without delay, 1, 0.618 and 0.445 with one, two and three wafers.

*Any linear estimator*: its forecasts are weighted sums of earlier departures. Where the absolute weights of none add up to more
than S, the loop is stable for |r - 1| < 1/S (small gain), for one average 0 < r < 2.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from planish.errors import DataError, refuse
from planish.hold.control.belief import Estimator, moved

SOURCES = (
    "Control by one weighted average, stable for 0 < weight times gain ratio < 2, variance under white noise 2/(2 - weight times ratio): "
    "Ingolfsson & Sachs 1993 (abstract; both worked out anew here)",
    "Limits with late metrology, sine limit of a loop that moves on from its last setting, small gain of any linear estimator: derived here",
)


class Ratios(NamedTuple):
    """Real over reckoned gain, between which the loop is stable."""

    least: float
    most: float


def integral_limit(delay: int) -> float:
    """Return the limit of weight times ratio for a loop that moves on from its last setting, ``delay`` wafers late."""
    return float(2.0 * np.sin(np.pi / (2.0 * (2 * _whole(delay) + 1))))


def average_limit(weight: float, delay: int) -> float:
    """Return the ratio of gains up to which one weighted average is stable.

    Parameters
    ----------
    weight
        Above 0, at most 1.
    delay
        Wafers by which metrology is late.

    Returns
    -------
    float
        2 or more; the exact limit.
    """
    from scipy.optimize import brentq

    if not 0 < weight <= 1:
        raise DataError(refuse("weight", weight, "above 0 and at most 1"))
    late, kept = _whole(delay), 1.0 - weight

    def turned(t: float) -> float:
        return late * t + float(np.angle(np.exp(1j * t) - kept)) - np.pi

    at = np.pi if late == 0 else float(brentq(turned, 1e-12, np.pi - 1e-12, xtol=1e-14))
    return 1.0 + float(abs(np.exp(1j * at) - kept)) / weight


def small_gain(
    estimator: Estimator, aged: Sequence[float], changed: Sequence[tuple[str, ...]], delay: int
) -> Ratios:
    """Return the ratios of gains for which the loop is surely stable over a course of wafers.

    Parameters
    ----------
    estimator
        Any of them.
    aged
        Of each wafer's pad, (n,), as :class:`planish.hold.control.loop.Coming` has it.
    changed
        Before each wafer, (n,).
    delay
        Wafers by which metrology is late.

    Returns
    -------
    Ratios
        1 - 1/S, but no less than 0, below which a move goes the wrong way, and 1 + 1/S.
    """
    count, late = len(aged), _whole(delay)
    belief = estimator.first(count)  # output j is what a departure of wafer j alone would make of the belief
    beliefs = []
    for wafer in range(count):
        belief = estimator.later(belief, changed[wafer])
        row = estimator.row(aged[wafer])
        off = -(row @ belief.mean)
        off[wafer] += 1.0
        belief = moved(belief, estimator.gain(belief, row), row, off, estimator.spreads.noise)
        beliefs.append(belief)
    most = 0.0
    for wafer in range(late + 1, count):
        ahead = beliefs[wafer - late - 1]
        for passed in range(wafer - late, wafer + 1):
            ahead = estimator.later(ahead, changed[passed])
        most = max(most, float(np.abs(estimator.row(aged[wafer]) @ ahead.mean).sum()))
    reach = 1.0 / max(most, 1e-12)
    return Ratios(max(0.0, 1.0 - reach), 1.0 + reach)


def output_variance(weight: float, ratio: float) -> float:
    """Return the variance of the output over that of white noise under one weighted average without delay.

    2/(2 - w r): y = e - r A, A' = (1 - w r) A + w e (Ingolfsson & Sachs 1993).

    Parameters
    ----------
    weight
        Of the average.
    ratio
        Real over reckoned gain.

    Returns
    -------
    float
        For weight times ratio above 0 and below 2.
    """
    if not 0 < weight * ratio < 2:
        raise DataError(refuse("weight times ratio of gains", weight * ratio, "above 0 and below 2"))
    return 2.0 / (2.0 - weight * ratio)


def _whole(delay: int) -> int:
    if isinstance(delay, bool) or not isinstance(delay, int | np.integer) or not 0 <= delay <= 100:
        raise DataError(refuse("delay", delay, "a whole number of wafers, 0 to 100"))
    return int(delay)
