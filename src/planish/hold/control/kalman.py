"""The estimator that knows where departures come from: the machine, this pad, this disk, and how this pad ages.

Four parts: the machine's own departure, which wanders (a random walk) and takes in each batch of slurry; the pad's and the disk's,
which stay as long as they do; and the share by which the pad ages more than is foretold, which shows as it ages. A new pad
takes the third and fourth back to their prior, a new disk its own; what is known of the rest is kept. The gain is the best for
the stated spreads (R. E. Kalman's), so it is large after a change and small when all is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planish.hold.control.belief import USUAL, Array, Belief, Spreads

MACHINE, PAD, DISK, AGEING = range(4)


@dataclass(frozen=True, slots=True)
class Kalman:
    """The best linear estimator for the stated ``spreads``."""

    physics: bool = True
    spreads: Spreads = USUAL
    name: str = "kalman"

    def first(self, outputs: int) -> Belief:
        """Return the belief before the first wafer: a new pad and a new disk, as each other may be."""
        s = self.spreads
        return Belief(
            np.zeros((4, outputs)), np.diag(np.square([s.start, s.pad, s.disk, s.ageing]).astype(float))
        )

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
        mean, spread, s = belief.mean, belief.spread.copy(), self.spreads
        parts = [*((PAD, AGEING) if "pad" in changed else ()), *((DISK,) if "disk" in changed else ())]
        if parts:
            mean = mean.copy()
            mean[parts] = 0.0
            spread[parts, :] = 0.0
            spread[:, parts] = 0.0
            prior = {PAD: s.pad, DISK: s.disk, AGEING: s.ageing}
            for part in parts:
                spread[part, part] = prior[part] ** 2
        spread[MACHINE, MACHINE] += s.wander**2 + (s.slurry**2 if "slurry" in changed else 0.0)
        return Belief(mean, spread)

    def row(self, aged: float) -> Array:
        """Return h."""
        return np.array([1.0, 1.0, 1.0, aged])

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
        seen = belief.spread @ row
        return np.asarray(seen / (row @ seen + self.spreads.noise))
