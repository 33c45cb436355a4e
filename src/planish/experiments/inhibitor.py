"""Copper and an inhibitor: it slows the chemical step alone."""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares

from planish.experiments.record import Experiment, Row
from planish.physics.removal.law import slower

CONTENTS = np.array([0.0, 0.1, 0.15, 0.2])  # [% by weight]
RATES = np.array([1119.0, 953.0, 797.0, 740.0])  # [nm/min]
HELD_OUT = 2


def _rate(unknown: np.ndarray, content: np.ndarray) -> np.ndarray:
    chemical, half, mechanical = np.exp(unknown)
    return slower(chemical / (1.0 + content / half), np.full(content.shape, mechanical))


def rows() -> list[Row]:
    """Compute the rows: fitted to three contents, the fourth predicted."""
    used = np.arange(CONTENTS.size) != HELD_OUT
    found = least_squares(
        lambda x: _rate(x, CONTENTS[used]) / RATES[used] - 1.0, np.log([2000.0, 0.2, 3000.0])
    )
    predicted = _rate(found.x, CONTENTS)
    return [
        Row(
            f"{content:g} % inhibitor",
            float(measured),
            float(rate),
            "nm/min",
            "predicted" if index == HELD_OUT else "fitted",
        )
        for index, (content, measured, rate) in enumerate(zip(CONTENTS, RATES, predicted, strict=True))
    ]


EXPERIMENT = Experiment(
    name="inhibitor",
    title="Copper rate against inhibitor content",
    source="US 2005/0090104 A1",
    read="full text",
    rows=rows,
    said=(
        "The inhibitor divides the chemical step. Contents alone cannot tell how large the mechanical step is: a series of "
        "pressures would."
    ),
)
