"""One recipe step on the pad as it now is, made for being asked thousands of times.

What a pressure makes of the step is that of ``conditions``, as for one wafer. Two things are
done in another way, for speed: the pressure is found from the last wafer's (``physics.pressure.series``),
and the end of the step is looked for on a coarser grid of times, first about where the last
wafer ended. tests/unit/test_lot.py holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.physics.pressure.series import Solved, solve_next
from planish.physics.pressure.solve import onto_ring
from planish.physics.slurry import heat
from planish.predict.lot.pad import LotPad, WornSummits, worn_summits
from planish.predict.lot.plan import LotPlan, LotStep
from planish.predict.lot.state import StepState
from planish.predict.wafer.conditions import (
    Conditions,
    fastest_rate,
    meet,
    pad_heat,
    peak_temperature,
    removal_curve,
)
from planish.predict.wafer.films import on_top, polish_stack, read_at, refined, stop_amount
from planish.predict.wafer.lubrication import Lubrication
from planish.predict.wafer.step_plan import summit_land
from planish.predict.wafer.uneven import bow_height
from planish.predict.wafer.warm_pad import (
    AS_STATED,
    Softness,
    expected_time,
    mean_temperature,
    soft,
    softness,
)

if TYPE_CHECKING:
    from planish.predict.wafer.pad_surface import Summits
    from planish.predict.wafer.uneven import Uneven
    from planish.setup.si import Rig

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PadUnder:
    """The pad's body as one wafer finds it.

    ``worn`` [m] and ``groove_depth`` [m] on average under the wafer; ``land``: share of the area that
    summits stand on; ``height`` (n_r,) [m] of the pad under the nodes; ``shares`` of the worn states, and
    pad and plate in one ``matrix`` with and without a pressed ring, and the ``pad`` alone where it softens.
    """

    worn: float
    groove_depth: float
    land: float
    height: Array
    shares: Array
    matrix: dict[bool, Array]
    pad: dict[bool, Array]


@dataclass(frozen=True, slots=True)
class StepOn:
    """A step of the recipe that one wafer is about to take, and what it begins from.

    ``last``: where the last wafer left this step; ``under``: the pad's body; ``temperatures`` (n,) [K] of the pad rings;
    ``left`` (films, n_r) [m] of the films; ``rate_factor``: by which chance multiplies the rate; ``duration`` [s], None for
    the step's own stop.
    """

    plan: LotPlan
    step: LotStep
    last: StepState
    under: PadUnder
    temperatures: Array
    left: Array
    rate_factor: float
    duration: float | None

    @property
    def material(self) -> str | None:
        """What lies on top, None where nothing is left."""
        top = on_top(self.left, self.step.fixed.shares)
        return None if top is None else self.plan.rig.wafer.films[top].material


@dataclass(frozen=True, slots=True)
class StepOutcome:
    """What the step did: profiles over wafer nodes, and numbers."""

    summits: WornSummits  # as they are when cold
    modulus_left: float  # what warmth leaves of their modulus
    solved: Solved
    pressure: Array  # on summits, of the wafer nodes, then the ring nodes [Pa]
    removed: Array  # (films, n_r) [m]
    duration: float
    temperature: float  # mean over the wafer and the step [K]
    peak_temperature: float
    end_temperatures: Array
    real_pressure: float
    real_fraction: float
    flowing: float  # share of the load on summits that flow
    plasticity: float  # index of the summits
    friction: float
    fresh: float
    lubrication: Lubrication
    limited: bool  # the step ran into its longest time before its stop condition was met
    fastest: float  # mean rate [m/s] of a film that goes, as long as it lasts


def pad_under(plan: LotPlan, pad: LotPad, ring_use: float = 0.0) -> PadUnder:
    """Return the pad's body as the next wafer finds it.

    Parameters
    ----------
    plan
        What is fixed for the lot.
    pad
        As it is.
    ring_use
        How long the retaining ring has polished [s].

    Returns
    -------
    PadUnder
        On average under the wafer, and by node.
    """
    rig = plan.rig
    worn = float(plan.track @ pad.worn)
    groove = max(rig.pad.grooves.depth - worn, 0.0)
    shares = plan.between.at(min(worn, float(plan.worn_states[-1])))
    if plan.ring is not None:
        # The last states are the new pad beside the worn ring: what that changes is laid over the pad's own wear.
        beside = plan.ring.shares(ring_use)
        shares = np.append(shares, beside[1:])
        shares[0] += beside[0] - 1.0
    return PadUnder(
        worn=worn,
        groove_depth=groove,
        land=summit_land(rig, groove, plan.model.land),
        height=worn - plan.heights @ pad.worn,
        shares=shares,
        matrix={pressed: kept.at(shares) for pressed, kept in plan.pads.items()},
        pad={pressed: kept.pad_at(shares) for pressed, kept in plan.pads.items()} if plan.softens else {},
    )


def expected_end(on: StepOn) -> float:
    """Return about how long the step will take [s]: as long as for the last wafer where nothing sets its time."""
    if on.duration is not None:
        return on.duration
    fixed = on.step.fixed
    if fixed.step.stop != "time" and on.last.duration > 0:
        return on.last.duration
    goal = 0.0 if fixed.step.stop == "time" else stop_amount(fixed.step, on.left, on.plan.weights)[1]
    return expected_time(on.plan.rig, fixed, on.step.back, on.material, goal)


def _softness(plan: LotPlan, step: LotStep, temperatures: Array, time: float) -> Softness:
    """Return what warmth leaves of the pad's stiffness in a step that takes ``time`` [s]."""
    return softness(plan.rig, mean_temperature(step.heating, temperatures, plan.track, time))


def run_step(on: StepOn, pad: LotPad) -> StepOutcome:
    """Run the step on the summits of the pad as it is (they are read, not aged).

    Parameters
    ----------
    on
        The step, and what it begins from.
    pad
        As it is.

    Returns
    -------
    StepOutcome
        What the step did.

    Raises
    ------
    ModelError
        Where there is no solution.
    """
    plan, lot_step, under, left = on.plan, on.step, on.under, on.left
    rig, weights = plan.rig, plan.weights
    warm = AS_STATED
    if plan.softens:
        warm = _softness(plan, lot_step, on.temperatures, expected_end(on))
    cold = worn_summits(plan.summits, pad, lot_step.group_nominal / (under.land * warm.summits))
    summits = soft(cold, warm.summits)
    standing = under.height + bow_height(rig, plan.model, left)
    solved = _contact(lot_step, on.last.solved, summits, under, standing, plan.uneven, warm.give)
    nodes = lot_step.fixed.shares.size
    found = meet(
        lot_step.fixed,
        rig,
        plan.model,
        summits,
        under.groove_depth,
        solved.pressure[:nodes],
        solved.pressure[nodes:],
        on.rate_factor,
        top=on.material,
        warm=warm,
        last=on.last.film,
    )
    heating = pad_heat(found, on.temperatures)
    ends, limited, times, seen, removed = _until(
        plan, lot_step, on.last.duration, found, heating, left, on.duration
    )
    if ends < times[-1]:
        at = max(min(int(np.searchsorted(times, ends)), times.size - 1), 1)
        part = (ends - times[at - 1]) / (times[at] - times[at - 1])
        removed = np.concatenate(
            [removed[:, :at], removed[:, at - 1 : at] * (1 - part) + removed[:, at : at + 1] * part], axis=1
        )
        seen = np.concatenate([seen[:at], seen[at - 1 : at] * (1 - part) + seen[at : at + 1] * part])
        times = np.append(times[:at], ends)
    mean = seen @ weights
    return StepOutcome(
        summits=cold,
        modulus_left=warm.summits,
        solved=solved,
        pressure=np.concatenate([found.solid, solved.pressure[nodes:]]),
        removed=removed[:, -1],
        duration=ends,
        temperature=float((mean[1:] + mean[:-1]) @ (times[1:] - times[:-1])) / (2.0 * ends)
        if ends > 0
        else float(mean[0]),
        peak_temperature=peak_temperature(found, on.temperatures, ends),
        end_temperatures=heating.at(ends),
        real_pressure=float(found.real_pressure @ weights),
        real_fraction=float(found.real_fraction @ weights),
        flowing=float(found.flowing @ weights),
        plasticity=found.plasticity,
        friction=found.friction,
        fresh=found.fresh,
        lubrication=found.lubrication,
        limited=limited,
        fastest=fastest_rate(rig, found, removed[:, -1], seen[-1], weights),
    )


def _until(
    plan: LotPlan,
    lot_step: LotStep,
    last_duration: float,
    found: Conditions,
    heating: heat.Relaxation,
    left: Array,
    duration: float | None,
) -> tuple[float, bool, Array, Array, Array]:
    """Return (end of the step [s], whether only its longest time ended it, times, temperatures seen, removed (films, n_t, n_r) [m] by each time)."""
    step, weights = lot_step.fixed.step, plan.weights
    timed = duration is not None or step.stop == "time"
    longest = step.stop_value if step.stop == "time" else step.max_time
    horizon = longest if duration is None else duration
    if not timed and last_duration > 0:
        horizon = min(1.3 * last_duration, longest)
    counted, goal = stop_amount(step, left, weights)
    while True:
        times = lot_step.grid * max(horizon, 1e-9)
        seen = heating.at(times[:, None]) @ plan.rings.to_wafer.T
        curves, removed = _remove(plan.rig, found, seen, times, left)
        if timed:
            return horizon, False, times, seen, removed
        by_time = removed[counted].sum(axis=0) @ weights
        if by_time[-1] < goal:
            if horizon >= longest:
                return longest, True, times, seen, removed
            horizon = longest
            continue
        ends = float(np.interp(goal, by_time, times)) if goal > 0 else 0.0
        if ends == 0 or (ends >= 0.6 * horizon and not curves):
            return ends, False, times, seen, removed
        if ends >= 0.6 * horizon:
            finer = refined(times, by_time, goal)
            removed = polish_stack(left, [read_at(curve, times, finer) for curve in curves], finer)[0]
            ends = float(np.interp(goal, removed[counted].sum(axis=0) @ weights, finer))
            return ends, False, finer, read_at(seen, times, finer), removed
        # Stopped early on a grid made for a longer step: look again, closer.
        horizon = 1.1 * ends


def _contact(
    lot_step: LotStep,
    last: Solved,
    summits: Summits,
    under: PadUnder,
    standing: Array,
    uneven: Uneven | None,
    give: float,
) -> Solved:
    """Contact pressure [Pa] on a pad that stands so high against the wafer (n_r,) [m]; as ``conditions.contact_pressure``, by the series solver."""
    back, share = lot_step.back, lot_step.fixed.shares
    length, scale, offset = summits.layer(back.about / under.land)
    scale = scale * under.land
    raised = offset + back.raised + standing
    if uneven is not None:
        raised = raised + uneven.raised(length, back.about)
    ring = lot_step.series.load.size - share.size
    if ring:
        length, scale, raised = (
            onto_ring(length, share, ring, geometric=True),
            onto_ring(scale, share, ring, geometric=True),
            onto_ring(raised, share, ring, geometric=False),
        )
    matrix = under.matrix[lot_step.with_ring]
    if give != 1.0:
        more = (give - 1.0) * under.pad[lot_step.with_ring]
        more += matrix
        matrix = more
    return solve_next(lot_step.series, matrix, under.shares, last, length, scale, raised, give)


def _remove(rig: Rig, found: Conditions, seen: Array, times: Array, left: Array) -> tuple[list[Array], Array]:
    """Return the curves of the films, and what is removed (films, n_t, n_r) [m] by each time.

    Films below one that lasts are not looked at; there are no curves then, for nothing clears.
    """
    films = rig.wafer.films
    curves: dict[str, Array] = {}
    for film in films:
        if film.material not in curves:
            curves[film.material] = removal_curve(found, film.material, times, seen)
        if film is films[0] and np.all(curves[film.material][-1] <= left[0]):
            removed = np.zeros((len(films), *seen.shape))
            removed[0] = curves[film.material]
            return [], removed
    each = [curves[film.material] for film in films]
    return each, polish_stack(left, each, times)[0]
