"""Ceria with a cationic additive: the pressure below which nothing goes grows with the additive."""

from __future__ import annotations

import numpy as np

from planish.experiments.record import Experiment, Kind, Row
from planish.physics.removal.laws import removal_rate
from planish.physics.removal.threshold import LAW
from planish.units import PSI

THRESHOLDS = ((0.0, 0.0), (5.0, 0.6), (7.5, 1.0), (15.0, 2.0))  # [mM], [psi]
FITTED = (1, 3)  # the rows at 5 and 15 mM
STOPPED = (25.0, 4.0)  # [mM], [psi]: nothing goes up to there
K_P, SPEED = 2e-13, 1.0  # of any size: no threshold hangs on them


def slope() -> float:
    """Return the rise of the threshold with the additive [psi/mM], through 0, by least squares on the fitted rows."""
    content, pressure = np.array([THRESHOLDS[place] for place in FITTED]).T
    return float(content @ pressure / (content @ content))


def starts_at(content: float) -> float:
    """Return the pressure [psi] from which the threshold law removes anything at an additive content [mM]."""
    law = {"k_p": K_P, "p_threshold": slope() * content * PSI}
    low, high = 0.0, 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        gone = float(removal_rate(LAW.name, law, middle * PSI, SPEED)) > 0
        low, high = (low, middle) if gone else (middle, high)
    return 0.5 * (low + high)


def rows() -> list[Row]:
    """Compute the rows."""
    found = []
    for place, (content, measured) in enumerate(THRESHOLDS):
        kind: Kind = "fitted" if place in FITTED else "predicted"
        found.append(Row(f"threshold at {content:g} mM", measured, starts_at(content), "psi", kind))
    content, least = STOPPED
    found.append(
        Row(
            f"threshold at {content:g} mM (at least what is measured)",
            least,
            starts_at(content),
            "psi",
            "predicted",
        )
    )
    return found


EXPERIMENT = Experiment(
    name="additive-threshold",
    title="Threshold pressure of oxide with ceria against the content of an additive",
    source="ECS J. Solid State Sci. Technol. 2014, 10.1149/2.0091502jss",
    read="full text",
    rows=rows,
    said=(
        "A threshold in proportion to the additive, 0.13 psi/mM from two contents, meets the others up to 15 mM. At 25 mM it "
        "should polish from 3.3 psi on, where nothing went up to 4 psi: so much additive does more. The rate's slope above the "
        "threshold fell with the additive too; the law takes k_p as it is given and says nothing of that. In a setup the "
        "additive is the coefficient p_threshold, not a content."
    ),
)
