"""A recorded optical trace fed to a follower sample by sample, as the machine would: when would it have called?"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Unpack

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.errors import DataError, refuse
from planish.hold.endpoint import follower, overpolish
from planish.hold.endpoint.asked import MACHINE_FIRST, OpticsAsked, Range, optics_of, read_range
from planish.hold.endpoint.follower import FilmFollower, FilmState
from planish.hold.endpoint.overpolish import OverPolish, over_polish
from planish.hold.endpoint.trace import DRAWN, Trace, read_trace
from planish.hold.endpoint.view import FilmView
from planish.physics.optics import stack
from planish.results.result import Result
from planish.units import NM_PER_MIN

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Following of a film by an extended Kalman filter, begun by least squares over all starts that may be: our own derivation",
)


@dataclass(frozen=True, slots=True, repr=False)
class FollowedTrace(Result):
    """A film followed by its light.

    Attributes
    ----------
    trace, view
        What was recorded, and what it looks at.
    target
        Thickness to stop at [m].
    states
        After each sample.
    seen
        Signal that the film as followed should give, first colour, (samples,); not-a-number while looking.
    called, reached
        Sample at which the call came, and when the film was at the target by what was then known [s]; None where the
        trace ends before.
    lost
        How often the film was lost and found again.
    over
        What over-polish was asked for; None without.
    assumed
        A line each.
    """

    kind: ClassVar[str] = "followed trace"

    trace: Trace
    view: FilmView
    target: float
    states: tuple[FilmState, ...]
    seen: Array
    called: float | None
    reached: float | None
    lost: int
    over: OverPolish | None
    assumed: tuple[str, ...]

    def _told(self) -> str:
        when = "not reached" if self.called is None else f"reached at {self.called:.4g} s"
        return f"{Path(self.trace.source).name}: {figure(1e9 * self.target, 'nm')} {when}"

    @property
    def at_call(self) -> FilmState:
        """What was known at the call, or at the end where there was none."""
        return next((one for one in self.states if one.time == self.called), self.states[-1])

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, what happened, and a word of care."""
        said = [*self.assumed, *self.trace.notes]
        if self.called is None:
            last = self.states[-1]
            if last.thickness is None:
                said.append(
                    "the trace was never understood: is the film, the light, the start or the rate another one?"
                )
            else:
                said.append(
                    f"the trace ends with {1e9 * last.thickness:.4g} nm left: the target was not reached"
                )
        if self.lost:
            said.append(
                f"the film was lost {counted(self.lost, 'time')} and looked for again within half a fringe of where it "
                "should have been: the thickness may be a whole fringe off"
            )
        said.append(
            "errors are those of the noise and of a rate that wanders; an index that is off by 1 % is off by 1 % beside"
        )
        return tuple(dict.fromkeys([*said, MACHINE_FIRST]))

    def sources(self) -> list[str]:
        """Return what the answer rests on, a line each."""
        more = overpolish.SOURCES if self.over is not None else ()
        return list(dict.fromkeys([*SOURCES, *stack.SOURCES, *self.view.sources(), *more]))

    def _content(self) -> dict[str, Any]:
        here = self.at_call
        understood = next((one.time for one in self.states if one.thickness is not None), None)
        found: dict[str, Any] = {
            "target_nm": 1e9 * self.target,
            "called_s": self.called,
            "reached_s": self.reached,
            "understood_s": understood,
            "thickness_nm": _scaled(here.thickness, 1e9),
            "thickness_error_nm": _scaled(here.thickness_sd, 1e9),
            "removal_rate_nm_per_min": _scaled(here.rate, NM_PER_MIN),
            "removal_rate_error_nm_per_min": _scaled(here.rate_sd, NM_PER_MIN),
            "left_s": here.left,
            "left_error_s": here.left_sd,
            "fringe_nm": 1e9 * self.view.fringe,
            "samples": len(self.states),
            "lost": self.lost,
        }
        if self.trace.truth.size and self.called is not None:
            at = int(np.searchsorted(self.trace.times, self.called))
            found["off_target_nm"] = 1e9 * (float(self.trace.truth[at]) - self.target)
        if self.over is not None:
            found |= {
                "over_polish_s": self.over.over,
                "clear_share_percent": 100 * self.over.share,
                "clear_s": self.over.time,
                "first_clear_s": self.over.first,
            }
        return {**found, "film": self.view.words, "states": self._rows()}

    def _rows(self) -> list[dict[str, Any]]:
        thin = max(1, -(-len(self.states) // DRAWN))
        picked = sorted({*range(0, len(self.states), thin), len(self.states) - 1})
        return [
            {
                "time_s": one.time,
                "stage": one.stage,
                "signal": float(self.trace.signals[at, 0]),
                "signal_as_followed": None if np.isnan(self.seen[at]) else float(self.seen[at]),
                "thickness_nm": _scaled(one.thickness, 1e9),
                "thickness_error_nm": _scaled(one.thickness_sd, 1e9),
                "removal_rate_nm_per_min": _scaled(one.rate, NM_PER_MIN),
                "left_s": one.left,
            }
            for at, one in ((at, self.states[at]) for at in picked)
        ]


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else factor * value


def follow_trace(
    trace: str | os.PathLike[str] | Trace,
    target: float | str,
    *,
    start: Range | None = None,
    rate: Range | None = None,
    lead: float | str = 0.0,
    wander: float | str = follower.WANDER,
    column: str | None = None,
    clear: float | str | None = None,
    rate_spread: float | str = 0.0,
    film_spread: float | str = 0.0,
    **optics: Unpack[OpticsAsked],
) -> FollowedTrace:
    """Replay an optical trace: follow the film by its light, and say when the target was reached.

    Parameters
    ----------
    trace
        A file (:func:`~planish.hold.endpoint.trace.read_trace`), or a trace.
    target
        Thickness to stop at [m, or text].
    start, rate
        Least and most thickness at the first sample, and removal rate: ``"940..1060 nm"``, ``"150..250 nm/min"``; as
        the file says unless given.
    lead
        Time from the call to the stop of the removal [s, or text].
    wander
        By how much the rate wanders in a minute, one standard deviation, as a share.
    column
        Of the signal, where there are several.
    clear
        Share of the wafer that is to be clear, for the over-polish.
    rate_spread, film_spread
        Relative standard deviations over the wafer, for the over-polish.
    **optics
        ``film``, ``light``, ``under``, ``ambient``, ``angle``, ``polarization``, ``below`` and ``share`` as of
        :meth:`FilmView.of <planish.hold.endpoint.view.FilmView.of>`; as the file says unless given.

    Returns
    -------
    FollowedTrace
        With the state after each sample.

    Raises
    ------
    DataError
        For a file that cannot be read, what is missing, and values that cannot be.
    ModelError
        For a wavelength at which a material's index is not known.
    """
    read = read_trace(trace, column)
    view, assumed = optics_of(optics).view(read)
    thick, rates = (
        start if start is not None else read.told.get("start"),
        rate if rate is not None else read.told.get("rate"),
    )
    for name, given, example in (("start", thick, "940..1060 nm"), ("rate", rates, "150..250 nm/min")):
        if given is None:
            raise DataError(
                f"{read.source}: {name}: not given: must be the least and the most (as '{example}')"
            )
    following = FilmFollower(
        view,
        target=target,
        start=read_range(thick or "", "thickness", "start thickness"),
        rate=read_range(rates or "", "rate", "removal rate"),
        lead=lead,
        wander=wander,
    )
    if clear is not None and following.target > 0:
        raise DataError(
            refuse(
                "share to clear",
                clear,
                "left out where the target is above 0 nm",
                "a film that stays is not cleared",
            )
        )
    states, seen = [], np.full(len(read.times), np.nan)
    for at, (time, sample) in enumerate(zip(read.times, read.signals, strict=True)):
        states.append(following.feed(float(time), sample))
        if following.expected is not None:
            seen[at] = following.expected[0]
    over = None
    if clear is not None and following.reached is not None:
        over = over_polish(
            following.reached - float(read.times[0]), clear, rate_spread=rate_spread, film_spread=film_spread
        )
    return FollowedTrace(
        read,
        view,
        following.target,
        tuple(states),
        seen,
        following.called,
        following.reached,
        following.lost,
        over,
        assumed,
    )
