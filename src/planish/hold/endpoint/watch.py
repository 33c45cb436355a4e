"""A recorded signal of friction, torque or eddy currents fed to a watcher sample by sample: when would it have called?"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.endpoint import chain, overpolish
from planish.hold.endpoint.asked import MACHINE_FIRST
from planish.hold.endpoint.overpolish import OverPolish, over_polish
from planish.hold.endpoint.trace import DRAWN, Trace, read_trace
from planish.hold.endpoint.watcher import LONGEST, By, ChangeWatcher, Direction, Plan
from planish.results.result import Result

Array = NDArray[np.float64]
KIN = 0.3  # correlation of neighbouring blocks above which the promise is in doubt


@dataclass(frozen=True, slots=True, repr=False)
class WatchedTrace(Result):
    """A signal watched for a change.

    Attributes
    ----------
    trace
        What was recorded.
    by
        "level" or "slope".
    plan
        How the baseline is watched, with what is promised.
    times, blocks
        Middles of the blocks [s], and their levels or slopes.
    found, began
        When the change was called, and when it began by the sum [s]; None without.
    direction
        "up" or "down".
    step
        By how much the blocks changed, from the baseline to those since it began.
    over
        What over-polish was asked for; None without.
    """

    kind: ClassVar[str] = "watched trace"

    trace: Trace
    by: By
    plan: Plan
    times: Array
    blocks: Array
    found: float | None
    began: float | None
    direction: str | None
    step: float | None
    over: OverPolish | None

    def _told(self) -> str:
        when = "no change" if self.found is None else f"{self.by} goes {self.direction} at {self.found:.4g} s"
        return f"{Path(self.trace.source).name}: {when}"

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, what is in doubt, and a word of care."""
        said = list(self.trace.notes)
        if abs(self.plan.kinship) > max(KIN, 2.5 / np.sqrt(self.plan.learned)):
            said.append(
                f"neighbouring blocks of the baseline hang together (correlation {self.plan.kinship:.2f}): false alarms are "
                "more frequent than promised; take longer blocks, of whole turns of the platen"
            )
        if self.found is None:
            said.append("no change was found up to the end of the trace")
        return tuple(dict.fromkeys([*said, MACHINE_FIRST]))

    def sources(self) -> list[str]:
        """Return what the answer rests on, a line each."""
        return list(dict.fromkeys([*chain.SOURCES, *(overpolish.SOURCES if self.over is not None else ())]))

    def _content(self) -> dict[str, Any]:
        plan = self.plan
        found: dict[str, Any] = {
            "by": self.by,
            "found_s": self.found,
            "began_s": self.began,
            "direction": self.direction,
            "step": self.step,
            "baseline_mean": plan.mean,
            "baseline_sd": plan.sd,
            "change_in_sd": plan.change,
            "threshold_in_sd": plan.threshold,
            "promised_delay_s": plan.delay,
            "promised_false_alarms_percent": 100 * plan.false_share,
            "kinship": plan.kinship,
        }
        if self.over is not None:
            found |= {
                "over_polish_s": self.over.over,
                "clear_share_percent": 100 * self.over.share,
                "clear_s": self.over.time,
            }
        thin = max(1, -(-len(self.times) // DRAWN))
        rows = [
            {"time_s": float(t), "block": float(y)}
            for t, y in zip(self.times[::thin], self.blocks[::thin], strict=True)
        ]
        return {**found, "blocks": rows}


def watch_trace(
    trace: str | os.PathLike[str] | Trace,
    *,
    change: float | None = None,
    by: By = "level",
    direction: Direction = "either",
    baseline: float | str = 20.0,
    block: float | str = 1.0,
    false_alarms: float | str = 0.005,
    longest: float | str = LONGEST,
    column: str | None = None,
    clear: float | str | None = None,
    rate_spread: float | str = 0.0,
    film_spread: float | str = 0.0,
) -> WatchedTrace:
    """Replay a signal of friction, torque or eddy currents, and say when its change was sure.

    Parameters
    ----------
    trace
        A file (:func:`~planish.hold.endpoint.trace.read_trace`), or a trace.
    change, by, direction, baseline, block, false_alarms, longest
        As of :class:`~planish.hold.endpoint.watcher.ChangeWatcher`.
    column
        Of the signal, where there are several.
    clear
        Share of the wafer that is to be clear, for the over-polish.
    rate_spread, film_spread
        Relative standard deviations over the wafer, for the over-polish.

    Returns
    -------
    WatchedTrace
        With what the watcher promises.

    Raises
    ------
    DataError
        For a file that cannot be read, a trace shorter than its baseline, and values that cannot be.
    """
    read = read_trace(trace, column)
    if read.signals.shape[1] != 1:
        raise DataError(
            refuse(
                f"{read.source}: signal", f"{read.signals.shape[1]} columns", "one", "name it with --column"
            )
        )
    watcher = ChangeWatcher(
        change=change,
        by=by,
        direction=direction,
        baseline=baseline,
        block=block,
        false_alarms=false_alarms,
        longest=longest,
    )
    for time, signal in zip(read.times, read.signals[:, 0], strict=True):
        state = watcher.feed(float(time), float(signal))
    if watcher.plan is None:
        span = float(read.times[-1] - read.times[0])
        raise DataError(
            refuse(
                f"{read.source}: time",
                f"{span:g} s",
                f"longer than its baseline, {watcher.baseline:g} s",
                "take a shorter one",
            )
        )
    times, blocks = np.array(watcher.times), np.array(watcher.blocks)
    step = None
    if state.began is not None:
        since = times > state.began
        step = float(blocks[since].mean() - watcher.plan.mean) if since.any() else None
    over = None
    if clear is not None and state.found is not None:
        over = over_polish(
            state.found - float(read.times[0]), clear, rate_spread=rate_spread, film_spread=film_spread
        )
    return WatchedTrace(
        read, by, watcher.plan, times, blocks, state.found, state.began, state.direction, step, over
    )
