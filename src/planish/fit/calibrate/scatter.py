r"""How measured values scatter about the model: each alone, a group together, a whole set together.

Values y of one set obey y = f + s (a e + b g + c w): s is the set's mean size, e differs from value to value, g is
one number a group (a ring of sites, a lot), w one a set (a wafer); all are standard normal. The shares a, b and c hold for
all sets of one kind; where the error of a value is known, that takes the place of s a e. A covariance V of such blocks
is inverted, and its root taken, group by group and set by set (Sherman & Morrison's formula).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from planish.fit.calibrate.observed import Observed

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

#: Share of a set's mean size that one value scatters by where there are too few to say (common practice, no source).
USUAL = 0.02


@dataclass(frozen=True)
class Layout:
    """Which value belongs to which kind, set and group.

    Attributes
    ----------
    kinds
        Their names.
    kind, of_set, group
        Index of each value, (n,); groups of different sets differ.
    size
        Mean size of the value's set, (n,).
    sd
        Known error of each, (n,); 0 where none is known.
    """

    kinds: tuple[str, ...]
    kind: Whole
    of_set: Whole
    group: Whole
    size: Array
    sd: Array

    @cached_property
    def kind_of_group(self) -> Whole:
        """The kind of each group."""
        return _handed(self.group, self.kind)

    @cached_property
    def kind_of_set(self) -> Whole:
        """The kind of each set."""
        return _handed(self.of_set, self.kind)

    @cached_property
    def groups(self) -> Any:
        """Which values a group holds: a sparse matrix of ones (groups, n)."""
        return _ones(self.group)

    @cached_property
    def sets(self) -> Any:
        """Which groups a set holds: a sparse matrix of ones (sets, groups)."""
        return _ones(_handed(self.group, self.of_set))


def _handed(member: Whole, what: Whole) -> Whole:
    """Return for each group what all of its members share."""
    found = np.zeros(int(member.max()) + 1, dtype=np.int64)
    found[member] = what
    return found


def _ones(member: Whole) -> Any:
    from scipy.sparse import csr_array

    here = np.arange(member.size)
    return csr_array((np.ones(member.size), (member, here)), shape=(int(member.max()) + 1, member.size))


def layout(observed: Sequence[Observed]) -> Layout:
    """Return which value belongs to which kind, set and group."""
    kinds = tuple(dict.fromkeys(one.kind for one in observed))
    counts = [one.values.size for one in observed]
    of_set = np.repeat(np.arange(len(observed)), counts)
    pairs = np.stack([of_set, np.concatenate([np.asarray(one.groups, dtype=np.int64) for one in observed])])
    group = np.unique(pairs, axis=1, return_inverse=True)[1].reshape(-1)
    return Layout(
        kinds,
        np.repeat([kinds.index(one.kind) for one in observed], counts).astype(np.int64),
        of_set.astype(np.int64),
        group.astype(np.int64),
        np.repeat([float(np.mean(np.abs(one.values))) for one in observed], counts),
        np.concatenate([np.asarray(one.sd, dtype=np.float64) for one in observed]),
    )


@dataclass(frozen=True, slots=True)
class Scatter:
    """The shares by which values scatter, and how it weighs them.

    Attributes
    ----------
    where
        The layout.
    shares
        (kinds, 3) of value, group and set; 0 where there is none.
    widened
        By which known errors are multiplied, (kinds,); 1 where they are believed.
    weights
        Of each value in a robust fit, (n,).
    """

    where: Layout
    shares: Array
    widened: Array
    weights: Array

    def variances(self) -> Array:
        """Return the variance of each value alone (n,)."""
        where = self.where
        own = np.where(
            where.sd > 0, where.sd * self.widened[where.kind], where.size * self.shares[where.kind, 0]
        )
        return np.asarray(own**2 / self.weights)

    def _pieces(self, d: Array) -> tuple[Array, Array, Array, Array]:
        """Return, by group, what it weighs and its share squared; by set, the same."""
        where = self.where
        heavy = where.groups @ (where.size**2 / d)
        together = self.shares[where.kind_of_group, 1] ** 2
        left = where.sets @ (heavy / (1.0 + together * heavy))
        return heavy, together, left, self.shares[where.kind_of_set, 2] ** 2

    def products(self, columns: Array) -> tuple[Array, float]:
        """Return columns' V^-1 columns, (m, m), and ln|V|.

        Parameters
        ----------
        columns
            (n, m).
        """
        where, d = self.where, self.variances()
        over = columns / d[:, None]
        if not self.shares[:, 1:].any():  # nothing in common
            return columns.T @ over, float(np.sum(np.log(d)))
        heavy, together, left, whole = self._pieces(d)
        groups = where.groups @ (where.size[:, None] * over)
        shrunk = groups / (1.0 + together * heavy)[:, None]
        sets = where.sets @ shrunk
        found = columns.T @ over
        found -= groups.T @ (together[:, None] * shrunk)
        found -= sets.T @ ((whole / (1.0 + whole * left))[:, None] * sets)
        size = np.sum(np.log(d)) + np.sum(np.log1p(together * heavy)) + np.sum(np.log1p(whole * left))
        return found, float(size)

    def whitened(self, columns: Array) -> Array:
        """Return columns in which scatter is 1 and independent: W columns, with W' W = V^-1.

        Parameters
        ----------
        columns
            (n,) or (n, m).
        """
        where, d = self.where, self.variances()
        heavy, together, left, whole = self._pieces(d)
        flat = columns.ndim == 1
        rows = (columns[:, None] if flat else columns) / np.sqrt(d)[:, None]
        one = where.size / np.sqrt(d)
        rows = _root(rows, one, where.groups, where.group, heavy, together)
        if np.any(whole):
            one = _root(one[:, None], one, where.groups, where.group, heavy, together)[:, 0]
            rows = _root(rows, one, _ones(where.of_set), where.of_set, left, whole)
        return rows[:, 0] if flat else rows


def _root(rows: Array, one: Array, holds: Any, member: Whole, heavy: Array, share: Array) -> Array:
    """Take out of rows what each group has in common: (I + t u u')^-1/2 by group."""
    if not np.any(share):
        return rows
    along = holds @ (one[:, None] * rows)
    less = (1.0 - 1.0 / np.sqrt(1.0 + share * heavy)) / np.where(heavy > 0, heavy, 1.0)
    return np.asarray(rows - one[:, None] * (less[:, None] * along)[member])


def plain(where: Layout, share: float = USUAL) -> Scatter:
    """Return a scatter of one share for every value without a known error, and nothing in common.

    Parameters
    ----------
    where
        Which value belongs where.
    share
        Of the mean size of its set.
    """
    shares = np.zeros((len(where.kinds), 3))
    shares[:, 0] = share
    return Scatter(where, shares, np.ones(len(where.kinds)), np.ones(where.kind.size))
