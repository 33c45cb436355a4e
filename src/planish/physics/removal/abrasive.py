"""Abrasives of spread size: only the larger ones touch, more of them at a higher pressure."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term
from planish.physics.removal.offset import etched, rate_left


def _rate(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    from scipy.special import ndtr  # a setup is read without it

    # 1 - Phi(x) = Phi(-x), which keeps its digits in the tail.
    share: Array = ndtr(c["c2"] * np.cbrt(p) - 3.0)
    return np.asarray(c["c1"] * share * np.sqrt(p) * v)


LAW = Law(
    name="abrasive",
    meaning="by the share of the abrasives, spread in size, that is large enough to be pressed",
    formula="c1 {1 - Phi(3 - c2 p^(1/3))} sqrt(p) v + c0",
    coefficients=(
        Coefficient("c1", "rate over sqrt(p) v with all abrasives at work", "1/Pa^0.5"),
        Coefficient("c2", "how fast the share at work grows with pressure", "1/Pa^(1/3)"),
        rate_left("c0", "rate at rest, as in a bath"),
    ),
    terms=(
        Term("c1 {1 - Phi(3 - c2 p^(1/3))} sqrt(p) v", "both", _rate),
        Term("c0", "chemical", etched("c0")),
    ),
    scaling=("c1", "c0"),
    sources=(
        "Abrasives of spread size: Luo & Dornfeld 2001, IEEE Trans. Semicond. Manuf. 14, 112 (from memory)",
    ),
)
