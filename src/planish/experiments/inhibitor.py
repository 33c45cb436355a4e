"""Copper, an inhibitor and an oxidiser: they slow and speed the chemical step alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from planish.experiments.record import Experiment, Row
from planish.physics.removal.factors import dissolved_factor
from planish.physics.removal.law import slower

Array = NDArray[np.float64]
CONTENTS = np.array([0.0, 0.1, 0.15, 0.2])  # [% by weight]
RATES = np.array([1119.0, 953.0, 797.0, 740.0])  # [nm/min]
HELD_OUT = 2
PEROXIDE = ((1.7, 740.0), (3.4, 913.0))  # [% by weight], [nm/min]


def _rate(unknown: Array, content: Array) -> Array:
    chemical, half, mechanical = np.exp(unknown)
    covered = [dissolved_factor(inhibitor=(each, 0.0, half)) for each in content]
    return slower(chemical * np.array(covered), np.full(content.shape, mechanical))


def inhibited() -> tuple[float, float, float]:
    """Return the chemical step without inhibitor [nm/min], the content that halves it [%], the mechanical step [nm/min].

    By least squares on three contents. The mechanical step is hardly settled by them: that found depends on the start.
    """
    used = np.arange(CONTENTS.size) != HELD_OUT
    found = least_squares(
        lambda x: _rate(x, CONTENTS[used]) / RATES[used] - 1.0, np.log([2000.0, 0.2, 3000.0])
    )
    chemical, half, mechanical = (float(each) for each in np.exp(found.x))
    return chemical, half, mechanical


def half_oxidised(mechanical: float) -> float:
    """Return the peroxide content [%] of half effect that two rates ask for beside a mechanical step [nm/min]."""
    (low, slow), (high, fast) = PEROXIDE
    risen = (1.0 / slow - 1.0 / mechanical) / (1.0 / fast - 1.0 / mechanical)
    # risen = high (low + half)/(low (high + half))
    return low * high * (risen - 1.0) / (high - low * risen)


def _oxidised() -> list[Row]:
    """Return the rows of the two peroxide contents: one number settles one unknown, so both are fitted."""
    mechanical = inhibited()[2]
    half, (low, slow) = half_oxidised(mechanical), PEROXIDE[0]
    chemical = 1.0 / (1.0 / slow - 1.0 / mechanical)
    return [
        Row(
            f"{content:g} % peroxide",
            measured,
            float(slower(chemical * dissolved_factor((content, low, half)), mechanical)),
            "nm/min",
            "fitted",
        )
        for content, measured in PEROXIDE
    ]


def rows() -> list[Row]:
    """Compute the rows: fitted to three contents of inhibitor, the fourth predicted; then the peroxide."""
    predicted = _rate(np.log(inhibited()), CONTENTS)
    return [*_inhibited(predicted), *_oxidised()]


def _inhibited(predicted: Array) -> list[Row]:
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
    title="Copper rate against inhibitor and peroxide content",
    source="US 2005/0090104 A1",
    read="full text",
    rows=rows,
    said=(
        "The inhibitor divides the chemical step, the oxidiser feeds it. Contents alone cannot tell how large the mechanical "
        "step is (a series of pressures would): with any from 1,500 nm/min up the inhibitor rows are met alike, and the two "
        "peroxide rates settle one number, so they test nothing. The contents of half effect in the setup rest on this: "
        "0.24 % of inhibitor (0.1 to 0.4), 1.8 % of peroxide (1 to 5)."
    ),
)
