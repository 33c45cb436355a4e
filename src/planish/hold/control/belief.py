"""What is believed of a step between two wafers, and the two rules by which a belief moves: time passes, a wafer is measured.

A belief is a linear one. Its parts x (k, outputs) add up to the departure of each output from what was foretold,
h x with h (k,), and ``spread`` (k, k) is the covariance of their errors, the same for every output. All estimators share

    time passes:     x' = F x,                 P' = F P F' + Q
    one is measured: x' = x + K (y - h x),     P' = (I - K h) P (I - K h)' + K R K'

(the second form holds for any gain K, the best or not, R. E. Kalman's filter being the case K = P h'/(h P h' + R)); they
differ in their parts and in K.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.units import as_si

Array = NDArray[np.float64]
CHANGES = ("pad", "disk", "slurry")
"""What may be changed between wafers, as far as a belief knows."""


class Belief(NamedTuple):
    """``mean`` (k, outputs) of the parts, ``spread`` (k, k) of their errors."""

    mean: Array
    spread: Array


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations of what no wafer has told yet; in the unit of the outputs (relative, for removed amounts).

    Attributes
    ----------
    process
        Of the wafer itself: what no control can take away.
    measurement
        Of the metrology.
    wander
        Of the step of its wandering from wafer to wafer.
    start
        Of the first wafer from what is foretold.
    pad, disk, slurry
        From one pad, disk or batch of slurry to the next.
    ageing
        Of how much more or less a pad ages than is foretold, relative.

    Notes
    -----
    The values that stand here are invented for the demo, with those of process, slurry and measurement as in a lot.
    """

    process: float = 0.005
    measurement: float = 0.003
    wander: float = 0.001
    start: float = 0.02
    pad: float = 0.02
    disk: float = 0.01
    slurry: float = 0.02
    ageing: float = 0.3

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
                raise DataError(refuse(f"spread: {name}", value, "0 to 1", "relative, as 0.005 for 0.5 %"))
        if not self.noise > 0:
            raise DataError(
                refuse("spread: process and measurement", "both 0", "above 0, one at least",
                       "a measured wafer is never exact")
            )  # fmt: skip

    @property
    def noise(self) -> float:
        """Variance of a measured wafer about what is expected of it."""
        return self.process**2 + self.measurement**2

    def renewed(self, changed: tuple[str, ...]) -> float:
        """Return the variance that new consumables bring where nothing tells them apart."""
        return float(sum(getattr(self, name) ** 2 for name in changed if name in CHANGES))


USUAL = Spreads()


class Estimator(Protocol):
    """How a belief begins, passes from wafer to wafer, and learns."""

    @property
    def name(self) -> str:
        """As a person says it."""

    @property
    def physics(self) -> bool:
        """Whether what the lot model foretells is counted; else all of it is left to what is measured."""

    @property
    def spreads(self) -> Spreads:
        """What is stated of chance."""

    def first(self, outputs: int) -> Belief:
        """Return the belief before the first wafer."""

    def later(self, belief: Belief, changed: tuple[str, ...]) -> Belief:
        """Return the belief one wafer on, before which something was changed.

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

    def row(self, aged: float) -> Array:
        """Return h (k,) of a wafer whose pad has ``aged`` so far by what is foretold."""

    def gain(self, belief: Belief, row: Array) -> Array:
        """Return K (k,) for a measured wafer.

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


def moved(belief: Belief, gain: Array, row: Array, off: Array, noise: float) -> Belief:
    """Return the belief after a measured wafer.

    Parameters
    ----------
    belief
        Before.
    gain, row
        K and h, (k,).
    off
        How far the wafer was from what was expected, (outputs,).
    noise
        R.

    Returns
    -------
    Belief
        After.
    """
    kept = np.eye(gain.size) - np.outer(gain, row)
    spread = kept @ belief.spread @ kept.T + noise * np.outer(gain, gain)
    return Belief(belief.mean + np.outer(gain, off), 0.5 * (spread + spread.T))


def read_spreads(given: Spreads | Mapping[str, float | str] | None, place: str = "spreads") -> Spreads:
    """Return spreads as they were given: those that are named, and the others as they stand in the record.

    Parameters
    ----------
    given
        A record, or names with sizes, as ``{"pad": "2 %"}``.
    place
        What they are called, for the refusal.

    Returns
    -------
    Spreads
        All of them.

    Raises
    ------
    DataError
        For a name that is none, and a size that cannot be.
    """
    if given is None:
        return Spreads()
    if isinstance(given, Spreads):
        return given
    if not isinstance(given, Mapping):
        raise DataError(refuse(place, given, "a table of names and sizes", "as {'pad': '2 %'}"))
    names = tuple(Spreads.__dataclass_fields__)
    for name in given:
        if name not in names:
            raise DataError(refuse(f"{place}: name", name, f"one of {', '.join(names)}"))
    return Spreads(**{name: as_si(value, "ratio", f"{place}: {name}") for name, value in given.items()})
