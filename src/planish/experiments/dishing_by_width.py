"""Copper dishing by line and space, before and during a barrier polish."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planish.experiments.assumed_pad import selectivity_length
from planish.experiments.record import Experiment, Row
from planish.physics.pattern.areas import HighLayer, Low, polish_areas

Array = NDArray[np.float64]
STRUCTURES = {  # line and space [um], share of dielectric
    "100/100": (100, 100, 0.5),
    "50/50": (50, 50, 0.5),
    "10/10": (10, 10, 0.5),
    "50/1": (50, 1, 0.3),
}
DISHING = {  # [nm] after 0, 60, 120, 180 s of barrier polish
    "100/100": (91.5, 49.4, 23.5, 2.1),
    "50/50": (78.4, 42.1, 23.6, 5.2),
    "10/10": (22.3, 5.8, 2.7, 0.8),
    "50/1": (17.5, 13.8, 10.1, 6.3),
}
TIMES = (60, 120, 180)  # [s]
BARRIER_THICKNESS = 25e-9
COPPER, BARRIER, DIELECTRIC = (rate * 1e-10 / 60 for rate in (464, 1905, 772))  # blanket, from A/min
# Of the copper step only what it left is given; assumed: pressure, and copper past the bare barrier at 100 times its rate.
PRESSURE = 17e3
COPPER_STEP, COPPER_SELECTIVITY, OVERPOLISH = 5e-9, 100, 60.0
_SHARE = np.array([each[2] for each in STRUCTURES.values()])


def lengths(*, bulk: bool = True) -> Array:
    """Return the selectivity length of each structure [m].

    Parameters
    ----------
    bulk
        Whether the bulk of the pad bends too, or summits alone count.

    Returns
    -------
    Array
        (structures,).
    """
    low, high = (1e-6 * np.array([each[i] for each in STRUCTURES.values()]) for i in (0, 1))
    return selectivity_length(low, high, PRESSURE, bulk=bulk)


def after_copper() -> Array:
    """Return the dishing before the barrier step [m], (structures,)."""
    lines = Low([COPPER_STEP], np.zeros(_SHARE.size))
    barrier = HighLayer(np.inf, [COPPER_STEP / COPPER_SELECTIVITY])
    return polish_areas([barrier], lines, [OVERPOLISH], _SHARE, lengths()).height


def after_barrier(seconds: float, copper: float = COPPER, length: float | None = None) -> Array:
    """Return the dishing after so much barrier polish, from what was measured before it.

    Parameters
    ----------
    seconds
        Time [s].
    copper
        Rate [m/s]; the blanket one unless given.
    length
        Selectivity length [m]; each structure's own unless given.

    Returns
    -------
    Array
        [m], (structures,).
    """
    lines = Low([copper], 1e-9 * np.array([each[0] for each in DISHING.values()]))
    films = [HighLayer(BARRIER_THICKNESS, [BARRIER]), HighLayer(np.inf, [DIELECTRIC])]
    reach = lengths() if length is None else length
    return polish_areas(films, lines, [seconds], _SHARE, reach).height


def rows() -> list[Row]:
    """Compute the rows."""
    alone = lengths(bulk=False) / lengths(bulk=False)[0]
    (_, first), *others = ((name, each[0]) for name, each in DISHING.items())
    found = [
        Row(f"{name} um: dishing before the barrier step", each[0], 1e9 * float(here), "nm", "fitted")
        for (name, each), here in zip(DISHING.items(), after_copper(), strict=True)
    ]
    found += [
        Row(f"{name} um: the same over that of 100/100", each / first, float(here), "", "shape")
        for (name, each), here in zip(others, alone[1:], strict=True)
    ]
    for column, seconds in enumerate(TIMES, 1):
        found += [
            Row(f"{name} um: after {seconds} s", each[column], 1e9 * float(here), "nm", "predicted")
            for (name, each), here in zip(DISHING.items(), after_barrier(seconds), strict=True)
        ]
    return found


EXPERIMENT = Experiment(
    name="dishing-by-width",
    title="Copper dishing by line and space, before and during a barrier polish",
    source="US 2010/0176335 A1, tables 7 and 8",
    read="full text",
    rows=rows,
    said=(
        "Before the barrier step one constant, the sliding share, was calibrated, on these structures among others; pad and copper "
        "step are assumed. That dishing grows over tens of micrometres of width comes out with nothing fitted. The barrier step is "
        "not followed: by blanket rates dishing is gone within the first minute, 27 nm (rms) off, and that narrow spaces keep "
        "theirs longest does not come out."
    ),
)
