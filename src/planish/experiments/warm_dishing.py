"""Dishing along a polish with and without a cooled pad: too little is told to compute it."""

from __future__ import annotations

from planish.experiments.record import Experiment, nothing_to_say

EXPERIMENT = Experiment(
    name="warm-dishing",
    title="Dishing of copper lines along a polish, with and without cooling of the pad",
    source="Materials 2025, 18(19), 4461",
    read="abstract",
    rows=nothing_to_say,
    said=(
        "Measured: removal of copper, tantalum and oxide all goes as an Arrhenius law of the temperature; without cooling dishing "
        "rises along the polish by 12 nm in lines of 100 µm and by 16 nm in lines of 50 µm, with cooling by 4 nm and less than 1 nm. "
        "planish cannot follow: the abstract gives no energies and no temperatures, and a die is polished at one temperature from "
        "beginning to end, so that its dishing does not rise with the pad's warmth. The wafer's rate does, by the energy in the setup."
    ),
)
