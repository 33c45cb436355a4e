"""A rate that levels off at high pressure; an invented law."""

from __future__ import annotations

from planish import Coefficient, Law, Term


def rate(c, p, v, temperature):
    """Return the rate [m/s] at pressures p [Pa], speeds v [m/s] and pad temperatures [K]."""
    return c["k_p"] * p / (1 + p / c["p_half"]) * v


LAW = Law(
    name="levelling",
    meaning="in proportion to pressure and speed at first, levelling off with pressure",
    formula="k_p p / (1 + p/p_half) v",
    coefficients=(
        Coefficient("k_p", "removal constant at low pressure", "1/Pa", "per_pressure",
                    low="0 1/Pa", high="1e-6 1/Pa", typical=("1e-16 1/Pa", "5e-12 1/Pa")),
        Coefficient("p_half", "pressure at which half is left of proportion", "Pa", "pressure",
                    low="0.1 psi", high="1000 psi", typical=("1 psi", "100 psi")),
    ),
    terms=(Term("k_p p / (1 + p/p_half) v", "both", rate),),
    scaling=("k_p",),
    leading="k_p",
    sources=("Levelling off with pressure: invented",),
)  # fmt: skip
