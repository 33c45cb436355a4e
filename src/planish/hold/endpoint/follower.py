"""The thickness that is left, sample by sample, from the light that comes back: feed samples, ask the state."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import Record, figure
from planish.errors import DataError, refuse
from planish.hold.endpoint.acquire import Known, understand
from planish.hold.endpoint.view import THICKEST, FilmView, SeenTable
from planish.units import NM_PER_MIN, as_si

Array = NDArray[np.float64]
FIRST = 12  # samples before the first try
AGAIN = 1.08  # the next try comes when there are so many times the samples
LEAST_FRINGE = 0.35  # of a fringe that the slowest rate must have taken away before the first try
WANDER = 0.05  # of rate, gain and offset in a minute, one standard deviation, unless told otherwise
MEMORY = 30  # samples over which surprise is averaged
SURPRISED = 4.0  # times what the noise explains: the trace is lost
KEPT = 2000  # samples at most that the beginning is understood from


@dataclass(frozen=True, slots=True, repr=False)
class FilmState(Record):
    """What is known after a sample.

    Attributes
    ----------
    time
        Of the sample [s].
    stage
        "looking" for the thickness, "following" it, "reached", or "lost".
    thickness, thickness_sd
        Left, and its standard deviation [m]; None while looking.
    rate, rate_sd
        [m/s]; None while looking.
    left, left_sd
        Time to the target [s], below 0 once it is passed; None while looking.
    """

    time: float
    stage: str
    thickness: float | None = None
    thickness_sd: float | None = None
    rate: float | None = None
    rate_sd: float | None = None
    left: float | None = None
    left_sd: float | None = None

    def _told(self) -> str:
        if self.thickness is None or self.rate is None:
            return f"{self.time:.4g} s, {self.stage}"
        return (
            f"{self.time:.4g} s, {self.stage}: {figure(1e9 * self.thickness, 'nm')} left, "
            f"{figure(self.rate * NM_PER_MIN, 'nm/min')}, target in {figure(self.left, 's', 3)}"
        )


class FilmFollower:
    """Follows a film by its light. ``feed`` takes a sample and returns the state; ``state`` is the last one.

    Parameters
    ----------
    view
        What the light sees.
    target
        Thickness at which to stop [m, or text].
    start
        Least and most that the film may have at the first sample [m, or text].
    rate
        Least and most removal rate [m/s, or text].
    lead
        Time from the call to the stop of the removal [s, or text]: the call comes so much earlier.
    wander
        By how much rate, gain and offset of the sensor wander in a minute: one standard deviation, as a share.

    Raises
    ------
    DataError
        For values that cannot be, and a start that spans more than one fringe where fringes are all alike.
    """

    def __init__(
        self,
        view: FilmView,
        *,
        target: float | str,
        start: tuple[float | str, float | str],
        rate: tuple[float | str, float | str],
        lead: float | str = 0.0,
        wander: float | str = WANDER,
    ) -> None:
        self.view = view
        self.target = as_si(target, "thickness", "target thickness")
        thick = self._pair("start thickness", "thickness", start)
        rates = self._pair("removal rate", "rate", rate)
        self.lead = as_si(lead, "time", "lead of the call")
        self.wander = as_si(wander, "ratio", "wander of the rate")
        self._check(thick, rates)
        self.known = Known(thick, rates)
        self._table = SeenTable.of(view, thick[1] + view.fringe)
        self._times: list[float] = []
        self._samples: list[Array] = []
        self._gathered, self._next = 0, FIRST
        self._x: Array | None = None
        self._spread = np.zeros((4, 4))
        self._powers = np.zeros(3)
        self._noise = 0.0
        self._surprise = 1.0
        self._since = 0
        self.lost = 0
        self.called: float | None = None
        self.reached: float | None = None
        self.state = FilmState(0.0, "looking")

    @staticmethod
    def _pair(name: str, dimension: str, given: tuple[float | str, float | str]) -> tuple[float, float]:
        if isinstance(given, str) or len(given) != 2:
            raise DataError(refuse(name, given, "a pair: the least and the most"))
        low, high = (as_si(one, dimension, name) for one in given)
        return low, high

    def _check(self, thick: tuple[float, float], rates: tuple[float, float]) -> None:
        def told(pair: tuple[float, float]) -> str:
            return f"{1e9 * pair[0]:.5g} to {1e9 * pair[1]:.5g} nm"

        if not 0 < thick[0] <= thick[1] <= THICKEST:
            raise DataError(
                refuse("start thickness", told(thick), "least and most, above 0 and up to 100 um")
            )
        if not 0 <= self.target < thick[0]:
            raise DataError(
                refuse(
                    "target thickness",
                    f"{1e9 * self.target:.5g} nm",
                    f"0 nm or more, and below the start, {told(thick)}",
                )
            )
        if not 0 < rates[0] <= rates[1] <= 1e-6:
            shown = f"{rates[0] * NM_PER_MIN:.5g} to {rates[1] * NM_PER_MIN:.5g} nm/min"
            raise DataError(refuse("removal rate", shown, "least and most, above 0 and up to 60000 nm/min"))
        if not 0 <= self.lead <= 60:
            raise DataError(refuse("lead of the call", f"{self.lead:g} s", "from 0 to 60 s"))
        if not 0 < self.wander <= 1:
            raise DataError(refuse("wander of the rate", self.wander, "above 0 and up to 1 in a minute"))
        fringe = self.view.fringe
        if self.view.repeats and thick[1] - thick[0] >= fringe:
            raise DataError(
                refuse(
                    "start thickness",
                    told(thick),
                    f"within one fringe, {1e9 * fringe:.4g} nm",
                    "fringes of one colour are all alike: measure before, or take light of several colours",
                )
            )

    def feed(self, time: float, sample: ArrayLike) -> FilmState:
        """Take a sample in.

        Parameters
        ----------
        time
            Of the sample [s], after the one before.
        sample
            The signal, one number a colour.

        Returns
        -------
        FilmState
            What is now known.

        Raises
        ------
        DataError
            For a time that does not rise, and a signal that is no number or of other colours.
        """
        y = np.atleast_1d(np.asarray(sample, dtype=np.float64))
        if y.shape != self.view.wavelengths.shape:
            raise DataError(
                refuse("numbers of a sample", y.size, f"{self.view.wavelengths.size}, one a colour")
            )
        if not np.isfinite(y).all():
            raise DataError(refuse("signal", float(y[~np.isfinite(y)][0]), "finite", "leave the sample out"))
        before = self._times[-1] if self._times else -inf
        if not (isfinite(time) and time > before):
            raise DataError(refuse("time of a sample [s]", time, f"above {before:g}, that of the one before"))
        if self._x is None:
            self._gather(time, y)
        else:
            self._follow(time, y)
        self.state = self._told(time)
        return self.state

    def _gather(self, time: float, y: Array) -> None:
        """Keep a sample, and try to understand the beginning now and then."""
        self._times.append(time)
        self._samples.append(y)
        self._gathered += 1
        if len(self._times) > KEPT:
            # What came long ago tells the rate of then: the thickness at the start is followed by what is known of it.
            passed = self._times[1] - self._times[0]
            (low, high), (slow, fast) = self.known.start, self.known.rate
            self.known = Known(
                (max(low - fast * passed, 0.0), max(high - slow * passed, 0.0)), self.known.rate
            )
            del self._times[0], self._samples[0]
        taken = self.known.rate[0] * (time - self._times[0])
        if self._gathered < self._next or taken < LEAST_FRINGE * self.view.fringe:
            return
        self._next = max(self._gathered + 1, int(AGAIN * self._gathered))
        found = understand(
            self._table, self.view.fringe, np.array(self._times), np.array(self._samples), self.known
        )
        if found is None:
            return
        self._x, self._spread, self._noise = found.state, found.spread, found.noise
        each = self.wander**2 / 60.0
        swing = float(np.ptp(self._table.values, axis=0).max()) * self._x[3]
        self._powers = each * np.array([self._x[1] ** 2, (0.2 * swing) ** 2, (0.2 * self._x[3]) ** 2])
        # The rate was taken as constant so far: what it may have wandered is added.
        span = time - self._times[0]
        self._spread[0, 0] += self._powers[0] * span**3 / 12.0
        self._spread[1, 1] += self._powers[0] * span / 2.0
        self._surprise, self._since = 1.0, 0

    def _follow(self, time: float, y: Array) -> None:
        from planish.hold.endpoint.track_kernel import take_in

        assert self._x is not None
        surprise = take_in(
            self._x,
            self._spread,
            time - self._times[-1],
            self._powers,
            y,
            self._noise,
            self._table.step,
            self._table.values,
            self._table.slopes,
        )
        self._times = [*self._times[-MEMORY:], time]
        self._samples = [*self._samples[-MEMORY:], y]
        self._surprise += (surprise - self._surprise) / MEMORY
        self._since += 1
        if self._since >= MEMORY and self._surprise > SURPRISED and self.called is None:
            self._lose()

    def _lose(self) -> None:
        """Look anew from now on, around where the film should be."""
        assert self._x is not None
        half = 0.45 * self.view.fringe
        here = float(self._x[0])
        most = float(self._table.step * (self._table.values.shape[0] - 2))
        low, high = min(max(here - half, 0.0), most), min(max(here + half, 1e-9), most)
        self.known = Known((low, high), self.known.rate)
        self.lost += 1
        # Samples before now may be of the film as it was before the jump.
        self._times, self._samples = self._times[-1:], self._samples[-1:]
        self._x, self._gathered, self._next = None, 1, FIRST

    @property
    def expected(self) -> Array | None:
        """Signal that the film as it is now known should give, (colours,); None while looking."""
        if self._x is None:
            return None
        seen, _ = self._table.look(np.array([max(float(self._x[0]), 0.0)]))
        return np.asarray(self._x[2] + self._x[3] * seen[0])

    def _told(self, time: float) -> FilmState:
        if self._x is None:
            return FilmState(time, "lost" if self.lost else "looking")
        d, v = float(self._x[0]), float(self._x[1])
        vd, vv, cross = float(self._spread[0, 0]), float(self._spread[1, 1]), float(self._spread[0, 1])
        left = left_sd = None
        if v > 0:
            left = (d - self.target) / v - self.lead
            whole = left + self.lead
            left_sd = sqrt(max(vd + whole**2 * vv - 2.0 * whole * cross, 0.0)) / v
            step = self._times[-1] - self._times[-2] if len(self._times) > 1 else 0.0
            # The sample nearest to the target is the one to stop at, not the first beyond it.
            if left <= 0.5 * step and self.called is None:
                self.called, self.reached = time, time + left
        stage = "reached" if self.called is not None else "following"
        return FilmState(time, stage, max(d, 0.0), sqrt(max(vd, 0.0)), v, sqrt(max(vv, 0.0)), left, left_sd)
