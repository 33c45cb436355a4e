"""Dishing and erosion of copper, polished and 20 % overpolished, with three slurries."""

from __future__ import annotations

import numpy as np

from planish.experiments.assumed_pad import selectivity_length
from planish.experiments.record import Experiment, Row
from planish.physics.pattern.areas import HighLayer, Low, polish_areas

SELECTIVITY = (1020, 83, 52)
DISHING = ((405.0, 510.0), (503.0, 466.0), (131.0, 133.0))  # [nm], polished and overpolished
EROSION = ((25.0, 32.0), (223.0, 247.0), (45.0, 70.0))
PRESSURE = 13.8e3  # 2 psi
LINE, SHARE = 50e-6, 0.5  # of a pitch of 100 um
COPPER, OVERPOLISH = 5e-9, 200e-9  # rate [m/s], which does not count; 20 % of 1 um of copper [m], assumed


def overpolished(selectivity: float) -> tuple[float, float]:
    """Return what comes out of a pair of rates.

    Parameters
    ----------
    selectivity
        Rate of copper over that of the barrier.

    Returns
    -------
    tuple[float, float]
        Dishing at which both recede together [m], and the erosion that overpolish adds there [m].
    """
    length = selectivity_length(np.array([LINE]), np.array([LINE]), PRESSURE)
    film = HighLayer(np.inf, [COPPER / selectivity])
    lines = Low([COPPER], length * np.log(selectivity))
    state = polish_areas([film], lines, [OVERPOLISH / COPPER], SHARE, length)
    return float(state.height[0]), float(state.high_loss[0])


def rows() -> list[Row]:
    """Compute the rows."""
    found = []
    for selectivity, dishing, erosion in zip(SELECTIVITY, DISHING, EROSION, strict=True):
        steady, added = overpolished(selectivity)
        found += [
            Row(f"selectivity {selectivity}: most dishing", dishing[1], 1e9 * steady, "nm", "predicted"),
            Row(
                f"selectivity {selectivity}: erosion that 20 % overpolish adds",
                erosion[1] - erosion[0],
                1e9 * added,
                "nm",
                "predicted",
            ),
        ]
    return found


EXPERIMENT = Experiment(
    name="overpolish",
    title="Copper dishing and erosion at 100 um pitch with slurries of three selectivities, 20 % overpolished",
    source="US 2004/0216388 A1",
    read="full text",
    rows=rows,
    said=(
        "Pad and sliding share are those of dishing-by-width; the copper thickness is assumed. The least selective slurry is met "
        "within 45 %. The others dish three to five times more than areas side by side under one pad can: copper dissolved from "
        "the recess whatever the pressure there would do it, but the table gives nothing to set it by. Erosion by overpolish falls "
        "with selectivity as measured, but is too small throughout."
    ),
)
