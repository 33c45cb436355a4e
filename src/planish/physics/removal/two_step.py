"""Two steps in series: the slurry alters the film, the pad wipes it off; the slower one rules."""

from __future__ import annotations

import numpy as np

from planish.physics.removal.factors import GAS_CONSTANT
from planish.physics.removal.law import Array, Coefficient, Coefficients, Law, Term


def _wiped(c: Coefficients, p: Array, v: Array, _temperature: Array) -> Array:
    return np.asarray(c["molar_volume"] * c["k_m"] * np.asarray(c["friction"]) * p * v)


def _altered(c: Coefficients, _p: Array, _v: Array, temperature: Array) -> Array:
    return np.asarray(c["molar_volume"] * c["a"] * np.exp(-c["e_a"] / (GAS_CONSTANT * temperature)))


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
    terms=(
        Term("molar_volume k1", "chemical", _altered, warm=True),
        Term("molar_volume k2", "mechanical", _wiped),
    ),
    joined="series",
    scaling=("molar_volume",),
    activation="e_a",
    friction="friction",
    sources=("Chemical and mechanical steps in series: the steady state of the two, derived here",),
)
