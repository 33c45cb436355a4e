"""Dishing of wide oxide trenches, with and without an additive: US 2017/0183539 A1 (R: read).

40 s of overpolish after the nitride is bare; blanket oxide 3,210 A/min with the additive and 3,810 without. The pad is
that of test_x22 (tips of 30 um, decay length 4 um, 17 kPa, half-space of 285 MPa) with the same share of the summits'
reach, 0.01. Chosen, not measured: half of the area is nitride; the oxide goes 5 times as fast as the nitride without
and 25 times with the additive, which lets nothing go below 0.7 of the mean pressure.

What is not followed: with the additive 300 um wide trenches dish 15 % more than those of 100 um, predicted 45 % more.
"""

from typing import Any

import numpy as np

from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.feature_selectivity import feature_selectivity, reach_at_rest
from planish.physics.pattern.response import local_response
from planish.physics.removal.laws import removal_rate

WIDTHS = (100, 300)
MEASURED = {"without": (45.0, 64.3), "with": (18.5, 21.2)}
PRESSURE, TIP, DECAY, SLIDING = 17e3, 30e-6, 4e-6, 0.01
OVERPOLISH = 40.0


def dishing(additive: bool, widths: tuple[float, ...] = WIDTHS) -> np.ndarray:
    """Return the dishing [nm] after the overpolish."""
    spot, stiff = np.sqrt(TIP * DECAY), 285e6 / (1 - 0.3**2)
    length = feature_selectivity(
        np.array(widths) * 1e-6,
        summit_length=SLIDING * reach_at_rest(spot, np.sqrt(DECAY / (np.pi * TIP))),
        spot_radius=spot,
        pressure=PRESSURE,
        compliance=lambda q: 2 / (stiff * q),
    )
    oxide, selectivity = ((3210, 25) if additive else (3810, 5)) * np.array([1e-10 / 60, 1])
    law = {"k_p": 1e-13, "p_threshold": 0.7 * PRESSURE if additive else 0.0}
    answer = local_response(
        lambda x: removal_rate("threshold", law, PRESSURE * x, 1.0), law["p_threshold"] / PRESSURE
    )
    nitride = HighLayer(np.inf, [oxide / selectivity], [answer])
    trench = Low([oxide], np.zeros(len(widths)), responses=[answer])
    return polish_areas([nitride], trench, [OVERPOLISH], 0.5, length).height * 1e9


def rows() -> list[dict[str, Any]]:
    """Return what was measured and what is predicted."""
    found = [
        {
            "what": f"trench dishing, {width} um, {name} additive",
            "measured": measured,
            "predicted": float(predicted),
            "unit": "nm",
            "kind": "fit and predict",
        }
        for name in MEASURED
        for width, measured, predicted in zip(WIDTHS, MEASURED[name], dishing(name == "with"), strict=True)
    ]
    ratios = [
        {
            "what": f"dishing of 300 um over that of 100 um, {name} additive",
            "measured": MEASURED[name][1] / MEASURED[name][0],
            "predicted": float(np.divide(*dishing(name == "with")[::-1])),
            "unit": "1",
            "kind": "shape",
        }
        for name in MEASURED
    ]
    return found + ratios


def test_dishing_with_and_without_the_additive() -> None:
    for row in rows()[:4]:
        assert abs(row["predicted"] / row["measured"] - 1) < 0.25, row


def test_wider_trenches_dish_only_some_more_and_the_threshold_caps() -> None:
    for row in rows()[4:]:
        assert 1.1 < row["predicted"] < 1.5  # measured 1.15 and 1.43
    assert np.all(dishing(True) < 0.5 * dishing(False))
