"""Slanted sides as sweeps hold them, a row (xl, yl, xr, yr, ...) each with xl < xr: their height, and their order."""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True)
def height_at(side, e, x):  # type: ignore[no-untyped-def]
    """Return the height of a side at x, exact at its ends.

    Parameters
    ----------
    side, e
        Rows, and which.
    x
        Where; beyond an end, the height there is returned.

    Returns
    -------
    height
        In the unit of the rows.
    """
    if x <= side[e, 0]:
        return side[e, 1]
    if x >= side[e, 2]:
        return side[e, 3]
    return side[e, 1] + (side[e, 3] - side[e, 1]) * ((x - side[e, 0]) / (side[e, 2] - side[e, 0]))


@njit(cache=True, nogil=True)
def rank(side, active, n, x, keys):  # type: ignore[no-untyped-def]
    """Order active[:n] by height at x, in place: quick where they are nearly in order, as from the slab before.

    Parameters
    ----------
    side
        Rows.
    active, n
        Which of them, and how many count.
    x
        Where.
    keys
        Filled with the heights, in order.

    Returns
    -------
    steps
        Taken to bring them in order.
    """
    for i in range(n):
        keys[i] = height_at(side, active[i], x)
    steps = 0
    for i in range(1, n):
        e = active[i]
        v = keys[i]
        j = i - 1
        while j >= 0 and keys[j] > v:
            keys[j + 1] = keys[j]
            active[j + 1] = active[j]
            j -= 1
        keys[j + 1] = v
        active[j + 1] = e
        steps += i - j
    return steps


@njit(cache=True, nogil=True)
def going_on(side, active, n, x):  # type: ignore[no-untyped-def]
    """Leave out of active[:n], in place, the sides that end at x or before.

    Parameters
    ----------
    side
        Rows.
    active, n
        Which of them, and how many count.
    x
        Where.

    Returns
    -------
    n
        How many count now.
    """
    t = 0
    for i in range(n):
        if side[active[i], 2] > x:
            active[t] = active[i]
            t += 1
    return t
