"""What the mean of a process does while a chart looks on: it stands, has shifted, or drifts."""

from __future__ import annotations

from dataclasses import dataclass

from planish.engine.record import Record
from planish.errors import DataError, refuse

FARTHEST = 50.0  # sigmas: beyond it a chart alarms at once, whatever it is


@dataclass(frozen=True, slots=True, repr=False)
class Mean(Record):
    """The mean of sample t = 1, 2, ..., in standard deviations of one sample from the target.

    It is ``shift + drift (t - 1 + first)``; ``first`` says how many steps of the drift the first sample carries (0 or 1).
    """

    shift: float = 0.0
    drift: float = 0.0
    first: int = 1

    def __post_init__(self) -> None:
        for name, value in (("shift", self.shift), ("drift", self.drift)):
            if not abs(value) <= FARTHEST:
                raise DataError(refuse(f"{name} [sigma]", value, f"a number within ±{FARTHEST:g}"))
        if self.first not in (0, 1):
            raise DataError(
                refuse(
                    "drift from", self.first, "0 or 1", "1: the first sample carries one step of the drift"
                )
            )

    def at(self, sample: int) -> float:
        """Return the mean of a sample.

        Parameters
        ----------
        sample
            Its number, from 1.

        Returns
        -------
        float
            [standard deviations of one sample].
        """
        return self.shift + self.drift * (sample - 1 + self.first)

    def leaves(self, sample: int) -> bool:
        """Return whether the mean moves away from the target from this sample on.

        Parameters
        ----------
        sample
            Its number, from 1.

        Returns
        -------
        bool
            False for a mean that stands, or that still comes nearer.
        """
        return self.drift * self.at(sample) > 0


@dataclass(frozen=True, slots=True, repr=False)
class Length(Record):
    """A mean run length with the error of its computation, and how many charts are still silent.

    Attributes
    ----------
    mean
        Average run length [samples].
    error
        How far it may be off [samples], as a finer computation shows.
    silent
        Share of charts without an alarm after each sample; empty where only the mean was solved for.
    """

    mean: float
    error: float
    silent: tuple[float, ...] = ()
