"""Spreads that go together: fitted values of one fit err together, as its file says.

A rate fitted from few pressures is too high where its exponent is too low. Taken for independent, the two would make a band
that is far too wide, or too narrow where they pull the same way. Their variance is the sum over all pairs of
share times share times correlation (JCGM 100:2008); draws are mixed by the root of the table of correlations.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.predict.wafer.spread_keys import OneSpread, spread_key
from planish.setup import paths
from planish.setup.models import Setup

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from planish.setup.si import Rig

Array = NDArray[np.float64]


SOURCES: tuple[str, ...] = (
    "Propagation of correlated uncertainties: JCGM 100:2008 (GUM), H.2 (read as quoted in the GTC manual)",
)


def correlations(setup: Setup | Rig, moved: Sequence[OneSpread]) -> Array:
    """Return how stated spreads go together.

    Parameters
    ----------
    setup
        The setup, with its table of what was fitted; SI records alone have none.
    moved
        Its spreads, from :func:`planish.predict.wafer.bands.spreads`.

    Returns
    -------
    Array
        Correlations (spreads, spreads): 1 on the diagonal, 0 of what was not fitted together.
    """
    table = np.eye(len(moved))
    if not isinstance(setup, Setup) or setup.model.fitted is None:
        return table
    places = {
        _place(setup, row.key): row.key
        for row in setup.model.fitted.value
        if _holds(setup, _place(setup, row.key))
    }
    held = {
        row.key
        for row in setup.model.fitted.held
        if row.key in setup.origins and setup.origins[row.key].value == row.value
    }
    keys = [spread_key(setup, one) for one in moved]
    at = {places.get(key, key): index for index, key in enumerate(keys) if key in places or key in held}
    for pair in setup.model.fitted.together:
        first, second = at.get(pair.first), at.get(pair.second)
        if first is not None and second is not None and first != second:
            table[first, second] = table[second, first] = pair.correlation
    return table


def mixed(amounts: Array, table: Array) -> Array:
    """Return independent draws made to go together.

    Parameters
    ----------
    amounts
        Independent standard normal numbers (draws, spreads).
    table
        Their correlations (spreads, spreads); where rounding left it no table of correlations, the nearest.

    Returns
    -------
    Array
        As ``amounts``; those of spreads that go with no other are the same to the bit.
    """
    tied = np.flatnonzero(np.abs(table - np.eye(len(table))).max(axis=1, initial=0.0) > 0)
    if tied.size == 0:
        return amounts
    values, vectors = np.linalg.eigh(table[np.ix_(tied, tied)])
    root = vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T
    root /= np.linalg.norm(root, axis=1)[:, None]
    found = amounts.copy()
    found[:, tied] = amounts[:, tied] @ root.T
    return found


def spread_together(shares: Mapping[str, float], names: Sequence[str], table: Array) -> float:
    """Return the standard deviation that shares add up to.

    Parameters
    ----------
    shares
        Of each spread, signed, by its name.
    names
        Of the spreads, in the order of the table; shares of others go with none.
    table
        Their correlations.
    """
    size = sum(share**2 for share in shares.values())
    if np.count_nonzero(table) > len(table):
        own = np.array([shares.get(name, 0.0) for name in names])
        size += float(own @ (table - np.eye(len(table))) @ own)
    return float(max(size, 0.0) ** 0.5)


def _place(setup: Setup, key: str) -> str:
    return paths.show(paths.resolve(key, setup.tree, grow=True), setup.tree)


def _holds(setup: Setup, place: str) -> bool:
    """Return whether a fitted value still is as it was fitted, so that its row counts."""
    return (
        place in setup.origins
        and setup.origins[place].origin == "setup"
        and bool(setup.origins[place].spread)
    )
