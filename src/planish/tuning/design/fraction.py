"""Two-level fractions: which runs of all corners, and which effects they cannot tell apart.

A fraction of 2^(k-p) runs takes all corners of k - p factors and gives each of the others a product of those. The product
of such a column with its factor is +1 in every run: these words, and all products of them, say what is confounded. The
shortest word is the resolution. The generators are searched for, word by word: fewest of the shortest words, then of the
next (least aberration).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]
MOST_FACTORS = 12
MOST_WORDS = 1024  # of the defining relation: more only near one run a factor
KEPT = 60  # of the best beginnings, in the search
SOURCES = (
    "Fractions by generators, their words, resolution and confounded effects: NIST/SEMATECH e-Handbook, 5.3.3.4 (read as quoted in pyDOE's theory pages); "
    "least aberration: derived here as a search",
)


@dataclass(frozen=True, slots=True)
class Fraction:
    """A fraction: ``factors``, of which ``basic`` are free; each word as bits, one a factor (the first the lowest)."""

    factors: int
    basic: int
    words: tuple[int, ...]
    generators: tuple[int, ...]

    @property
    def runs(self) -> int:
        """How many corners it takes."""
        return int(2**self.basic)

    @property
    def resolution(self) -> int:
        """Length of the shortest word."""
        return min(word.bit_count() for word in self.words)

    def points(self) -> Array:
        """Return its corners (runs, factors), the first factor changing fastest."""
        free = corners(self.basic)
        made = [np.prod(free[:, _places(mask)], axis=1) for mask in self.generators]
        return np.column_stack([free, *made])

    def confounded(self) -> list[tuple[tuple[int, ...], ...]]:
        """Return the groups of single and paired effects that no run of it tells apart, by the places of factors."""
        groups: dict[int, list[tuple[int, ...]]] = {}
        for size in (1, 2):
            for places in combinations(range(self.factors), size):
                mask = sum(1 << place for place in places)
                groups.setdefault(min(mask, *(mask ^ word for word in self.words)), []).append(places)
        return [tuple(group) for group in groups.values() if len(group) > 1]


def corners(factors: int) -> Array:
    """Return all corners (2^factors, factors) at -1 and +1, the first factor changing fastest."""
    row = np.arange(2**factors)[:, None]
    return np.where(row >> np.arange(factors) & 1, 1.0, -1.0)


def fraction(factors: int, runs: int) -> Fraction:
    """Return the fraction of so many runs with the fewest short words.

    Parameters
    ----------
    factors
        How many, 3 to 12.
    runs
        A power of 2, fewer than all corners, more than factors.

    Returns
    -------
    Fraction
        Of least aberration as far as the search goes: it keeps the best sixty beginnings of each length.

    Raises
    ------
    DataError
        For numbers that no fraction has.
    """
    basic = runs.bit_length() - 1
    if not 3 <= factors <= MOST_FACTORS:
        raise DataError(refuse("factors of a fraction", factors, f"3 to {MOST_FACTORS}"))
    if runs != 2**basic or not factors < runs < 2**factors or 2 ** (factors - basic) > MOST_WORDS:
        able = [str(2**n) for n in range(2, factors) if factors < 2**n and 2 ** (factors - n) <= MOST_WORDS]
        raise DataError(refuse(f"runs of a fraction of {factors} factors", runs, f"one of {', '.join(able)}"))
    products = [mask for mask in range(1, 2**basic) if mask.bit_count() > 1]
    odd = [
        mask for mask in products if mask.bit_count() % 2
    ]  # all words even: resolution 4 as long as there are any
    found = [_searched(factors, basic, some) for some in (products, odd) if len(some) >= factors - basic]
    generators, words = min(found, key=lambda item: _pattern(item[1], factors))
    return Fraction(factors, basic, tuple(word for word in words if word), generators)


def _searched(factors: int, basic: int, products: list[int]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the best (generators, words) of those products, the empty word among them."""
    kept: list[tuple[tuple[int, ...], tuple[int, ...]]] = [((), (0,))]
    for place in range(basic, factors):
        found = {tuple(sorted(item[0])): item for item in _longer(kept, products, place)}
        kept = sorted(found.values(), key=lambda item: (_pattern(item[1], factors), item[0]))[:KEPT]
    return kept[0]


def _longer(
    kept: list[tuple[tuple[int, ...], tuple[int, ...]]], products: list[int], place: int
) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Yield each beginning with one more generator: (generators, words), the empty word among them."""
    for generators, words in kept:
        for mask in products:
            if mask not in generators:
                word = mask | 1 << place
                yield (*generators, mask), (*words, *(word ^ other for other in words))


def _pattern(words: tuple[int, ...], factors: int) -> tuple[int, ...]:
    """Return how many words there are of each length, from the shortest."""
    counts = [0] * (factors + 1)
    for word in words:
        counts[word.bit_count()] += 1
    return tuple(counts[1:])


def _places(mask: int) -> list[int]:
    return [place for place in range(mask.bit_length()) if mask >> place & 1]
