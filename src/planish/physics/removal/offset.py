"""A rate that is left at no pressure: K p v + B v + R_c."""

from __future__ import annotations

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term
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


def _rate(c: Coefficients, p: Array, v: Array) -> Array:
    return (c["k_p"] * p + c["b"]) * v + c["c"]


LAW = Law(
    name="offset",
    meaning="in proportion to pressure and speed, with a part that needs no pressure and one that needs neither",
    formula="(k_p p + b) v + c",
    coefficients=(
        K_P,
        Coefficient("b", "rate over speed at no pressure", "1"),
        rate_left("c", "rate at rest, as in a bath"),
    ),
    mechanical=_rate,
    terms=(Term("k_p p v", "mechanical"), Term("b v"), Term("c", "chemical")),
    scaling=("k_p", "b", "c"),
    sources=(
        "R = K p v + B v + R_c: 'Modified Preston equation - revisited', MRS Proceedings (abstract read); "
        "Luo, Ramarajan & Babu 1998, Thin Solid Films (from memory)",
    ),
)
