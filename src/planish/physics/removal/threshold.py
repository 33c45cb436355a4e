"""Nothing goes below a pressure, above it in proportion to what is over."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term
from planish.physics.removal.preston import K_P


def _rate(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["k_p"] * np.maximum(p - c["p_threshold"], 0.0) * v ** c["beta"])


LAW = Law(
    name="threshold",
    meaning="nothing below a pressure, above it in proportion to what is over, and to the speed",
    formula="k_p max(p - p_threshold, 0) v^beta",
    coefficients=(
        K_P,
        Coefficient(
            "p_threshold",
            "pressure below which nothing goes",
            "Pa",
            "pressure",
            low="0 psi",
            high="60 psi",
            typical=("0 psi", "5 psi"),
        ),
        Coefficient("beta", "power of the speed", "1", high="10", typical=("0", "2"), default=1.0),
    ),
    terms=(Term("k_p max(p - p_threshold, 0) v^beta", "both", _rate),),
    scaling=("k_p",),
    leading="k_p",
    threshold="p_threshold",
    speed_power="beta",
    sources=(
        "Threshold pressure that grows with the additive, linear above it: ECS J. Solid State Sci. Technol. 2014, "
        "10.1149/2.0091502jss (read); its power of the speed: Manivannan & Ramanathan 2010, Thin Solid Films 518, "
        "5737, table 1 (read)",
    ),
)
