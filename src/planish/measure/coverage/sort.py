"""Sorting for compiled kernels: one small routine, where the general ones cost seconds to compile."""

from __future__ import annotations

import numpy as np
from numba import njit

_RUN = 24  # runs sorted by insertion before they are merged


@njit(cache=True, nogil=True)
def order_of(keys, n, order, spare):  # type: ignore[no-untyped-def]
    """Fill order[:n] with the indices that sort keys[:n], equal keys in their order.

    Parameters
    ----------
    keys
        To be sorted by.
    n
        How many count.
    order
        Filled in place.
    spare
        Scratch of the same kind, at least n long.
    """
    for start in range(0, n, _RUN):
        for i in range(start, min(start + _RUN, n)):
            v = keys[i]
            j = i - 1
            while j >= start and keys[order[j]] > v:
                order[j + 1] = order[j]
                j -= 1
            order[j + 1] = i
    width = _RUN
    while width < n:
        for start in range(0, n, 2 * width):
            i = start
            middle = min(start + width, n)
            j = middle
            end = min(start + 2 * width, n)
            for t in range(start, end):
                if i < middle and (j >= end or keys[order[i]] <= keys[order[j]]):
                    spare[t] = order[i]
                    i += 1
                else:
                    spare[t] = order[j]
                    j += 1
        for t in range(n):
            order[t] = spare[t]
        width *= 2


@njit(cache=True, nogil=True)
def sort_distinct(values, n):  # type: ignore[no-untyped-def]
    """Return the different values among values[:n], in rising order.

    Parameters
    ----------
    values
        Any order.
    n
        How many count.

    Returns
    -------
    distinct
        (m,).
    """
    order = np.empty(n, np.int64)
    order_of(values, n, order, np.empty(n, np.int64))
    out = np.empty(n)
    m = 0
    for i in range(n):
        v = values[order[i]]
        if m == 0 or v > out[m - 1]:
            out[m] = v
            m += 1
    return out[:m]


@njit(cache=True, nogil=True)
def rows_by_first(table, n):  # type: ignore[no-untyped-def]
    """Return rows [:n] of a table, ordered by their first column.

    Parameters
    ----------
    table
        Any order.
    n
        How many rows count.

    Returns
    -------
    rows
        (n, columns).
    """
    keys = np.empty(n)
    for i in range(n):
        keys[i] = table[i, 0]
    order = np.empty(n, np.int64)
    order_of(keys, n, order, np.empty(n, np.int64))
    out = np.empty((n, table.shape[1]))
    for i in range(n):
        for c in range(table.shape[1]):
            out[i, c] = table[order[i], c]
    return out


@njit(cache=True, nogil=True)
def longer(values):  # type: ignore[no-untyped-def]
    """Return the same values with as much room again behind them.

    Parameters
    ----------
    values
        To be copied.

    Returns
    -------
    values
        Twice as long.
    """
    out = np.empty(2 * values.shape[0])
    for i in range(values.shape[0]):
        out[i] = values[i]
    return out


@njit(cache=True, nogil=True)
def taller(table, least):  # type: ignore[no-untyped-def]
    """Return the same rows with more room behind them.

    Parameters
    ----------
    table
        To be copied.
    least
        Rows to have room for; no fewer than twice as many are made.

    Returns
    -------
    table
        Of as many columns.
    """
    out = np.empty((max(2 * table.shape[0], least), table.shape[1]))
    for i in range(table.shape[0]):
        for c in range(table.shape[1]):
            out[i, c] = table[i, c]
    return out
