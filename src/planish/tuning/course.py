"""One wafer polished with any settings, on the full model, and how what is left answers to each of them.

What a zone or the ring does to the contact pressure is the derivative of the contact problem
(``physics.pressure.slopes``). What that pressure does to slurry, heat, removal and the steps that follow is a small
difference of those parts alone, along that derivative, with the film's share of the load held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.slopes import Layer, pressure_slopes
from planish.predict.lot.pad_rings import pad_rings
from planish.predict.wafer.conditions import (
    Conditions,
    SummitLayer,
    contact_pressure,
    meet,
    pad_heat,
    removal_curve,
    summit_layer,
    warm_state,
)
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.counted import counted
from planish.predict.wafer.films import on_top, polish_stack
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.pad_surface import fresh_state
from planish.predict.wafer.step_plan import back_load, described_load, plan_step, zone_table
from planish.units import PSI

if TYPE_CHECKING:
    from planish.predict.wafer.pad_surface import PadState
    from planish.predict.wafer.step_plan import BackLoad, StepPlan
    from planish.predict.wafer.warm_pad import Softness
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]
TIMES = 33  # per step, as in predict.wafer.polish
_COARSE = 9  # times per step of the small differences: the temperature bends the curves but little
_NUDGE = 1e-6  # relative: so small that the film is taken to share the load as it did
_TABLE = 1e-4  # relative change of a load over which the summits' table is read


class Settings(NamedTuple):
    """What is tuned: ``zones`` (steps, zones) and ``ring`` (steps,) [Pa], ``time`` (steps,) [s]."""

    zones: Array
    ring: Array
    time: Array


@dataclass(frozen=True, slots=True)
class Passed:
    """A step as it went.

    ``plan`` what it fixes, ``back`` what presses, ``met`` the pad it found, ``softness`` what warmth left of it,
    ``summits`` the layer of the contact problem, ``found`` its conditions, ``top`` the material that spends slurry,
    ``left`` of each film as it began [m], ``temperatures`` of the pad rings then [K].
    """

    plan: StepPlan
    back: BackLoad
    met: PadState
    softness: Softness
    summits: SummitLayer
    found: Conditions
    top: str | None
    left: Array
    temperatures: Array


@dataclass(frozen=True, slots=True)
class Run:
    """A wafer polished with ``settings``: its ``steps``, and what is left of each film [m], (films, n_r)."""

    settings: Settings
    steps: tuple[Passed, ...]
    left: Array

    @property
    def stack(self) -> Array:
        """What is left of all films together [m], (n_r,)."""
        return np.asarray(self.left.sum(axis=0))


class Course:
    """The recipe of a setup on its full model, with what no setting changes worked out once.

    Attributes
    ----------
    rig
        The setup.
    radius
        Of the wafer nodes [m], (n_r,).
    incoming
        Of each film [m], (films, n_r).
    counted
        The disc inside the edge exclusion.
    """

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self._model = prepare(rig)
        self._rings = pad_rings(rig, self._model.grid)
        grid = self._model.grid
        self.radius = grid.r
        self.incoming = np.stack([mean_profile(film, grid.r) for film in rig.wafer.films])
        self.counted = counted(grid.r, grid.areas, rig.wafer.radius - rig.wafer.edge_exclusion)
        self._plans = [plan_step(rig, step, self._model, self._rings) for step in rig.steps]
        self._materials = list(dict.fromkeys(film.material for film in rig.wafer.films))

    def run(self, settings: Settings, near: Run | None = None) -> Run:
        """Polish the wafer.

        Parameters
        ----------
        settings
            For every step.
        near
            A run with similar settings, whose solutions are started from.

        Returns
        -------
        Run
            As ``planish.polish`` gives it for a recipe with these times.
        """
        rig, model, rings = self.rig, self._model, self._rings
        state = fresh_state(rig, model.summits, rings.middles.size)
        left, steps = self.incoming, []
        for index in range(len(rig.steps)):
            before = None if near is None else near.steps[index]
            passed = self._step(index, settings, state, left, before)
            times = np.linspace(0.0, float(settings.time[index]), TIMES)
            left, temperatures = self._after(passed.found, passed.temperatures, left, times)
            state = replace(state, temperatures=temperatures)
            steps.append(passed)
        return Run(settings, tuple(steps), left)

    def _step(
        self, index: int, settings: Settings, state: PadState, left: Array, near: Passed | None
    ) -> Passed:
        rig, model, rings = self.rig, self._model, self._rings
        step = with_settings(rig.steps[index], settings, index)
        plan = replace(self._plans[index], step=step)
        top = on_top(left, model.grid.areas)
        spending = None if top is None else rig.wafer.films[top].material
        back = back_load(rig, step, model)
        met, softness = warm_state(rig, plan, back, rings, state, top=spending)
        start = None if near is None else near.found.solution
        solution = contact_pressure(rig, step, model, met, start, left=left, give=softness.give, back=back)
        found = meet(
            plan,
            rig,
            model,
            met.summits,
            met.groove_depth,
            solution.pressure,
            solution.ring_pressure,
            top=spending,
            warm=softness,
            last=None if near is None else near.found.lubrication,
        )
        found.solution = solution
        summits = summit_layer(rig, model, met, back, left=left)
        return Passed(plan, back, met, softness, summits, found, spending, left, state.temperatures.copy())

    def _after(
        self, found: Conditions, temperatures: Array, left: Array, times: Array
    ) -> tuple[Array, Array]:
        """Return what is left of the films, and the temperatures of the pad rings, after a step."""
        heating = pad_heat(found, temperatures)
        seen = heating.at(times[:, None]) @ self._rings.to_wafer.T
        curves = {name: removal_curve(found, name, times, seen) for name in self._materials}
        films = self.rig.wafer.films
        if np.all(curves[films[0].material][-1] <= left[0]):  # nothing clears
            after = left.copy()
            after[0] -= curves[films[0].material][-1]
            return after, heating.at(float(times[-1]))
        removed, _ = polish_stack(left, [curves[film.material] for film in films], times)
        return np.maximum(left - removed[:, -1, :], 0.0), heating.at(float(times[-1]))

    def at_times(self, run: Run, time: Array) -> Array:
        """Return what is left where only the times are others, slurry and contact as they were.

        Parameters
        ----------
        run
            With the pressures.
        time
            Of each step [s].

        Returns
        -------
        Array
            Of all films [m], (n_r,), on fewer times than a run takes: to be compared with itself.
        """
        left, temperatures = self.incoming, run.steps[0].temperatures
        for passed, length in zip(run.steps, time, strict=True):
            times = np.linspace(0.0, float(length), _COARSE)
            left, temperatures = self._after(passed.found, temperatures, left, times)
        return np.asarray(left.sum(axis=0))

    def influence(self, run: Run, wanted: NDArray[np.bool_]) -> Array:
        """Return how the thickness left answers to each setting.

        Parameters
        ----------
        run
            Where.
        wanted
            Which settings, (steps, zones + 2): zones, ring, time.

        Returns
        -------
        Array
            (steps, zones + 2, n_r): [m/Pa], for times [m/s]; 0 where not wanted.
        """
        zones = run.settings.zones.shape[1]
        made = np.zeros((len(run.steps), zones + 2, self.radius.size))
        for index, passed in enumerate(run.steps):
            base = self._carried(run, index, passed.found, float(run.settings.time[index]))
            pressures = np.flatnonzero(wanted[index, : zones + 1])
            if pressures.size:
                wafer, ring = self._pressure_slopes(passed, pressures)
                for column, which in enumerate(pressures):
                    size = _NUDGE * PSI
                    found = self._nudged(passed, size * wafer[:, column], size * ring[:, column])
                    moved = self._carried(run, index, found, float(run.settings.time[index]))
                    made[index, which] = (moved - base) / size
            if wanted[index, zones + 1]:
                time = float(run.settings.time[index])
                moved = self._carried(run, index, passed.found, time * (1.0 + _NUDGE))
                made[index, zones + 1] = (moved - base) / (_NUDGE * time)
        return made

    def _carried(self, run: Run, index: int, found: Conditions, time: float) -> Array:
        """Return what is left at the end where one step goes otherwise and the later ones follow on its heat."""
        passed = run.steps[index]
        left, temperatures = passed.left, passed.temperatures
        for later in range(index, len(run.steps)):
            other = run.steps[later]
            conditions, length = (
                (found, time) if later == index else (other.found, float(run.settings.time[later]))
            )
            times = np.linspace(0.0, length, _COARSE)
            left, temperatures = self._after(conditions, temperatures, left, times)
        return np.asarray(left.sum(axis=0))

    def _nudged(self, passed: Passed, wafer: Array, ring: Array) -> Conditions:
        """Return the conditions of a step at a slightly other contact pressure."""
        found = passed.found
        return meet(
            passed.plan,
            self.rig,
            self._model,
            passed.met.summits,
            passed.met.groove_depth,
            # a place that is all but lifted stays above 0
            found.pressure * np.exp(wafer / found.pressure),
            found.ring_pressure + ring,
            top=passed.top,
            warm=passed.softness,
            last=found.lubrication,
        )

    def _pressure_slopes(self, passed: Passed, which: NDArray[np.int_]) -> tuple[Array, Array]:
        """Return the contact pressure per pressure in zones (by number) and ring (the number after the last zone)."""
        model, table = self._model, zone_table(self._model, self.rig)
        zones = table.shape[1]
        loads = np.column_stack([*table.T, np.zeros(table.shape[0])])[:, which]
        ring = np.where(which == zones, 1.0, 0.0)
        summits, back, columns = passed.summits, passed.back, []
        for load in loads.T:
            # the table of the summits is read a little to the side: what is described moves with the load
            size = _TABLE * float(np.max(back.load)) / max(float(np.abs(load).max()), 1e-300)
            if not load.any():
                columns.append((0.0 * load, 0.0 * load, 0.0 * load))
                continue
            beside = back._replace(about=described_load(model, back.load + size * load))
            other = summit_layer(self.rig, model, passed.met, beside, left=passed.left)
            columns.append(
                (
                    (other.length - summits.length) / size,
                    (other.scale - summits.scale) / size,
                    (other.offset + other.height - summits.offset - summits.height) / size,
                )
            )
        changes = Layer(*(np.stack(each, axis=1) for each in zip(*columns, strict=True)))
        solution = passed.found.solution
        assert solution is not None  # every step of a run has solved its own
        return pressure_slopes(
            model.operator,
            model.plate,
            solution,
            Layer(summits.length, summits.scale, summits.offset + summits.height),
            loads,
            ring,
            changes,
            give=passed.softness.give,
        )


def with_settings(step: Step, settings: Settings, index: int) -> Step:
    """Return a step of a recipe with its settings, timed.

    Parameters
    ----------
    step
        As it was.
    settings
        Of all steps.
    index
        Which of them.

    Returns
    -------
    Step
        That ends after its time.
    """
    return replace(
        step,
        zone_pressures=settings.zones[index],
        ring_pressure=float(settings.ring[index]),
        stop="time",
        stop_value=float(settings.time[index]),
    )
