"""How far a stiff pad planarizes copper."""

from __future__ import annotations

from planish.experiments.record import Experiment, Row, scenario
from planish.physics.pattern.planarization_length import planarization_length
from planish.predict.die.conditions import pad_state, stack_compliance, wafer_rigidity
from planish.predict.die.level import USUAL_SLIDING
from planish.setup.models import Setup
from planish.units import PSI

LENGTH = 2.0  # [mm]
PRESSURE, RELIEF = 3 * PSI, 500e-9  # [Pa], [m]: assumed
PADS = {"hard, on a sub-pad": ("hard-microporous", ""), "hard, alone": ("hard-microporous", "none"),
        "hard and filled, on a sub-pad": ("hard-filled", "")}  # fmt: skip


def length(setup: Setup) -> float:
    """Return the planarization length of a setup's pad [mm]."""
    rig = setup.rig
    summits = pad_state(rig, PRESSURE, sliding_share=USUAL_SLIDING)
    found = planarization_length(
        stack_compliance(rig),
        relief=RELIEF,
        pressure=PRESSURE,
        selectivity_length=summits.selectivity_length,
        wafer_rigidity=wafer_rigidity(rig),
    )
    return 1e3 * found.length


def rows() -> list[Row]:
    """Compute the rows."""
    found = []
    for words, (part, sub) in PADS.items():
        setup = scenario().with_part("pad", part)
        if sub:
            setup = setup.replace({"pad.sub": sub})
        found.append(Row(f"planarization length, {words}", LENGTH, length(setup), "mm", "shape"))
    return found


EXPERIMENT = Experiment(
    name="stiff-pad-length",
    title="Length over which a copper process with a stiff pad planarizes",
    source="Mater. Res. Soc. Symp. Proc. 2000 (copper, stiff pad)",
    read="abstract",
    rows=rows,
    said=(
        "Of the size measured. The source names neither pad nor pressure nor depth of lines: with 3 psi and 500 nm, as assumed, "
        "three stiff pads of the catalogue lie within half of it. At 1 psi it is 4 to 12 mm."
    ),
)
