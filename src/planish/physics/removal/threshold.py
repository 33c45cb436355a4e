"""Nothing goes below a pressure, above it in proportion to what is over."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term
from planish.physics.removal.preston import K_P


def _rate(c: Coefficients, p: Array, v: Array) -> Array:
    return c["k_p"] * np.maximum(p - c["p_threshold"], 0.0) * v


LAW = Law(
    name="threshold",
    meaning="nothing below a pressure, above it in proportion to what is over, and to the speed",
    formula="k_p max(p - p_threshold, 0) v",
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
    ),
    mechanical=_rate,
    terms=(Term("k_p max(p - p_threshold, 0) v", "mechanical"),),
    scaling=("k_p",),
    leading="k_p",
    threshold="p_threshold",
    sources=("Threshold pressure: common practice, no source",),
)
