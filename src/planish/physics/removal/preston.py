"""Rate proportional to pressure and speed."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term

K_P = Coefficient(
    "k_p",
    "removal constant",
    "1/Pa",
    "per_pressure",
    low="0 1/Pa",
    high="1e-6 1/Pa",
    typical=("1e-16 1/Pa", "5e-12 1/Pa"),
)


def _rate(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["k_p"] * p * v)


LAW = Law(
    name="preston",
    meaning="in proportion to pressure and speed",
    formula="k_p p v",
    coefficients=(K_P,),
    terms=(Term("k_p p v", "both", _rate),),
    scaling=("k_p",),
    leading="k_p",
    sources=(
        "Rate proportional to pressure and speed: Preston 1927, J. Soc. Glass Technol. 11, 214 (read as quoted in "
        "Ozeki & Mori 2018)",
    ),
)
