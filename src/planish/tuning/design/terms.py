"""Terms of a polynomial in coded factors, by the letters of the factors: a, b, a*b, a^2."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse

Array = NDArray[np.float64]
Term = tuple[int, ...]  # the power of each factor
Model = Literal["linear", "interactions", "quadratic"]
LETTERS = "abcdefghijklmnopqrstuvwxyz"
_PIECE = re.compile(r"([a-z])(?:\^([1-3]))?")


def terms_of(model: str, factors: int, curved: Sequence[bool] | None = None) -> tuple[Term, ...]:
    """Return the terms of a model, the constant first.

    Parameters
    ----------
    model
        "linear": each factor; "interactions": and each pair; "quadratic": and each square.
    factors
        How many.
    curved
        Which may have a square; all unless given (a factor of two texts has none).

    Returns
    -------
    tuple[Term, ...]
        Powers of the factors.

    Raises
    ------
    DataError
        For another model.
    """
    if model not in get_args(Model):
        raise DataError(refuse("model", model, f"one of {', '.join(get_args(Model))}"))
    unit = [tuple(int(at == place) for at in range(factors)) for place in range(factors)]
    found: list[Term] = [(0,) * factors, *unit]
    if model != "linear":
        found += [_sum(one, other) for one, other in combinations(unit, 2)]
    if model == "quadratic":
        found += [_sum(one, one) for place, one in enumerate(unit) if curved is None or curved[place]]
    return tuple(found)


def read_terms(text: str, factors: int) -> tuple[Term, ...]:
    """Return terms such as ``"a b a*b a^2"``, the constant before them.

    Parameters
    ----------
    text
        With spaces or commas between the terms.
    factors
        How many letters are known.

    Returns
    -------
    tuple[Term, ...]
        Each once.

    Raises
    ------
    DataError
        For what is no product of the factors' letters.
    """
    found: dict[Term, None] = {(0,) * factors: None}
    for word in re.split(r"[,\s]+", text.strip().lower()):
        powers = [0] * factors
        pieces = [_PIECE.fullmatch(piece) for piece in word.split("*")]
        for piece in pieces:
            if piece is None or piece[1] not in LETTERS[:factors]:
                raise DataError(
                    refuse("terms", word, f"products of {', '.join(LETTERS[:factors])}", "as 'a b a*b a^2'")
                )
            powers[LETTERS.index(piece[1])] += int(piece[2] or 1)
        found[tuple(powers)] = None
    return tuple(found)


def term_name(term: Term) -> str:
    """Return a term by the letters of its factors; "1" for the constant."""
    pieces = [
        LETTERS[place] + (f"^{power}" if power > 1 else "") for place, power in enumerate(term) if power
    ]
    return "*".join(pieces) or "1"


def model_matrix(points: Array, terms: Sequence[Term]) -> Array:
    """Return each term at each point.

    Parameters
    ----------
    points
        Coded, (runs, factors).
    terms
        Powers of the factors.

    Returns
    -------
    Array
        (runs, terms).
    """
    return np.stack([np.prod(points ** np.array(term), axis=1) for term in terms], axis=1)


def _sum(one: Term, other: Term) -> Term:
    return tuple(a + b for a, b in zip(one, other, strict=True))
