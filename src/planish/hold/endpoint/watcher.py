"""A change in friction, torque or eddy currents, called as soon as it is sure: feed samples, ask the state."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.endpoint.chain import mean_run, threshold_for
from planish.units import as_si

Array = NDArray[np.float64]
By: TypeAlias = Literal["level", "slope"]
Direction: TypeAlias = Literal["up", "down", "either"]
USUAL_CHANGE = 4.0  # standard deviations of a block
LEAST_CHANGE = 0.5
FEWEST = 10  # blocks of a baseline
LONGEST = 600.0  # [s] for which the share of false alarms is promised, unless told otherwise


@dataclass(frozen=True, slots=True, repr=False)
class Plan(Record):
    """How a baseline is watched.

    Attributes
    ----------
    mean, sd
        Of the blocks of the baseline.
    change
        Smallest change to be found, in standard deviations.
    threshold
        Of the cumulative sum, in standard deviations.
    delay
        From a change of that size to the call, on average [s].
    false_share
        Of traces without a change that are called within the time that was told.
    kinship
        Correlation of neighbouring blocks of the baseline; the promise takes it as 0.
    learned
        Blocks of the baseline.
    """

    mean: float
    sd: float
    change: float
    threshold: float
    delay: float
    false_share: float
    kinship: float
    learned: int


@dataclass(frozen=True, slots=True, repr=False)
class WatchState(Record):
    """What is known after a sample: ``stage`` ("learning", "watching" or "found"), ``score`` of the sum as a share of its threshold, when the change was ``found`` and when it ``began`` [s], and its ``direction``."""

    time: float
    stage: str
    score: float = 0.0
    found: float | None = None
    began: float | None = None
    direction: str | None = None


class ChangeWatcher:
    """Watches a signal for a change of level or slope. ``feed`` takes a sample and returns the state.

    Parameters
    ----------
    change
        Smallest change to be found: of the level in the signal's own units, or of the slope in them per second; 4
        standard deviations of a block unless given.
    by
        "level" (friction, torque, a current) or "slope" (a signal that falls with the film, as of eddy currents).
    direction
        "up", "down" or "either".
    baseline
        Time from the first sample on in which nothing happens, to learn from [s, or text].
    block
        Samples of this time are taken together; whole turns of the platen take its ripple out [s, or text].
    false_alarms
        Share of traces without a change that may be called.
    longest
        Time for which that share is promised [s, or text].

    Raises
    ------
    DataError
        For values that cannot be.
    """

    def __init__(
        self,
        *,
        change: float | None = None,
        by: By = "level",
        direction: Direction = "either",
        baseline: float | str = 20.0,
        block: float | str = 1.0,
        false_alarms: float | str = 0.005,
        longest: float | str = LONGEST,
    ) -> None:
        self.change, self.by, self.direction = change, by, direction
        self.baseline = as_si(baseline, "time", "baseline")
        self.block = as_si(block, "time", "block")
        self.false_alarms = as_si(false_alarms, "ratio", "false alarms")
        self.longest = as_si(longest, "time", "longest")
        self._check()
        self.plan: Plan | None = None
        self.times: list[float] = []  # middles of the blocks
        self.blocks: list[float] = []
        self._held: list[tuple[float, float]] = []
        self._start: float | None = None
        self._last = -inf
        self._sums = [0.0, 0.0]
        self._zero: list[float] = [0.0, 0.0]  # when each sum last stood at 0
        self.state = WatchState(0.0, "learning")

    def _check(self) -> None:
        if self.by not in ("level", "slope"):
            raise DataError(refuse("by", self.by, "level or slope"))
        if self.direction not in ("up", "down", "either"):
            raise DataError(refuse("direction", self.direction, "up, down or either"))
        if not 0 < self.block <= 600:
            raise DataError(refuse("block", f"{self.block:g} s", "above 0 and up to 600 s"))
        if not FEWEST * self.block <= self.baseline <= 3600:
            raise DataError(
                refuse(
                    "baseline",
                    f"{self.baseline:g} s",
                    f"from {FEWEST} blocks ({FEWEST * self.block:g} s) to 3600 s",
                )
            )
        if not 1e-6 <= self.false_alarms <= 0.5:
            raise DataError(refuse("false alarms", f"{100 * self.false_alarms:g} %", "from 0.0001 to 50 %"))
        if not self.block <= self.longest <= 36000:
            raise DataError(refuse("longest", f"{self.longest:g} s", "from one block to 36000 s"))
        if self.change is not None and not (isfinite(self.change) and self.change > 0):
            raise DataError(refuse("change", self.change, "above 0", "its direction is another option"))

    def feed(self, time: float, signal: float) -> WatchState:
        """Take a sample in.

        Parameters
        ----------
        time
            Of the sample [s], after the one before.
        signal
            In units of its own.

        Returns
        -------
        WatchState
            What is now known.

        Raises
        ------
        DataError
            For a time that does not rise, a signal that is no number, a baseline that does not vary at all, or blocks
            with too few samples.
        """
        if not isfinite(signal):
            raise DataError(refuse("signal", signal, "finite", "leave the sample out"))
        if not (isfinite(time) and time > self._last):
            raise DataError(
                refuse("time of a sample [s]", time, f"above {self._last:g}, that of the one before")
            )
        self._last = time
        if self._start is None:
            self._start = time
        at = int((time - self._start) / self.block + 1e-9)
        full = bool(self._held) and at > int((self._held[0][0] - self._start) / self.block + 1e-9)
        if full:
            self._close()
        self._held.append((time, signal))
        found = self.state
        stage = "found" if found.found is not None else "learning" if self.plan is None else "watching"
        self.state = WatchState(time, stage, self._score(), found.found, found.began, found.direction)
        return self.state

    def _close(self) -> None:
        """Turn the samples held into one block, and take it into the sums."""
        t, y = np.array(self._held).T
        self._held = []
        if self.by == "slope":
            if t.size < 3:
                raise DataError(
                    refuse("block", f"{self.block:g} s", "so long that it holds three samples or more")
                )
            away = t - t.mean()
            value = float(away @ y / (away @ away))
        else:
            value = float(y.mean())
        self.times.append(float(t.mean()))
        self.blocks.append(value)
        assert self._start is not None
        if self.plan is None:
            if t[-1] - self._start + self.block > self.baseline and len(self.blocks) >= FEWEST:
                self._learn(float(t[-1]))
            return
        if self.state.found is None:
            self._watch(value, float(t[-1]))

    def _learn(self, time: float) -> None:
        y = np.array(self.blocks)
        mean, sd = float(y.mean()), float(y.std(ddof=1))
        if not sd > 1e-12 * max(abs(mean), 1e-300):
            raise DataError(
                refuse(
                    "spread of the baseline",
                    sd,
                    "above 0",
                    "a signal that never varies tells nothing: is it the right column?",
                )
            )
        change = USUAL_CHANGE if self.change is None else self.change / sd
        if change < LEAST_CHANGE:
            raise DataError(
                refuse(
                    "change",
                    f"{change:.3g} standard deviations of a block",
                    f"{LEAST_CHANGE} or more",
                    "longer blocks have less noise",
                )
            )
        k = round(0.5 * min(change, 12.0), 3)
        share = self.false_alarms * (0.5 if self.direction == "either" else 1.0)
        count = max(1, int(np.ceil(self.longest / self.block)))
        threshold = threshold_for(k, count, y.size, share)
        delay = mean_run(threshold, k, change) * self.block
        away = y - mean
        kinship = float(away[1:] @ away[:-1] / (away @ away))
        self.plan = Plan(mean, sd, change, threshold, delay, self.false_alarms, kinship, y.size)
        self._zero = [time, time]

    def _watch(self, value: float, time: float) -> None:
        assert self.plan is not None
        z, k = (value - self.plan.mean) / self.plan.sd, round(0.5 * min(self.plan.change, 12.0), 3)
        for at, signed in enumerate((z, -z)):
            if self.direction == ("down", "up")[at]:
                continue
            self._sums[at] = max(0.0, self._sums[at] + signed - k)
            if self._sums[at] == 0.0:
                self._zero[at] = time
            if self._sums[at] > self.plan.threshold:
                way = ("up", "down")[at]
                self.state = WatchState(time, "found", 1.0, time, self._zero[at], way)
                return

    def _score(self) -> float:
        return 0.0 if self.plan is None else min(max(self._sums) / self.plan.threshold, 1.0)
