"""Estimators that weigh the newest wafer by a fixed share: one average, or an average and a drift.

One average (EWMA): level a, a' = a + w (y - a). Two (level and drift, in Holt's form): a goes on by the drift d from wafer
to wafer, and e = y - a moves both, a' = a + w e, d' = d + w v e.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planish.errors import DataError, refuse
from planish.hold.control.belief import USUAL, Array, Belief, Spreads

WEIGHT = 0.3
DRIFT_WEIGHT = 0.1


def _checked(name: str, value: float) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= 1:
        raise DataError(refuse(name, value, "above 0 and at most 1", "0.2 to 0.4 is usual"))


@dataclass(frozen=True, slots=True)
class Ewma:
    """An exponentially weighted average of the departures.

    ``weight`` of the newest wafer; nothing is known of pad and disk apart, so that their change leaves the level as it is.
    """

    weight: float = WEIGHT
    physics: bool = False
    spreads: Spreads = USUAL
    name: str = "ewma"

    def __post_init__(self) -> None:
        _checked("weight", self.weight)

    def first(self, outputs: int) -> Belief:
        """Return the belief before the first wafer."""
        return Belief(np.zeros((1, outputs)), np.array([[self.spreads.start**2]]))

    def later(self, belief: Belief, changed: tuple[str, ...]) -> Belief:
        """Return the belief one wafer on.

        Parameters
        ----------
        belief
            Before.
        changed
            What was changed before that wafer.

        Returns
        -------
        Belief
            After.
        """
        return Belief(belief.mean, belief.spread + self.spreads.wander**2 + self.spreads.renewed(changed))

    def row(self, aged: float) -> Array:
        """Return h."""
        del aged
        return np.ones(1)

    def gain(self, belief: Belief, row: Array) -> Array:
        """Return K.

        Parameters
        ----------
        belief
            Before the measurement.
        row
            h of the wafer, (k,).

        Returns
        -------
        Array
            K.
        """
        del belief, row
        return np.array([self.weight])


@dataclass(frozen=True, slots=True)
class DoubleEwma:
    """A weighted level that goes on by a weighted drift.

    ``weight`` of the newest wafer in the level, ``drift_weight`` of the level's own step in the drift. A drift is that of pad and
    disk as they wear: when one is changed nothing is known of it, and it begins at 0.
    """

    weight: float = WEIGHT
    drift_weight: float = DRIFT_WEIGHT
    physics: bool = False
    spreads: Spreads = USUAL
    name: str = "double ewma"

    def __post_init__(self) -> None:
        _checked("weight", self.weight)
        _checked("drift weight", self.drift_weight)

    def first(self, outputs: int) -> Belief:
        """Return the belief before the first wafer."""
        return Belief(np.zeros((2, outputs)), np.diag([self.spreads.start**2, self.spreads.wander**2]))

    def later(self, belief: Belief, changed: tuple[str, ...]) -> Belief:
        """Return the belief one wafer on.

        Parameters
        ----------
        belief
            Before.
        changed
            What was changed before that wafer.

        Returns
        -------
        Belief
            After.
        """
        mean, spread = belief
        if "pad" in changed or "disk" in changed:
            mean = mean * np.array([[1.0], [0.0]])
            spread = np.diag([spread[0, 0], self.spreads.wander**2])
        on = np.array([[1.0, 1.0], [0.0, 1.0]])
        spread = on @ spread @ on.T
        spread[0, 0] += self.spreads.wander**2 + self.spreads.renewed(changed)
        return Belief(on @ mean, spread)

    def row(self, aged: float) -> Array:
        """Return h."""
        del aged
        return np.array([1.0, 0.0])

    def gain(self, belief: Belief, row: Array) -> Array:
        """Return K.

        Parameters
        ----------
        belief
            Before the measurement.
        row
            h of the wafer, (k,).

        Returns
        -------
        Array
            K.
        """
        del belief, row
        return np.array([self.weight, self.weight * self.drift_weight])
