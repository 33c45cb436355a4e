"""One wafer polished with any settings, on the full model."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

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
from planish.predict.wafer.films import on_top, polish_stack, stop_amount
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.pad_surface import fresh_state
from planish.predict.wafer.step_plan import back_load, plan_step
from planish.predict.wafer.stopping import TIMES, find_stop

if TYPE_CHECKING:
    from planish.predict.wafer.pad_surface import PadState
    from planish.predict.wafer.result import WaferResult
    from planish.predict.wafer.step_plan import BackLoad, StepPlan
    from planish.predict.wafer.warm_pad import Softness
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]


Amounts: TypeAlias = tuple[float | None, ...]
"""Of each step what it stops on [m], as the setup's own stop counts it; None for one that stops on a time."""


class Settings(NamedTuple):
    """What is tuned: ``zones`` (steps, zones) and ``ring`` (steps,) [Pa], ``time`` (steps,) [s]."""

    zones: Array
    ring: Array
    time: Array


def settings_of(wafer: WaferResult) -> Settings:
    """Return the settings that a wafer was polished with, its steps as long as they took.

    Parameters
    ----------
    wafer
        As polished.
    """
    steps = wafer.rig.steps
    return Settings(
        np.stack([step.zone_pressures for step in steps]),
        np.array([step.ring_pressure for step in steps]),
        np.array([step.duration for step in wafer.steps]),
    )


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
    film_materials
        By film, top first.
    model, rings
        The contact, and the pad as rings.
    pace
        By how much more, or less, is removed at each wafer node than on a new pad, (n_r,); None for a new pad.
    kept
        Amounts on which steps stop in every run, as nothing of them moves; None for the others.
    """

    def __init__(self, rig: Rig, pace: Array | None = None, kept: Amounts | None = None) -> None:
        self.rig, self.pace = rig, pace
        self.kept = (None,) * len(rig.steps) if kept is None else kept
        self.model = prepare(rig)
        self.rings = pad_rings(rig, self.model.grid)
        grid = self.model.grid
        self.radius = grid.r
        self.incoming = np.stack([mean_profile(film, grid.r) for film in rig.wafer.films])
        self.counted = counted(grid.r, grid.areas, rig.wafer.radius - rig.wafer.edge_exclusion)
        self._plans = [plan_step(rig, step, self.model, self.rings) for step in rig.steps]
        self.film_materials = [film.material for film in rig.wafer.films]

    def run(
        self,
        settings: Settings,
        near: Run | None = None,
        coming: Array | None = None,
        amounts: Amounts | None = None,
    ) -> Run:
        """Polish the wafer.

        Parameters
        ----------
        settings
            For every step.
        near
            A run with similar settings, whose solutions are started from.
        coming
            What comes in of each film [m], (films, n_r); as the setup says unless given.
        amounts
            On which steps stop, in place of their times; but for ``kept`` all stop on a time unless given.

        Returns
        -------
        Run
            As ``planish.polish`` gives it for a recipe with these times, or amounts; its settings tell the times taken.
        """
        rig, model, rings = self.rig, self.model, self.rings
        state = fresh_state(rig, model.summits, rings.middles.size)
        left, steps, took = self.incoming if coming is None else coming, [], settings.time.copy()
        for index, own in enumerate(rig.steps):
            before = None if near is None else near.steps[index]
            step = with_settings(own, settings, index)
            amount = self.kept[index] if amounts is None else amounts[index]
            if amount is not None:
                step = replace(step, stop=own.stop, stop_value=amount)
            passed = self._step(index, step, state, left, before)
            if amount is not None:
                took[index] = self._stop(passed, left)
            times = np.linspace(0.0, float(took[index]), TIMES)
            left, temperatures = self._after(passed.found, passed.temperatures, left, times)
            state = replace(state, temperatures=temperatures)
            steps.append(passed)
        return Run(settings._replace(time=took), tuple(steps), left)

    def _stop(self, passed: Passed, left: Array) -> float:
        """Return when a step has met its amount, or its longest time [s]."""
        step, heating = passed.plan.step, pad_heat(passed.found, passed.temperatures)

        def curves_at(times: Array) -> list[Array]:
            curves = self._curves(passed.found, heating.at(times[:, None]) @ self.rings.to_wafer.T, times)
            return [curves[name] for name in self.film_materials]

        found = find_stop(step, curves_at, left, self.counted.weights)
        return step.max_time if found is None else max(found, 1e-9)

    def _step(self, index: int, step: Step, state: PadState, left: Array, near: Passed | None) -> Passed:
        rig, model, rings = self.rig, self.model, self.rings
        plan = replace(self._plans[index], step=step)
        top = on_top(left, model.grid.areas)
        spending = None if top is None else rig.wafer.films[top].material
        back = back_load(rig, step, model)
        goal = 0.0 if step.stop == "time" else stop_amount(step, left, self.counted.weights)[1]
        met, softness = warm_state(rig, plan, back, rings, state, top=spending, goal=goal)
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
        curves = self._curves(found, heating.at(times[:, None]) @ self.rings.to_wafer.T, times)
        films = self.rig.wafer.films
        if np.all(curves[films[0].material][-1] <= left[0]):  # nothing clears
            after = left.copy()
            after[0] -= curves[films[0].material][-1]
            return after, heating.at(float(times[-1]))
        removed, _ = polish_stack(left, [curves[film.material] for film in films], times)
        return np.maximum(left - removed[:, -1, :], 0.0), heating.at(float(times[-1]))

    def _curves(self, found: Conditions, seen: Array, times: Array) -> dict[str, Array]:
        """Return what would be removed of each material by each time [m], (times, n_r)."""
        curves = {
            name: removal_curve(found, name, times, seen) for name in dict.fromkeys(self.film_materials)
        }
        if self.pace is not None:
            curves = {name: curve * self.pace for name, curve in curves.items()}
        return curves


def timed(rig: Rig, settings: Settings) -> Rig:
    """Return a setup whose steps have settings, and all stop on their times.

    Parameters
    ----------
    rig
        The setup.
    settings
        Of all steps.
    """
    return replace(
        rig, steps=tuple(with_settings(step, settings, index) for index, step in enumerate(rig.steps))
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
