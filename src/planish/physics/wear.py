"""Wear of a surface under an elastic pad, stepped in time.

dz/dt = -k p, with p from contact on the present surface and k = k_p v (Preston) per cell, which may
change as another material comes to light. Short waves wear away fast (rate k E* q/2 in bare contact),
so steps are implicit, and an implicit wear step is itself a contact problem: the height k dt p that a
cell will lose acts as a compliance in series with the pad. Each step has two such stages (a singly
diagonally implicit Runge-Kutta scheme of order two, L-stable), whose removals are positive multiples
of positive pressures: a surface never grows, and with one k everywhere the mean removal is k p t to
rounding. The bend of the pressure over a step tells its error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from planish.errors import ModelError, refuse
from planish.physics.contact import ContactProblem

SOURCES: tuple[str, ...] = (
    "Preston 1927, J. Soc. Glass Technol. 11, 214: rate = k_p p v (from memory)",
    "Alexander 1977, SIAM J. Numer. Anal. 14, 1006: two-stage SDIRK, gamma = 1 - 1/sqrt 2 (from memory)",
    "implicit wear as compliance in series; error estimate: derivation of our own",
)

_GAMMA = 1.0 - math.sqrt(0.5)
# The error of a step is estimated from the second difference of the pressures at 0, gamma dt and dt, the
# only combination free of terms below dt^3. Its size is set so that the estimate is exact to leading
# order for linear decay, z' = -a z (it is about seven times too large for a pressure that only drifts).
_SECOND = (1.0 / _GAMMA, -1.0 / (_GAMMA * (1.0 - _GAMMA)), 1.0 / (1.0 - _GAMMA))
_DECAY = (3.0 * _GAMMA**2 - 2.0 * _GAMMA**3 - 1.0 / 6.0) / (_SECOND[1] * _GAMMA**2 + _SECOND[2] * 0.5)
_ERROR_WEIGHTS = tuple(_DECAY * w for w in _SECOND)

Rate = Callable[[Any], Any]
"""From a surface [m] to the removal rate per pressure of each cell [m/(Pa s)]."""


@dataclass(frozen=True)
class WearResult:
    """How a surface wore. Arrays live where they were computed.

    Attributes
    ----------
    surface:
        Heights at the end [m].
    pressure:
        Contact pressure at the end [Pa].
    times, surfaces:
        Moments kept [s] and the surfaces then [m] (the first is the start).
    steps, rejected:
        Time steps taken, and those repeated shorter.
    contact_iterations:
        Conjugate-gradient iterations over all steps.
    largest_error:
        Largest estimated error of a step [m].
    """

    surface: Any
    pressure: Any
    times: list[float]
    surfaces: list[Any]
    steps: int
    rejected: int
    contact_iterations: int
    largest_error: float


@dataclass
class _March:
    """One step of the scheme, with the pressures it starts its contacts from."""

    problem: ContactProblem
    rate: Rate | Any
    mean_pressure: float
    tol: float
    iterations: int = 0
    history: list[tuple[float, Any]] = field(default_factory=list)

    def rate_at(self, surface: Any) -> Any:
        k = self.rate(surface) if callable(self.rate) else self.rate
        k = self.problem.backend.asarray(k, self.problem.dtype)
        if k.ndim and k.shape != self.problem.shape:
            raise ModelError(refuse("rate shape", k.shape, f"{self.problem.shape} or one number"))
        low = float(k.min())
        if not (low >= 0.0 and math.isfinite(float(k.max()))):
            raise ModelError(refuse("rate", low, "0 m/(Pa s) or more everywhere"))
        return k

    def contact(self, surface: Any, time: float, added: Any) -> Any:
        guess = self._guess(time)
        found = self.problem.press(surface, self.mean_pressure, start=guess, added=added, tol=self.tol)
        self.iterations += found.iterations
        return found.pressure

    def _guess(self, time: float) -> Any:
        """Pressures expected at `time`: drawn on along the last two known."""
        if not self.history:
            return None
        (t1, p1) = self.history[-1]
        if len(self.history) == 1:
            return p1
        (t0, p0) = self.history[-2]
        share = min((time - t1) / (t1 - t0), 4.0)
        guess = p1 + self.problem.dtype.type(share) * (p1 - p0)
        if self.problem.asperity is None:
            # bare contact starts from pressures, where cells apart stay apart
            guess = self.problem.backend.xp.maximum(guess, 0.0) * (p1 > 0.0)
            if not float(guess.max()) > 0.0:
                return p1
        return guess

    def remember(self, time: float, pressure: Any) -> None:
        self.history = [*self.history[-1:], (time, pressure)]

    def step(self, time: float, dt: float, z: Any, p: Any) -> tuple[Any, Any, Any, Any]:
        """Return the surface and pressure after dt, the removal error per cell, the middle pressure."""
        cast = self.problem.dtype.type
        k = self.rate_at(z)
        h = k * cast(dt)
        kept = self.history
        p1 = self.contact(z, time + _GAMMA * dt, h * cast(_GAMMA))
        self.remember(time + _GAMMA * dt, p1)
        middle = z - h * p1 * cast(1.0 - _GAMMA)
        if callable(self.rate):
            h = self.rate_at(middle) * cast(dt)
        p2 = self.contact(middle, time + dt, h * cast(_GAMMA))
        end = middle - h * p2 * cast(_GAMMA)
        a, b, c = (cast(w) for w in _ERROR_WEIGHTS)
        error = h * (a * p + b * p1 + c * p2)
        self.history = kept
        return end, p2, error, p1


def wear_steps(
    surface: Any,
    rate: float | Any | Rate,
    mean_pressure: float,
    total_time: float,
    problem: ContactProblem,
    *,
    n_steps: int | None = None,
    tolerance: float | None = None,
    contact_tol: float = 1e-5,
    keep_every: int = 0,
    on_step: Callable[[float, Any], None] | None = None,
) -> WearResult:
    """Wear `surface` for `total_time` seconds.

    Parameters
    ----------
    surface:
        Heights [m], the problem's shape.
    rate:
        Removal rate per pressure k_p v [m/(Pa s)]: a number, a map, or a function of the surface
        that gives one (a film whose material changes with depth).
    mean_pressure:
        Load over the area of the grid [Pa].
    total_time:
        Seconds, above 0.
    problem:
        The pad, the grid, the asperity layer, the precision and the backend.
    n_steps:
        Number of equal steps; or None and a `tolerance`.
    tolerance:
        Largest error in height that one step may make anywhere [m]; steps then choose themselves.
        With a `rate` that jumps at an interface, steps shorten as the interface is crossed.
    contact_tol:
        Error at which each contact solution stops.
    keep_every:
        Keep the surface after every so many steps; 0 keeps start and end only.
    on_step:
        Called with (time, surface) after each step: progress, or a test whether to stop by raising.

    Raises
    ------
    ModelError
        If a value is outside its range, or a step shrinks to nothing before meeting `tolerance`.
    """
    if (n_steps is None) == (tolerance is None):
        raise ModelError(refuse("n_steps, tolerance", (n_steps, tolerance), "one of the two given"))
    if n_steps is not None and n_steps < 1:
        raise ModelError(refuse("n_steps", n_steps, "1 or more"))
    if tolerance is not None and not tolerance > 0.0:
        raise ModelError(refuse("tolerance", tolerance, "above 0 m"))
    if not (math.isfinite(total_time) and total_time > 0.0):
        raise ModelError(refuse("total time", total_time, "above 0 s"))
    xp = problem.backend.xp
    z = problem.backend.asarray(surface, problem.dtype)
    march = _March(problem, rate, mean_pressure, contact_tol)
    if not callable(rate):
        march.rate = march.rate_at(z)
    p = march.contact(z, 0.0, None)
    march.remember(0.0, p)
    times, kept = [0.0], [z]
    time, steps, rejected, largest = 0.0, 0, 0, 0.0
    dt = total_time / n_steps if n_steps is not None else total_time / 100.0
    while time < total_time * (1.0 - 1e-12):
        dt = min(dt, total_time - time)
        end, pressure, error_map, middle = march.step(time, dt, z, p)
        error = float(xp.abs(error_map).max())
        if tolerance is not None:
            factor = 0.9 * (tolerance / error) ** (1.0 / 3.0) if error > 0.0 else 4.0
            if error > tolerance:
                rejected += 1
                dt *= max(0.1, factor)
                if dt < 1e-9 * total_time:
                    raise ModelError(refuse("tolerance", tolerance, "within reach", "raise it"))
                continue
        largest = max(largest, error)
        steps += 1
        march.remember(time + _GAMMA * dt, middle)
        time = time + dt if n_steps is None else total_time * steps / n_steps
        z, p = end, pressure
        march.remember(time, p)
        if keep_every and steps % keep_every == 0 and time < total_time * (1.0 - 1e-12):
            times.append(time)
            kept.append(z)
        if on_step is not None:
            on_step(time, z)
        if tolerance is not None:
            dt *= min(4.0, max(0.2, factor))
    times.append(total_time)
    kept.append(z)
    return WearResult(z, p, times, kept, steps, rejected, march.iterations, largest)
