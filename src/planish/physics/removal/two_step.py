"""Two steps in series: the slurry alters the film, the pad wipes it off; the slower one rules."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from planish.physics.removal.factors import GAS_CONSTANT
from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term


def _wiped(c: Coefficients, p: Array, v: Array) -> Array:
    """Return the mechanical step k2 [mol/(m^2 s)]."""
    return c["k_m"] * np.asarray(c["friction"]) * p * v


def _rate(c: Coefficients, mechanical: Array, temperature: Array) -> Array:
    k1 = c["a"] * np.exp(-c["e_a"] / (GAS_CONSTANT * temperature))
    return np.asarray(c["molar_volume"] * two_step(k1, mechanical))


def two_step(k1: ArrayLike, k2: ArrayLike) -> Array:
    """Rate k1 k2/(k1 + k2) of two steps in series, in the units of k1 and k2; 0 if both are 0.

    The slower one rules: k2 -> infinity leaves k1 (chemistry), k2 -> 0 leaves k2 (mechanics).
    """
    k1, k2 = np.broadcast_arrays(np.asarray(k1, dtype=np.float64), np.asarray(k2, dtype=np.float64))
    slow, fast = np.minimum(k1, k2), np.maximum(k1, k2)
    share = np.divide(slow, fast, out=np.zeros(slow.shape), where=fast > 0)
    return np.asarray(slow / (1.0 + share))


LAW = Law(
    name="two-step",
    meaning="a chemical and a mechanical step in series, the slower one rules",
    formula="molar_volume k1 k2/(k1 + k2), k1 = a exp(-e_a/(R T)), k2 = k_m friction p v",
    coefficients=(
        Coefficient("a", "chemical step at no barrier", "mol/(m^2 s)"),
        Coefficient(
            "e_a",
            "activation energy of the chemical step",
            "J/mol",
            "energy_per_mol",
            low="0 kJ/mol",
            high="500 kJ/mol",
            typical=("0 kJ/mol", "150 kJ/mol"),
        ),
        Coefficient("k_m", "mechanical step per heat of friction", "mol/J"),
        Coefficient("friction", "coefficient of friction", "1", high="10", typical=("0.05", "1")),
        Coefficient(
            "molar_volume", "volume of a mole of the film", "m^3/mol", high="1e-2", typical=("1e-6", "1e-4")
        ),
    ),
    mechanical=_wiped,
    chemistry=_rate,
    terms=(Term("k1", "chemical"), Term("k2", "mechanical")),
    scaling=("molar_volume",),
    activation="e_a",
    friction="friction",
    sources=(
        "Chemical and mechanical steps in series: Sorooshian, Borucki, Philipossian et al. 2004-05 (from memory)",
    ),
)
