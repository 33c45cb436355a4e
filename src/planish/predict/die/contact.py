"""The contact route: the pad pressed on the die's surface as it is, again and again while it wears.

No averaging kernel and no planarization length: the pressure of each cell comes from the elastic pad stack,
bent over the die's present heights, with the summits in series (:mod:`planish.physics.contact.problem`). Inside a cell
the two-area law goes on as in the density route. Time steps are implicit midpoints: the height that a cell
loses in half a step joins the contact as a compliance in series, so that steps may be long against the
decay of the shortest waves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import SetupError, refuse
from planish.physics.contact import cell as cell_contact
from planish.physics.contact import problem as contact
from planish.physics.contact.cell import counted_height, fall_rate
from planish.physics.pattern.areas import Cells, begin, march
from planish.physics.pattern.feature_selectivity import feature_selectivity
from planish.predict.die.cells import DieChoices, DieInput
from planish.predict.die.conditions import LocalConditions
from planish.predict.die.level import Level, Polished
from planish.predict.die.model import DieFields, DiePad, fields_of, pads_of
from planish.predict.die.window import LATEST, PolishWindow, passed

if TYPE_CHECKING:
    from planish.physics.contact.problem import ContactProblem

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *contact.SOURCES,
    *cell_contact.SOURCES,
    "implicit midpoint of contact and wear: derivation of our own",
)
LEAST_SHARE = 1e-4  # high area that a cell without any is given, so that its heights stay defined
_PART = 0.1  # of the time in which a blanket film loses one decay length of the summits: the time step
_FEWEST = 4  # time steps in a recipe step
_TOLERANCE = 1e-4  # of the pressures


@dataclass(slots=True)
class _Course:
    """The die on its way through the recipe."""

    level: Level
    cells: DieInput
    share: Array  # (cells,)
    thick: Array  # (films, cells) [m]
    mark: float  # height [m] at which the process calls a step gone
    state: Cells
    limit_times: dict[str, float] = field(default_factory=dict)
    last_excess: dict[str, float] = field(default_factory=dict)

    @property
    def time(self) -> float:
        """How far it is [s]."""
        return self.state.clock

    @property
    def clear(self) -> Array:
        """When each cell was clear, by its own clock [s], (cells,)."""
        times = self.state.level_time if self.level.flat_below else self.state.through_time[-2:]
        return np.asarray(times[0])


def polish_by_contact(
    cells: DieInput,
    level: Level,
    local: LocalConditions,
    pad: DiePad | Sequence[DiePad],
    choices: DieChoices,
    *,
    finer: int = 1,
    tell: Callable[[float], None] | None = None,
) -> tuple[DieFields, PolishWindow]:
    """Return the maps and the polish window of one die by the contact route.

    Parameters
    ----------
    cells
        Of the layout.
    level
        What stands on the die.
    local
        Conditions at its place.
    pad
        One, or one a platen.
    choices
        How to model.
    finer
        By which the time steps are divided.
    tell
        Called with the share of the recipe done.

    Returns
    -------
    tuple[DieFields, PolishWindow]
        Maps, and the window.

    Raises
    ------
    SetupError
        For a field that stands alone: here fields repeat on the wafer.
    """
    if choices.edges != "periodic":
        raise SetupError(refuse("edges", choices.edges, "'periodic' for the contact route"))
    course = _begin(cells, level)
    stretches = _stretches(cells, level, local, pads_of(pad, local))
    pressure = np.full(cells.high.shape, local.steps[0].pressure)
    fields: DieFields | None = None
    number, left = 0, stretches[0].duration
    while True:
        on = stretches[number]
        longest = _PART * on.layer / on.low_rate / finer
        span = min(longest, on.duration / (_FEWEST * finer), left)
        pressure = _step(course, on, span, pressure)
        left -= span
        if left <= 1e-9 * on.duration:
            if number + 1 < len(stretches):
                number += 1
                left = stretches[number].duration
            else:
                if fields is None:
                    fields = _fields(course)
                left = on.duration
        if tell is not None:
            tell(min(course.time / local.duration, 1.0))
        limits_seen = len(course.limit_times) == len(level.limits())
        if fields is not None and (
            (limits_seen and _all_clear(course)) or course.time >= LATEST["contact"] * local.duration
        ):
            break
    later = _fields(course).clear  # cells that clear only after the recipe
    return replace(fields, clear=later), _window(course)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What a recipe step fixes.

    Attributes
    ----------
    problem
        Of the contact, on the step's platen.
    layer
        Decay length of the summits [m].
    duration
        [s].
    pressure
        Mean, of the die [Pa].
    rates
        Of the films at that pressure [m/s].
    reach
        Selectivity lengths inside the cells [m].
    responses
        How the films' rates answer to local pressure; None: in proportion.
    """

    problem: ContactProblem
    layer: float
    duration: float
    pressure: float
    rates: Array
    reach: Array
    responses: list[Array | None]

    @property
    def low_rate(self) -> float:
        """That of the low areas' material, the first film's [m/s]."""
        return float(self.rates[0])


def _stretches(
    cells: DieInput, level: Level, local: LocalConditions, pads: Sequence[DiePad]
) -> list[_Stretch]:
    problems = {step.platen: _problem(cells, local, pads[step.platen]) for step in local.steps}
    names = [name for name, _ in level.films()]
    made = []
    for step in local.steps:
        pad = pads[step.platen]
        made.append(
            _Stretch(
                problems[step.platen],
                pad.state.selectivity_length,
                step.duration,
                step.pressure,
                np.array([step.rates[name] for name in names]),
                _reach(cells, pad, step.pressure),
                [step.responses.get(name) for name in names],
            )
        )
    return made


def _begin(cells: DieInput, level: Level) -> _Course:
    share = np.clip(cells.high, LEAST_SHARE, 1.0).ravel()
    thick = np.array([np.full(share.size, value) for _, value in level.films()])
    mark = float(getattr(level, level.flat_below)) if level.flat_below else -np.inf
    step = level.start_step(cells).reshape(1, -1)
    return _Course(level, cells, share, thick, mark, begin(step, thick, level.low_thickness(step), mark))


def _problem(cells: DieInput, local: LocalConditions, pad: DiePad) -> ContactProblem:
    """The pad stack and the bending wafer under the summits, over fields that repeat."""
    from scipy.interpolate import CubicSpline

    ny, nx = cells.high.shape
    longest, shortest = 2 * np.pi / (max(ny, nx) * cells.cell), np.pi * np.sqrt(2) / cells.cell
    knots = np.linspace(np.log(longest / 2), np.log(2 * shortest), 600)
    q = np.exp(knots)
    smooth = CubicSpline(knots, np.log(pad.compliance(q) + 1 / (pad.wafer_rigidity * q**4)))

    def compliance(wave_number: Array) -> Array:
        with np.errstate(divide="ignore"):
            return np.asarray(np.where(wave_number > 0, np.exp(smooth(np.log(wave_number))), np.inf))

    layer = contact.AsperityLayer(local.pressure, pad.state.selectivity_length)
    return contact.ContactProblem((ny, nx), cells.cell, compliance, asperity=layer, workers=1)


def _reach(cells: DieInput, pad: DiePad, pressure: float) -> Array:
    """Selectivity lengths [m] inside the cells: wider areas, and cells all low, the contact itself resolves."""
    inside = feature_selectivity(
        cells.low_bridged,
        summit_length=pad.state.selectivity_length,
        spot_radius=pad.state.spot_radius,
        pressure=pressure,
        compliance=pad.compliance,
        widest=cells.cell,
        high_width=cells.high_bridged,
    )
    return np.where(cells.high > 1e-6, inside, pad.state.selectivity_length).ravel()


def _step(course: _Course, on: _Stretch, span: float, start: Array) -> Array:
    """Move the die on by ``span`` [s]; return the pressures [Pa] in the middle of it."""
    shape, state, mean = course.cells.high.shape, course.state, on.pressure
    high, step = course.cells.incoming.ravel() - state.high_loss, state.height[0]
    counted = counted_height(high, step, course.share, on.layer, on.reach)
    on_top = on.rates[np.minimum(state.exposed, on.rates.size - 1)]
    falls = fall_rate(step, course.share, on.layer, on.reach, on_top, on.low_rate)
    pressed = on.problem.press(
        counted.reshape(shape),
        mean,
        start=start,
        added=(falls * (0.5 * span / mean)).reshape(shape),
        tol=_TOLERANCE,
    )
    march(
        state,
        span,
        rates=on.rates,
        low_rates=on.rates[:1],
        share=course.share,
        thick=course.thick,
        length=on.reach[None],
        scale=pressed.pressure.ravel() / mean,
        responses=on.responses,
        low_response=on.responses[0],
        level=course.mark,
    )
    _note_limits(course, span)
    return np.asarray(pressed.pressure)


def _note_limits(course: _Course, span: float) -> None:
    """Write down when the worst cell first passed each limit; films count only once everything is clear."""
    if not course.level.flat_below and not _all_clear(course):
        return
    for name, excess in passed(course.level, _fields(course)).items():
        if excess > 0 and name not in course.limit_times:
            was = course.last_excess.get(name, excess)
            part = -was / (excess - was) if was < 0 < excess else 1.0
            course.limit_times[name] = course.time - (1 - part) * span
        course.last_excess[name] = excess


def _all_clear(course: _Course) -> bool:
    counted = course.cells.stepped if course.level.flat_below else course.cells.high > 1e-6
    return bool(np.all(np.isfinite(course.clear[counted.ravel()])))


def _window(course: _Course) -> PolishWindow:
    counted = course.cells.stepped if course.level.flat_below else course.cells.high > 1e-6
    clear = course.clear[counted.ravel()]
    earliest = float(clear.max()) if clear.size else 0.0
    return PolishWindow.of(
        earliest, {name: course.limit_times.get(name, float("inf")) for name in course.level.limits()}
    )


def _fields(course: _Course) -> DieFields:
    state, shape = course.state, course.cells.high.shape
    lost, step, clear = (
        values.reshape(shape).copy() for values in (state.high_loss, state.height[0], course.clear)
    )
    merits = course.level.merits_of(lost, step, state.exposed.reshape(shape))
    end = np.isfinite(state.end_time).reshape(shape)
    return fields_of(course.cells, course.level, Polished(lost, step, clear, merits, end))
