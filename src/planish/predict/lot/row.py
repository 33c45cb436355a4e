"""What became of one wafer of a lot, and of all of them: the same names, one number or one column."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import seal
from planish.engine.record import counted, figure
from planish.physics.slurry.film import regime
from planish.predict.raised import Seen, cleared_share, edge_extreme

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.predict.lot.pad import LotPad
    from planish.predict.lot.plan import LotPlan
    from planish.predict.lot.step import StepOutcome
    from planish.setup.si import Rig

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Row:
    """One wafer, in SI; the fields are those of :class:`Records`, the ones of the steps a number a step."""

    mean_removed: float
    time: float
    rate: float
    expected_rate: float
    sigma: float
    half_range: float
    temperature: float
    peak_temperature: float
    friction: float
    fresh: float
    real_pressure: float
    real_fraction: float
    modulus_left: float
    tail: float
    decay_length: float
    unresolved: bool
    sliding: float
    groove_min: float
    groove_mean: float
    thickness_min: float
    thickness_mean: float
    sharpness: float
    batch: float
    monitor: bool
    removed: Array  # (n_r,) [m]
    worn: Array  # (pad rings,) [m]
    step_rate: tuple[float, ...]
    step_fastest: tuple[float, ...]
    step_time: tuple[float, ...]
    step_peak: tuple[float, ...]
    step_fresh: tuple[float, ...]
    step_real_fraction: tuple[float, ...]
    step_flowing: tuple[float, ...]
    step_plasticity: tuple[float, ...]
    step_solid_share: tuple[float, ...]
    step_film_followed: tuple[float, ...]
    step_film_torn: tuple[bool, ...]
    step_friction: tuple[float, ...]
    limited: tuple[bool, ...]
    bare_somewhere: bool
    bare: bool
    cleared_share: float

    def __post_init__(self) -> None:
        seal(self.removed, self.worn)

    def __repr__(self) -> str:
        return f"<Row: {figure(1e9 * self.mean_removed, 'nm')} in {figure(self.time, 's')}>"

    @classmethod
    def of(
        cls,
        plan: LotPlan,
        pad: LotPad,
        outcomes: Sequence[StepOutcome],
        incoming: Array,
        left: Array,
        *,
        monitor: bool,
        batch: float,
        process: float,
    ) -> Row:
        """Return the row of a wafer.

        Parameters
        ----------
        plan
            What is fixed for the lot.
        pad
            After the wafer.
        outcomes
            Of its steps, in order.
        incoming
            Films it came with [m], (films, n_r).
        left
            Of them [m], (films, n_r).
        monitor
            Whether it is a monitor wafer.
        batch, process
            The chance in its rate, of the slurry's batch and of the wafer.

        Returns
        -------
        Row
            In SI.
        """
        rig, weights, disc = plan.rig, plan.weights, plan.counted
        removed = incoming.sum(axis=0) - left.sum(axis=0)
        times = tuple(found.duration for found in outcomes)
        total = sum(times)
        share = np.array(times) / total if total > 0 else np.full(len(times), 1.0 / len(times))
        mean = float(removed @ weights)
        rate = mean / total if total > 0 else 0.0
        deepest, average = float(pad.worn[plan.under].max()), float(plan.track @ pad.worn)
        top, depth = rig.pad.layers[0].thickness, rig.pad.grooves.depth
        gone = np.all(left[:, disc.inside] <= 0, axis=0)

        def of_time(values: list[float]) -> float:
            return float(share @ values)

        return cls(
            mean_removed=mean,
            time=total,
            rate=rate,
            expected_rate=rate / (process * batch),
            sigma=disc.sigma(removed),
            half_range=disc.half_range(removed),
            temperature=of_time([found.temperature for found in outcomes]),
            peak_temperature=max(found.peak_temperature for found in outcomes),
            friction=of_time([found.friction for found in outcomes]),
            fresh=of_time([found.fresh for found in outcomes]),
            real_pressure=of_time([found.real_pressure for found in outcomes]),
            real_fraction=of_time([found.real_fraction for found in outcomes]),
            modulus_left=of_time([found.modulus_left for found in outcomes]),
            tail=outcomes[-1].summits.tail(),
            decay_length=outcomes[-1].summits.decay_length(),
            unresolved=any(_unresolved(plan, found) for found in outcomes),
            sliding=sum(t * step.fixed.mean_speed for t, step in zip(times, plan.steps, strict=True)),
            groove_min=max(depth - deepest, 0.0),
            groove_mean=max(depth - average, 0.0),
            thickness_min=top - deepest,
            thickness_mean=top - average,
            sharpness=plan.sharpness(pad.disk_use),
            batch=batch,
            monitor=monitor,
            removed=removed,
            worn=pad.worn,
            step_rate=tuple(
                float(found.removed.sum(axis=0) @ weights) / max(found.duration, 1e-12) for found in outcomes
            ),
            step_fastest=tuple(found.fastest for found in outcomes),
            step_time=times,
            step_peak=tuple(found.peak_temperature for found in outcomes),
            step_fresh=tuple(found.fresh for found in outcomes),
            step_real_fraction=tuple(found.real_fraction for found in outcomes),
            step_flowing=tuple(found.flowing for found in outcomes),
            step_plasticity=tuple(found.plasticity for found in outcomes),
            step_solid_share=tuple(found.lubrication.share for found in outcomes),
            step_film_followed=tuple(found.lubrication.film.followed for found in outcomes),
            step_film_torn=tuple(found.lubrication.film.torn for found in outcomes),
            step_friction=tuple(found.friction for found in outcomes),
            limited=tuple(found.limited for found in outcomes),
            bare_somewhere=bool(gone.any()),
            bare=bool(gone.all()),
            cleared_share=cleared_share(incoming - left, left, disc),
        )


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Records:
    """One number a wafer (n,), in SI; profiles (n, ...).

    ``expected_rate`` [m/s] leaves out the chance of slurry and process, not that of the incoming films. The arrays are filled in while the lot runs and read-only in its result.
    """

    mean_removed: Array
    time: Array
    rate: Array
    expected_rate: Array
    sigma: Array
    half_range: Array
    temperature: Array
    peak_temperature: Array
    friction: Array
    fresh: Array
    real_pressure: Array
    real_fraction: Array
    modulus_left: Array
    tail: Array
    decay_length: Array
    unresolved: NDArray[np.bool_]  # summits stand out by less than their heights are followed to
    sliding: Array
    groove_min: Array
    groove_mean: Array
    thickness_min: Array
    thickness_mean: Array
    sharpness: Array
    batch: Array
    monitor: NDArray[np.bool_]
    removed: Array  # (n, n_r) [m]
    worn: Array  # (n, pad rings) [m]
    step_rate: Array  # (n, steps) [m/s]
    step_fastest: Array  # (n, steps) [m/s]: of the films that go, as long as they last
    step_time: Array  # (n, steps) [s]
    step_peak: Array  # (n, steps) [K]
    step_fresh: Array  # (n, steps)
    step_real_fraction: Array  # (n, steps)
    step_flowing: Array  # (n, steps) share of the load on summits that flow
    step_plasticity: Array  # (n, steps) index of the summits
    step_solid_share: Array  # (n, steps) of the load on summits
    step_film_followed: Array  # (n, steps) share of the speed up to which the fluid film was found
    step_film_torn: NDArray[np.bool_]  # (n, steps) asked for more suction than liquid can bear
    step_friction: Array  # (n, steps) coefficient
    limited: NDArray[np.bool_]  # (n, steps): ended by the longest time
    bare_somewhere: NDArray[np.bool_]  # all films gone in a place inside the edge exclusion
    bare: NDArray[np.bool_]  # all films gone everywhere inside it
    cleared_share: Array  # of the removal that is films gone everywhere inside it

    def __repr__(self) -> str:
        return f"<Records: {counted(self.rate.size, 'wafer')}, {len(fields(self))} columns in SI>"

    def put(self, wafer: int, row: Row) -> None:
        """Write down one wafer.

        Parameters
        ----------
        wafer
            Its number, from 0.
        row
            What became of it.
        """
        for name in _NAMES:
            getattr(self, name)[wafer] = getattr(row, name)

    def seen(self, rig: Rig, radius: Array, areas: Array) -> Seen:
        """Return what the conditions worth telling look at (``predict.raised``).

        Parameters
        ----------
        rig
            The setup in SI.
        radius
            Of the wafer nodes [m], (n_r,).
        areas
            Of the wafer nodes [m^2], (n_r,).

        Returns
        -------
        Seen
            A column a figure.
        """
        wafer = rig.wafer
        return Seen(
            limited=self.limited,
            floating=regime(self.step_solid_share) == "hydrodynamic",
            film_followed=self.step_film_followed,
            film_torn=self.step_film_torn,
            solid_share=self.step_solid_share,
            friction=self.step_friction,
            real_fraction=self.step_real_fraction,
            flowing=self.step_flowing,
            plasticity=self.step_plasticity,
            fresh=self.step_fresh,
            peak=self.step_peak,
            unresolved=self.unresolved,
            bare_somewhere=self.bare_somewhere,
            bare=self.bare,
            cleared_share=self.cleared_share,
            removed=self.mean_removed,
            sigma=self.sigma,
            edge=edge_extreme(radius, areas, self.removed, wafer.radius, wafer.edge_exclusion)[0],
        )


def _unresolved(plan: LotPlan, found: StepOutcome) -> bool:
    """Return whether summits stand out of the flat by less than the steps in which their heights are followed there."""
    width = plan.summits.groups.track @ plan.summits.width_at(found.summits.separation)
    return bool(found.summits.tail() < width)


_NAMES = tuple(item.name for item in fields(Records))


def empty_records(wafers: int, nodes: int, rings: int, steps: int) -> Records:
    """Return room for so many rows.

    Parameters
    ----------
    wafers, nodes, rings, steps
        How many of each.

    Returns
    -------
    Records
        All 0 and False.
    """
    wide = {"removed": nodes, "worn": rings, "limited": steps}
    told = ("unresolved", "monitor", "limited", "bare_somewhere", "bare", "step_film_torn")
    made: dict[str, Any] = {}
    for item in fields(Records):
        width = steps if item.name.startswith("step_") else wide.get(item.name)
        shape = wafers if width is None else (wafers, width)
        made[item.name] = np.zeros(shape, dtype=bool if item.name in told else np.float64)
    return Records(**made)
