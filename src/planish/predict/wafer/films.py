"""A stack of films polished away from the top: which film is exposed where, and when it clears."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.setup.si import Step

Array = NDArray[np.float64]


def stop_amount(step: Step, left: Array, weights: Array) -> tuple[slice, float]:
    """Return which films a step's stop on an amount counts, and how much must go of them.

    Parameters
    ----------
    step
        Of the recipe. "removed" counts all films, "remaining" the one that is on top as the step begins.
    left
        Of each film [m], (films, points).
    weights
        Of the mean, (points,).

    Returns
    -------
    tuple[slice, float]
        The films, and the amount [m].
    """
    if step.stop != "remaining":
        return slice(None), step.stop_value
    thickness = left @ weights
    top = int(np.argmax(thickness > 0))
    return slice(top, top + 1), float(thickness[top]) - step.stop_value


def on_top(left: Array, weights: Array) -> int | None:
    """Return which film lies open over most of the wafer; None where none is left.

    Parameters
    ----------
    left
        Of each film [m], (films, points).
    weights
        Of the points, (points,).
    """
    there = left > 0
    if there[0].all():
        return 0
    first = np.argmax(there, axis=0)
    area = np.bincount(first, weights=np.where(there.any(axis=0), weights, 0.0), minlength=left.shape[0])
    at = int(np.argmax(area))
    return at if area[at] > 0 else None


def cumulative(times: Array, rates: Array) -> Array:
    """Return an integral over time from the first time on.

    Parameters
    ----------
    times
        [s], (n_t,).
    rates
        [m/s], (n_t, n).

    Returns
    -------
    Array
        [m], (n_t, n); the first row is zero.

    Notes
    -----
    Trapezoidal rule.
    """
    total = np.empty(rates.shape)
    total[0] = 0.0
    np.add(rates[1:], rates[:-1], out=total[1:])
    total[1:] *= 0.5 * (times[1:] - times[:-1])[:, None]
    np.cumsum(total, axis=0, out=total)
    return total


def polish_stack(thickness: Array, curves: list[Array], times: Array) -> tuple[Array, Array]:
    """Return the amount removed over time from each film, and when each film cleared.

    Parameters
    ----------
    thickness
        Remaining thickness [m] at the start, shape (films, points), top film first.
    curves
        For each film, what would be removed from it by each time if it were exposed
        from the start (films entries of shape (n_t, points) [m], non-decreasing in time).
    times
        Times [s], shape (n_t,).

    Returns
    -------
    removed
        Shape (films, n_t, points) [m].
    cleared
        Time at which the film is gone, shape (films, points) [s]; infinite where it is not.

    Notes
    -----
    A film starts to be removed when those above are gone. With the curve C of a film that is
    exposed at time s, the amount taken is C(t) - C(s), between 0 and the film's thickness;
    C is taken as linear between the given times, so clearing times are exact for that C.
    """
    films, points = thickness.shape
    removed = np.zeros((films, times.size, points))
    cleared = np.full((films, points), np.inf)
    exposed_at = np.zeros(points)
    for film in range(films):
        curve = curves[film]
        if film == 0:
            at_start, taken = curve[0], curve - curve[0]
        elif exposed_at.min() > times[-1] and thickness[film].min() > 0:
            break  # nothing of what lies below is reached anywhere
        else:
            at_start = value_at(curve, times, exposed_at)
            taken = np.maximum(curve - at_start, 0.0)
        np.minimum(taken, thickness[film], out=removed[film])
        exposed_at = time_of(curve, times, at_start + thickness[film])
        cleared[film] = exposed_at
    return removed, cleared


def refined(times: Array, by_time: Array, target: float) -> Array:
    """Return finer times, within the one interval in which a rising amount reaches a target.

    Parameters
    ----------
    times
        [s], (n_t,).
    by_time
        The amount by then, non-decreasing, (n_t,).
    target
        Which it reaches by the last time.

    Returns
    -------
    Array
        All of ``times``, and what lies between [s].

    Notes
    -----
    As films clear, the mean removal has corners between the times even where its curves have none: read off linearly
    there, a stop would come where no film has cleared.
    """
    at = min(max(int(np.searchsorted(by_time, target)), 1), times.size - 1)
    between = times[at - 1] + (times[at] - times[at - 1]) * np.arange(1, _WITHIN) / _WITHIN
    return np.concatenate([times[:at], between, times[at:]])


_WITHIN = 32


def read_at(curve: Array, times: Array, when: Array) -> Array:
    """Return a curve at other times, straight between its own.

    Parameters
    ----------
    curve
        (n_t, points).
    times
        Of its rows, (n_t,).
    when
        Within them, (m,).

    Returns
    -------
    Array
        (m, points).
    """
    index = np.clip(np.searchsorted(times, when, side="right") - 1, 0, times.size - 2)
    share = ((when - times[index]) / (times[index + 1] - times[index]))[:, None]
    return np.asarray(curve[index] * (1.0 - share) + curve[index + 1] * share)


def value_at(curve: Array, times: Array, when: Array) -> Array:
    """Return a curve at one time per point; past the last time, the last value.

    Parameters
    ----------
    curve
        (n_t, points).
    times
        Of its rows [s], (n_t,).
    when
        [s], (points,).

    Returns
    -------
    Array
        (points,).
    """
    index = np.minimum(np.maximum(np.searchsorted(times, when, side="right") - 1, 0), times.size - 2)
    column = np.arange(curve.shape[1])
    low, high = curve[index, column], curve[index + 1, column]
    share = (when - times[index]) / (times[index + 1] - times[index])
    return np.asarray(low + np.minimum(np.maximum(share, 0.0), 1.0) * (high - low))


def time_of(curve: Array, times: Array, target: Array) -> Array:
    """Return when a non-decreasing curve reaches a target.

    Parameters
    ----------
    curve
        (n_t, points).
    times
        Of its rows [s], (n_t,).
    target
        (points,).

    Returns
    -------
    Array
        [s], (points,); infinite if never.
    """
    reached = curve[-1] >= target
    if not reached.any():
        return np.full(target.shape, np.inf)
    column = np.arange(curve.shape[1])
    index = np.minimum(np.maximum((curve < target).sum(axis=0), 1), times.size - 1)
    low, high = curve[index - 1, column], curve[index, column]
    rise = np.where(high > low, high - low, 1.0)
    share = np.minimum(np.maximum((target - low) / rise, 0.0), 1.0)
    when = times[index - 1] + share * (times[index] - times[index - 1])
    return np.where(reached, when, np.inf)
