"""The pad through a lot: summit heights by pad radius, wear, grooves, the disk's use."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import seal
from planish.engine.record import Record
from planish.physics.motion import sweep
from planish.physics.surface import asperities, conditioning, summit_balance, summit_flow
from planish.physics.surface.summit_answer import (
    EXCESS,
    FLOWING,
    LENGTH,
    LEVEL,
    REAL,
    REAL_LEVEL,
    REAL_SLOPE,
    summit_answers,
)
from planish.predict.wafer.disk import disk_work
from planish.predict.wafer.pad_surface import as_conditioned
from planish.predict.wafer.step_plan import speeds

if TYPE_CHECKING:
    from planish.predict.lot.pad_rings import PadRings
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]
RINGS_A_GROUP = 2  # summits age alike over about 20 mm of pad radius; heat and wear are kept ring by ring


@dataclass(frozen=True, slots=True)
class RingGroups:
    """Neighbouring pad rings whose summits are followed together; rings that nothing touches are left out.

    Attributes
    ----------
    members
        (g, n): a ring's share of its group by area.
    middles
        Mean pad coordinate (g,) [m].
    to_wafer
        (n_r, g): share of time a wafer node spends over each group.
    track
        (g,): the same for the wafer as a whole, by area.
    seen
        (g, n_all): of a group's time under the carrier, the share under each wafer and ring node.
    duty
        (g,): share of all time under the carrier.
    """

    members: Array
    middles: Array
    to_wafer: Array
    track: Array
    seen: Array
    duty: Array


def ring_groups(rings: PadRings, areas: Array) -> RingGroups:
    """Group pad rings that are followed together.

    Parameters
    ----------
    rings
        Of the pad.
    areas
        Of the wafer nodes [m^2], (n_r,).

    Returns
    -------
    RingGroups
        Of the rings that the wafer touches.
    """
    touched = np.flatnonzero(rings.duty > 0)
    parts = [touched[i : i + RINGS_A_GROUP] for i in range(0, touched.size, RINGS_A_GROUP)]
    members = np.zeros((len(parts), rings.duty.size))
    mask = np.zeros_like(members)
    for g, part in enumerate(parts):
        members[g, part] = rings.areas[part] / rings.areas[part].sum()
        mask[g, part] = 1.0
    met = members * rings.duty
    to_wafer = rings.to_wafer @ mask.T
    return RingGroups(
        members=members,
        middles=members @ rings.middles,
        to_wafer=to_wafer,
        track=areas @ to_wafer / areas.sum(),
        seen=(met / met.sum(axis=1, keepdims=True)) @ rings.seen,
        duty=met.sum(axis=1),
    )


@dataclass(frozen=True, slots=True)
class WornSummits:
    """The summits of a worn pad as the wafer meets them (see ``pad_surface.Summits``).

    ``nodes`` (7, n_r) and ``track`` (7,): what ``summit_answers`` says of the groups that a wafer radius, and the wafer as
    a whole, passes, as the mean over time.
    """

    nodes: Array
    track: Array
    flow_pressure: float  # [Pa] that the mean real pressure never exceeds
    separation: Array  # (g,) [m] of the flat from the summits
    heights: tuple[float, float]  # mean and standard deviation [m] over the wafer's track

    def _answer(self, pressure: Array) -> Array:
        return self.track if pressure.size == 1 else self.nodes

    def layer(self, pressure: Array) -> tuple[Array, Array, Array]:
        """Return (length [m], pressure [Pa], offset [m]) of the exponential layer about ``pressure`` [Pa]."""
        answer = self._answer(pressure)
        length = answer[LENGTH]
        return np.atleast_1d(length), pressure, answer[LEVEL] - length * np.log(pressure)

    def real(self, pressure: Array) -> tuple[Array, Array]:
        """Return (mean real pressure [Pa], real contact fraction) under ``pressure`` [Pa].

        From where it was asked on it goes as a power of p, as on one height of summits: a straight line in ln p would end
        below nothing.
        """
        answer = self._answer(pressure)
        straight = (answer[REAL_LEVEL] + answer[REAL_SLOPE] * np.log(pressure)) / answer[REAL] - 1.0
        real = np.minimum(answer[REAL] * np.exp(straight), self.flow_pressure)
        return real, pressure / real

    def flowing_share(self, pressure: Array) -> Array:
        """Return which share of the load lies on summits that flow [1], (nodes,), under ``pressure`` [Pa]."""
        return np.atleast_1d(self._answer(pressure)[FLOWING])

    def surface(self) -> tuple[float, float]:
        """Return mean and standard deviation [m] of their heights, averaged over the wafer's track."""
        return self.heights

    def decay_length(self) -> float:
        """Return the length [m] over which the gap takes the load to 1/e, averaged over the wafer's track."""
        return float(self.track[LENGTH])

    def tail(self) -> float:
        """Return the mean excess height [m] of the summits in contact, averaged over the wafer's track."""
        return float(self.track[EXCESS])


@dataclass(frozen=True, slots=True, repr=False)
class SummitPlan(Record):
    """What is fixed of the pad's summits: the rings followed together, and the summits that a disk cuts.

    ``fresh`` (bins,) is the probability of freshly cut heights over ``edges`` [m], ``fresh_load`` what load
    they would take (``summit_balance.log_load``); ``of_bins`` (bins, 2) takes probabilities to means (``bin_moments``).
    """

    groups: RingGroups
    edges: Array
    fresh: Array
    fresh_load: Array
    of_bins: Array
    density: float
    tip_radius: float
    modulus: float
    flow_pressure: float
    depth: float  # [m] at which a summit begins to flow
    deviation: float

    def width_at(self, height: Array) -> Array:
        """Return how finely heights are followed there [m], (n,), at ``height`` [m], (n,)."""
        at = np.minimum(np.maximum(np.searchsorted(self.edges, height) - 1, 0), self.edges.size - 2)
        return np.asarray(self.edges[at + 1] - self.edges[at])

    @property
    def stiff(self) -> float:
        """Density times plane modulus times root of the tip radius [Pa/m^(3/2)]."""
        return self.density * self.modulus * sqrt(self.tip_radius)


@dataclass(frozen=True, slots=True)
class LotPad:
    """Pad and disk as they now are.

    ``probability`` (g, bins) of summit heights over the plan's edges; ``separation`` (g,) [m] of the flat
    when last looked at, where the next search begins; ``worn`` (n,) [m] cut off each pad ring;
    ``disk_use`` [s] of the disk so far.
    """

    probability: Array
    separation: Array
    worn: Array
    disk_use: float

    def __post_init__(self) -> None:
        seal(self.probability, self.separation, self.worn)


def plan_summits(rig: Rig, rings: PadRings, areas: Array, highest_pressure: float) -> SummitPlan:
    """Work out what is fixed of the summits.

    Parameters
    ----------
    rig
        The setup in SI.
    rings
        Of the pad.
    areas
        Of the wafer nodes [m^2], (n_r,).
    highest_pressure
        Of the recipe [Pa].

    Returns
    -------
    SummitPlan
        For the whole lot.

    Raises
    ------
    ModelError
        For summits without a solution.
    """
    surface = as_conditioned(rig)
    modulus = asperities.plane_modulus(surface.modulus, surface.poisson)
    if surface.heights is None:
        edges = summit_balance.ageing_grid(
            surface.height_sd,
            surface.tail_length,
            density=surface.density,
            tip_radius=surface.tip_radius,
            modulus=modulus,
            pressure=highest_pressure,
            flow_pressure=surface.flow_pressure,
        )
        fresh = asperities.fresh_heights(edges, surface.height_sd, surface.tail_length)
        deviation = float(np.hypot(surface.height_sd, surface.tail_length))
    else:
        from planish.physics.surface.summit_statistics import height_table

        edges, fresh = height_table(surface.heights)
        deviation = float(surface.heights.std())
    groups = ring_groups(rings, areas)
    depth = summit_flow.elastic_depth(surface.tip_radius, modulus, surface.flow_pressure)
    return SummitPlan(
        groups=groups,
        edges=edges,
        fresh=fresh,
        fresh_load=summit_balance.log_load(fresh, edges, depth),
        of_bins=asperities.bin_moments(edges),
        density=surface.density,
        tip_radius=surface.tip_radius,
        modulus=modulus,
        flow_pressure=surface.flow_pressure,
        depth=depth,
        deviation=deviation,
    )


def new_pad(plan: SummitPlan, disk_use: float = 0.0) -> LotPad:
    """Return a new pad with fresh summits.

    Parameters
    ----------
    plan
        What is fixed of the summits.
    disk_use
        Of the disk by then [s].

    Returns
    -------
    LotPad
        Unworn.
    """
    groups, rings = plan.groups.members.shape
    return LotPad(
        probability=np.tile(plan.fresh, (groups, 1)),
        separation=np.full(groups, plan.edges[-1]),
        worn=np.zeros(rings),
        disk_use=disk_use,
    )


def height_map(rig: Rig, rings: PadRings, nodes: Array) -> Array:
    """Return the mean over a wafer node's path of a pad profile given at the rings' middles.

    Between the middles the profile is taken as straight: as steps it would put steps under the wafer that the
    plate answers with ripples of pressure.

    Parameters
    ----------
    rig
        The setup in SI.
    rings
        Of the pad.
    nodes
        Wafer radii [m], (n_r,).

    Returns
    -------
    Array
        (n_r, n), to be multiplied by the profile (n,).
    """
    fine = 6
    edges = np.interp(
        np.arange(fine * rings.middles.size + 1) / fine, np.arange(rings.edges.size), rings.edges
    )
    shares = rig.polisher.wafer_to_pad_weights(nodes, edges)
    at = 0.5 * (edges[1:] + edges[:-1])
    straight = np.stack([np.interp(at, rings.middles, unit) for unit in np.eye(rings.middles.size)], axis=1)
    return np.asarray(shares @ straight)


def worn_summits(plan: SummitPlan, pad: LotPad, pressure: Array) -> WornSummits:
    """Return the summits' answer about a pressure.

    Parameters
    ----------
    plan
        What is fixed of the summits.
    pad
        As it is.
    pressure
        On the summits of each group [Pa], (g,).

    Returns
    -------
    WornSummits
        For pressures near it.
    """
    about = np.maximum(pressure, 1.0)
    separation, moments = pad.separation.copy(), np.empty((about.size, 6))
    summit_balance.contact_rings(
        pad.probability, plan.edges, about, plan.stiff, plan.depth, separation, moments
    )
    answers = summit_answers(about, separation, moments, plan.density, plan.tip_radius, plan.depth)
    level, deviation = asperities.level_and_deviation(plan.of_bins, pad.probability)
    groups = plan.groups
    return WornSummits(
        nodes=answers @ groups.to_wafer.T,
        track=answers @ groups.track,
        flow_pressure=plan.flow_pressure,
        separation=separation,
        heights=(float(groups.track @ level), float(groups.track @ deviation)),
    )


def aged(
    plan: SummitPlan,
    pad: LotPad,
    rig: Rig,
    *,
    separation: Array,
    pressure: Array,
    sliding: Array,
    cut: Array,
    disk_time: float,
) -> LotPad:
    """Return the pad after one step.

    Parameters
    ----------
    plan
        What is fixed of the summits.
    pad
        Before the step.
    rig
        The setup in SI.
    separation
        Of the flat from the summits [m], (g,): a guess.
    pressure
        On the summits while touched [Pa], (g,).
    sliding
        Met with while touched [m], (g,).
    cut
        By which the disk lowered each ring meanwhile [m], (n,).
    disk_time
        For which the disk worked [s].

    Returns
    -------
    LotPad
        A new record.
    """
    wear = summit_balance.wear_constant(
        rig.pad.polish_wear_coefficient, sliding, tip_radius=plan.tip_radius, modulus=plan.modulus
    )
    renewal = plan.groups.members @ cut / (sqrt(3.0) * plan.deviation)
    probability, separation = pad.probability.copy(), separation.copy()
    summit_balance.age_rings(
        probability,
        plan.edges,
        plan.fresh,
        pressure,
        wear,
        renewal,
        plan.stiff,
        plan.depth,
        separation,
        plan.fresh_load,
        1,
    )
    return LotPad(probability, separation, pad.worn + cut, pad.disk_use + disk_time)


def cut_rates(rig: Rig, rings: PadRings, step: Step) -> Array:
    """Return how fast a sharp disk cuts each pad ring at the speeds of a step.

    A pad that orbits does not bring all its places under an arm: there the disk is taken to cover the area
    between its innermost and outermost place evenly, unless a dwell table says otherwise.

    Parameters
    ----------
    rig
        The setup in SI.
    rings
        Of the pad.
    step
        Of the recipe.

    Returns
    -------
    Array
        [m/s], (n,); 0 without a disk.

    Raises
    ------
    ModelError
        Where the sweep makes no sense.
    """
    disk = rig.conditioner
    if disk is None:
        return np.zeros(rings.duty.size)
    path = disk.sweep
    positions, shares = sweep.dwell_shares(
        path.kind,
        path.inner,
        path.outer,
        pivot_distance=path.pivot_distance,
        arm_length=path.arm_length,
        zone_edges=path.zone_edges,
        zone_dwell=path.zone_dwell,
    )
    if not rig.polisher.disk_meets_all and path.zone_dwell is None:
        positions = np.linspace(path.inner, path.outer, 2 * positions.size + 1)[1::2]
        shares = positions / positions.sum()
    return conditioning.cut_profile(cut_matrix(rig, rings, step, positions), shares)


def cut_matrix(rig: Rig, rings: PadRings, step: Step, positions: Array) -> Array:
    """Return how fast the sharp disk held at each position cuts each pad ring.

    Parameters
    ----------
    rig
        The setup in SI.
    rings
        Of the pad.
    step
        Of the recipe, for its speeds.
    positions
        Of the disk's centre [m], (m,).

    Returns
    -------
    Array
        [m/s], (n, m); 0 without a disk.
    """
    disk, work = rig.conditioner, disk_work(rig)
    if disk is None or work is None:
        return np.zeros((rings.duty.size, positions.size))
    return conditioning.cut_matrix(
        rig.polisher,
        rings.edges,
        positions,
        disk_radius=disk.disk_radius,
        downforce=disk.downforce,
        coefficient=rig.pad.wear_coefficient * work.cut,
        disk_speed=disk.speed,
        drive=speeds(rig, step)[0],
    )
