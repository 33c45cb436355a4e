"""Powers of pressure and speed."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term


def _rate(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["k"] * p ** c["alpha"] * v ** c["beta"])


LAW = Law(
    name="power",
    meaning="as a power of the pressure and one of the speed",
    formula="k p^alpha v^beta",
    coefficients=(
        Coefficient("k", "rate at 1 Pa and 1 m/s", "m/s / (Pa^alpha (m/s)^beta)"),
        Coefficient("alpha", "power of the pressure", "1", high="10", typical=("0", "2")),
        Coefficient("beta", "power of the speed", "1", high="10", typical=("0", "2")),
    ),
    terms=(Term("k p^alpha v^beta", "both", _rate),),
    scaling=("k",),
    leading="k",
    speed_power="beta",
    sources=("Powers of pressure and speed: Tseng & Wang 1997, J. Electrochem. Soc. 144, L15 (from memory)",),
)
