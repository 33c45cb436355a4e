"""A rate that is left at no pressure: K p v + B v + R_c."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term, Value
from planish.physics.removal.preston import K_P


def rate_left(name: str, meaning: str) -> Coefficient:
    """Return the coefficient of a rate that is there whatever the pressure and speed.

    Parameters
    ----------
    name
        Of the coefficient in its law.
    meaning
        What it is, in a few words.

    Returns
    -------
    Coefficient
        In m/s, 0 nm/min or more.
    """
    return Coefficient(
        name,
        meaning,
        "m/s",
        "rate",
        low="0 nm/min",
        high="1e6 nm/min",
        typical=("0 nm/min", "1000 nm/min"),
    )


def _pressed(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["k_p"] * p * v)


def _slid(c: Coefficients, _p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["b"] * v)


def etched(name: str) -> Value:
    """Return the term that is there at rest, as in a bath: the coefficient of that name."""
    return lambda c, p, v, _temperature: np.asarray(c[name] + 0.0 * (p + v))


LAW = Law(
    name="offset",
    meaning="in proportion to pressure and speed, with a part that needs no pressure and one that needs neither",
    formula="(k_p p + b) v + c",
    coefficients=(
        K_P,
        Coefficient("b", "rate over speed at no pressure", "1"),
        rate_left("c", "rate at rest, as in a bath"),
    ),
    terms=(
        Term("k_p p v", "mechanical", _pressed),
        Term("b v", "chemical", _slid),
        Term("c", "chemical", etched("c")),
    ),
    scaling=("k_p", "b", "c"),
    sources=(
        "R = K p v + B v + R_c: 'Modified Preston equation - revisited', MRS Proceedings (abstract read), which "
        "calls it the earlier model of its authors",
    ),
)
